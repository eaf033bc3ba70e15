"""GPX 1.0 and 1.1, by gpxpy.

Times are UTC (GPX schema, comment on ``time``). Only track points count: waypoints and routes are
plans and marks, not where the boat was.

A file from elsewhere is not trusted: one with a document type is refused unread, since that is
where XML hides its expanding entities and its references to other files; GPX has no use for one.
"""

import datetime as dt
import logging
import math
import re
from collections.abc import Iterator
from pathlib import Path

import gpxpy
import pandas as pd
from gpxpy.gpx import GPXException, GPXTrackPoint

from reelnotes.intake.tables import decode
from reelnotes.intake.tracklogs.fixes import NAN, Fix, fixes_frame
from reelnotes.intake.tracklogs.tally import Tally
from reelnotes.records.instants import from_datetime
from reelnotes.records.problems import Problem, UnreadableError

log = logging.getLogger(__name__)

_DOCTYPE = re.compile(r"<!\s*(DOCTYPE|ENTITY)", re.IGNORECASE)
_POINT = re.compile(r"<(\w+:)?trkpt\b[^>]*?(?:/>|>.*?</(?:\w+:)?trkpt\s*>)", re.DOTALL)
_TIME = re.compile(r"<time>([^<]*)</time>")
_ISO = re.compile(r"\s*\d{4}-\d\d-\d\d[T ]\d\d:\d\d:\d\d([.,]\d+)?\s*(Z|z|[+-]\d\d:?\d\d)?\s*$")


def read_gpx(path: Path, name: str) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Read a GPX file -> fixes, problems. A file that ends in the middle keeps its whole points.

    Raises UnreadableError for what is no GPX, and for XML with a document type.
    """
    text = decode(path.read_bytes())
    if _DOCTYPE.search(text):
        raise UnreadableError(
            name,
            "this GPX file declares a document type, which no track needs and which can be used to harm",
            "save the track again from the device or its program",
        )
    if "<gpx" not in text[:10_000]:
        raise UnreadableError(name, "this is no GPX file: it has no <gpx> element")
    tally, problems = Tally(), []
    document, cut_short = _parse(text, name)
    if cut_short:
        problems.append(Problem(name, "the file is damaged or ends in the middle", "its whole points were kept"))
    fixes = []
    for point in (p for track in document.tracks for segment in track.segments for p in segment.points):
        if point.time is None:
            tally.add("no time")
            continue
        fix = _fix(point)
        if fix.on_earth:
            fixes.append(fix)
        else:
            tally.add("no place")
    problems += tally.problem(name, "no time", "{n} track point{s} without a time", serious=not fixes)
    problems += tally.problem(name, "no place", "{n} track point{s} with an impossible position", serious=False)
    return fixes_frame(fixes, name), tuple(problems)


def _parse(text: str, name: str) -> tuple[gpxpy.gpx.GPX, bool]:
    """(document, whether points had to be saved from a damaged file)."""
    try:
        return gpxpy.parse(_without_bad_times(text)), False
    except (GPXException, ValueError, TypeError) as error:
        log.debug("%s does not parse whole: %s", name, error)
    version = re.search(r"<gpx\b[^>]*\bversion\s*=\s*[\"']([\d.]+)", text)
    head = f'<gpx version="{version[1] if version else "1.1"}" creator="saved"><trk><trkseg>'
    points = list(_whole_points(text))
    if not points:
        raise UnreadableError(name, "this GPX file cannot be parsed and holds no whole track point")
    return gpxpy.parse(head + "".join(points) + "</trkseg></trk></gpx>"), True


def _whole_points(text: str) -> Iterator[str]:
    """Every track point that parses on its own, stripped of what needs the rest of the file (prefixed extensions)."""
    for match in _POINT.finditer(text):
        point = re.sub(r"<extensions>.*?</extensions>", "", match[0], flags=re.DOTALL)
        wrapped = f'<gpx version="1.0" creator="saved"><trk><trkseg>{_without_bad_times(point)}</trkseg></trk></gpx>'
        try:
            gpxpy.parse(wrapped)
        except (GPXException, ValueError, TypeError):
            continue
        yield _without_bad_times(point)


def _without_bad_times(text: str) -> str:
    """One unreadable time must not cost the whole file: such times are taken out, and their points counted as timeless."""
    return _TIME.sub(lambda m: m[0] if _ISO.match(m[1]) and _exists(m[1]) else "", text)


def _exists(stamp: str) -> bool:
    """True for a date and time of day that are in the calendar (not 2026-02-30T25:00:00)."""
    try:
        dt.datetime.fromisoformat(stamp.strip()[:19].replace(" ", "T"))
    except ValueError:
        return False
    return True


def _fix(point: GPXTrackPoint) -> Fix:
    time = point.time
    assert time is not None
    instant = from_datetime(time if time.tzinfo else time.replace(tzinfo=dt.UTC))
    extra = {tag: number for element in point.extensions for tag, number in _numbers(element)}
    speed, course = point.speed, point.course
    return Fix(
        instant,
        _number(point.latitude),
        _number(point.longitude),
        speed_mps=_positive(extra.get("speed") if speed is None else speed),
        course_deg=_positive(extra.get("course", extra.get("bearing")) if course is None else course),
        hdop=_positive(point.horizontal_dilution),
        ele_m=_number(point.elevation),
    )


def _numbers(element: object) -> Iterator[tuple[str, float]]:
    """(local tag name, value) of every element in an extension tree that holds a number."""
    for node in element.iter():  # type: ignore[attr-defined]
        value = _number(node.text)
        if isinstance(node.tag, str) and math.isfinite(value):
            yield node.tag.rsplit("}", 1)[-1].rsplit(":", 1)[-1].lower(), value


def _number(value: object) -> float:
    try:
        number = float(str(value).strip())
    except ValueError:
        return NAN
    return number if math.isfinite(number) else NAN


def _positive(value: object) -> float:
    number = _number(value)
    return number if number >= 0 else NAN

"""NMEA 0183 text: RMC gives date, speed and course, GGA height and dilution; joined by the instant.

The checksum is the XOR of all characters between ``$`` and ``*``. A line that fails it is not
repaired: one flipped digit of a position reads as well as the true one.
"""

import datetime as dt
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import reduce
from pathlib import Path

import pandas as pd
import pynmea2

from reelnotes.intake.tables import decode
from reelnotes.intake.tracklogs.fixes import NAN, Fix, fixes_frame
from reelnotes.intake.tracklogs.tally import Tally
from reelnotes.records.instants import from_datetime
from reelnotes.records.problems import Problem, UnreadableError
from reelnotes.records.units import KNOT_MPS

# Loggers put their own stamps before the sentence; what counts starts at the last $ of the line.
_SENTENCE = re.compile(r"\$([A-Z]{2})([A-Z]{3}),([^$*]*)(?:\*([0-9A-Fa-f]{2}))?\s*$")
_LOOKS_LIKE = re.compile(r"\$[A-Z]{2}(RMC|GGA|GLL|GSA|GSV|VTG|ZDA|GNS|DBT|DPT)")
_CLOCK = re.compile(r"(\d\d)(\d\d)(\d\d)(\.\d+)?$")
HALF_DAY_S = 43_200.0
DAY_S = 86_400.0


def checksum(body: str) -> str:
    """NMEA 0183 checksum of the text between ``$`` and ``*``, as two upper-case hex digits."""
    return f"{reduce(lambda total, character: total ^ ord(character), body, 0) & 0xFF:02X}"


@dataclass
class _Reading:
    """What has been gathered so far: one fix an instant, and the day that the last RMC told."""

    tally: Tally
    day_s: float | None = None  # midnight of the current UTC day
    last_clock_s: float | None = None
    fixes: dict[float, Fix] = field(default_factory=dict)
    waiting: list[pynmea2.GGA] = field(default_factory=list)  # GGA before any date


def read_nmea(path: Path, name: str, *, date: dt.date | None = None) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Read an NMEA 0183 log -> fixes, problems. ``date`` (UTC) is used only when no RMC tells the day.

    Raises UnreadableError when the text holds no NMEA sentence at all.
    """
    text = decode(path.read_bytes())
    tally = Tally()
    sums_expected = "*" in text
    reading = _Reading(tally)
    for number, body in _sentences(text, sums_expected, tally):
        _take(reading, body, number)
    if not tally.count("good"):
        raise UnreadableError(name, "this is no NMEA 0183 log: it holds no whole position sentence (RMC or GGA)")
    if reading.waiting and date is not None:
        reading.day_s = dt.datetime(date.year, date.month, date.day, tzinfo=dt.UTC).timestamp()
        _release(reading)
    for _ in reading.waiting:
        tally.add("no date")
    problems = [
        *tally.problem(name, "damaged", "{n} damaged sentence{s} (cut short, garbled or with a wrong checksum)"),
        *tally.problem(name, "void", "{n} sentence{s} from a receiver without a fix", serious=False),
        *tally.problem(name, "no date", "{n} fix(es) without a date, since no RMC sentence tells the day"),
    ]
    if not sums_expected:
        problems.append(Problem(name, "the sentences carry no checksums", "they were read as they stand", serious=False))
    return fixes_frame(reading.fixes.values(), name), tuple(problems)


def is_nmea(head: str) -> bool:
    """True when a text's beginning holds at least one talker sentence."""
    return bool(_LOOKS_LIKE.search(head))


def _sentences(text: str, sums_expected: bool, tally: Tally) -> Iterator[tuple[int, str]]:
    """(line number, body) of every RMC and GGA sentence whose checksum holds."""
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text), start=1):
        if not line.strip() or line.lstrip().startswith(("#", "!")):  # a remark; AIS and the like
            continue
        start = line.rfind("$")
        match = _SENTENCE.match(line[start:]) if start >= 0 else None
        body = f"{match[1]}{match[2]},{match[3]}" if match else ""
        if match is None or (match[4] is None and sums_expected) or (match[4] and match[4].upper() != checksum(body)):
            if start < 0 or not re.match(r"\$P[A-Z]", line[start:]):  # $P...: a maker's own sentence, in any form it likes
                tally.add("damaged", number)
        elif match[2] in ("RMC", "GGA"):
            yield number, body


def _take(reading: _Reading, body: str, number: int) -> None:
    try:
        sentence = pynmea2.parse(f"${body}*{checksum(body)}")
        clock = _clock_s(body.split(",")[1])
    except (pynmea2.ParseError, ValueError, IndexError, TypeError):
        reading.tally.add("damaged", number)
        return
    reading.tally.add("good")
    rmc = isinstance(sentence, pynmea2.RMC)
    if clock is None or (sentence.status != "A" if rmc else not sentence.gps_qual):
        reading.tally.add("void", number)
        return
    try:
        if rmc:
            _take_rmc(reading, sentence, clock)
        else:
            _take_gga(reading, sentence, clock)
    except (ValueError, TypeError, AttributeError):
        reading.tally.add("damaged", number)


def _take_rmc(reading: _Reading, rmc: pynmea2.RMC, clock_s: float) -> None:
    date = rmc.datestamp  # two-digit years: pynmea2 (strptime) takes 69-99 as 19xx
    if not isinstance(date, dt.date):
        raise ValueError("no date")
    reading.day_s = from_datetime(dt.datetime(date.year, date.month, date.day, tzinfo=dt.UTC))
    reading.last_clock_s = clock_s
    speed, course = _number(rmc.spd_over_grnd) * KNOT_MPS, _number(rmc.true_course)
    # One position an instant: receivers repeat it under several talkers, and GGA says the same again.
    fix = reading.fixes.setdefault(reading.day_s + clock_s, Fix(reading.day_s + clock_s, *_place(rmc)))
    if fix.speed_mps != fix.speed_mps:  # NaN: not told yet
        fix.speed_mps, fix.course_deg = speed, course
    _release(reading)


def _take_gga(reading: _Reading, gga: pynmea2.GGA, clock_s: float) -> None:
    if reading.day_s is None or reading.last_clock_s is None:
        _place(gga)  # raises here, on its own line, when damaged
        reading.waiting.append(gga)
        return
    # GGA has no date: near midnight it may belong to the day after, or the day before, the last RMC's.
    step = clock_s - reading.last_clock_s
    day_s = reading.day_s + (DAY_S if step < -HALF_DAY_S else -DAY_S if step > HALF_DAY_S else 0.0)
    fix = reading.fixes.setdefault(day_s + clock_s, Fix(day_s + clock_s, *_place(gga)))
    fix.hdop, fix.ele_m = _number(gga.horizontal_dil), _number(gga.altitude)


def _release(reading: _Reading) -> None:
    """Give the GGA sentences that came before any date the day they belong to, now that it is known."""
    waiting, reading.waiting = reading.waiting, []
    if not waiting or reading.day_s is None:
        return
    clocks = [_clock_s(gga.data[0]) or 0.0 for gga in waiting]
    # Walk back from the first RMC, or from the first sentence when there is none, counting midnights.
    day_s, later = reading.day_s, reading.last_clock_s
    if later is None:
        rolls = 0
        for previous, clock in itertools.pairwise(clocks):
            rolls += clock - previous < -HALF_DAY_S
        day_s, later = day_s + rolls * DAY_S, clocks[-1]
    for gga, clock in zip(reversed(waiting), reversed(clocks), strict=True):
        if clock - later > HALF_DAY_S:
            day_s -= DAY_S
        later = clock
        fix = reading.fixes.setdefault(day_s + clock, Fix(day_s + clock, *_place(gga)))
        fix.hdop, fix.ele_m = _number(gga.horizontal_dil), _number(gga.altitude)


def _clock_s(text: str) -> float | None:
    """``hhmmss.sss`` -> seconds of the day; None when empty (no fix yet). Raises ValueError for what is no clock."""
    if not text:
        return None
    match = _CLOCK.match(text)
    if not match or int(match[1]) > 23 or int(match[2]) > 59 or int(match[3]) > 60:
        raise ValueError(f"'{text}' is no time of day")
    return int(match[1]) * 3600.0 + int(match[2]) * 60.0 + int(match[3]) + float(match[4] or 0)


def _place(sentence: "pynmea2.RMC | pynmea2.GGA") -> tuple[float, float]:
    """(lat, lon) in degrees. Raises ValueError for an empty or impossible place: pynmea2 would make it 0."""
    if not (sentence.lat and sentence.lon and sentence.lat_dir in "NS" and sentence.lon_dir in "EW"):
        raise ValueError("no place")
    lat, lon = float(sentence.latitude), float(sentence.longitude)
    if not Fix(0.0, lat, lon).on_earth:
        raise ValueError("impossible place")
    return lat, lon


def _number(value: object) -> float:
    try:
        return float(value) if value not in (None, "") else NAN  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return NAN

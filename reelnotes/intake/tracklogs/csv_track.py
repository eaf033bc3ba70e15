"""Tracks as tables: time, lat, lon in any order, delimiter and decimal mark, under the common names.

Times are UTC unless they carry a zone or the header says "local".
"""

import datetime as dt
import math
import re
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from dateutil import parser as dateutil_parser
from geographiclib.geodesic import Geodesic

from reelnotes.intake.tables import Table, decode, find_table
from reelnotes.intake.tracklogs.coords import SPEED_UNITS_MPS, degrees, epoch_s, number, speed_unit
from reelnotes.intake.tracklogs.fixes import NAN, Fix, fixes_frame
from reelnotes.intake.tracklogs.tally import Tally
from reelnotes.records.instants import from_datetime
from reelnotes.records.problems import Problem, UnreadableError

# The names of columns: English, Norwegian/Danish, Swedish, German, Spanish. Compared without case, marks and units.
NAMES = {
    "time": (
        "time",
        "timestamp",
        "utc",
        "datetime",
        "date time",
        "utc time",
        "time utc",
        "gps time",
        "when",
        "epoch",
        "unix time",
        "tid",
        "tidspunkt",
        "klokkeslett",
        "klockslag",
        "zeit",
        "uhrzeit",
        "zeitstempel",
        "hora",
        "tiempo",
        "fecha hora",
        "local time",
        "time local",
    ),
    "date": ("date", "dato", "datum", "fecha", "day", "utc date", "date utc"),
    "lat": ("lat", "latitude", "breddegrad", "bredde", "latitud", "breite", "breitengrad", "y lat"),
    "lon": ("lon", "lng", "long", "longitude", "lengdegrad", "lengde", "longitud", "länge", "laenge", "längengrad", "x lon"),
    "speed": ("speed", "sog", "velocity", "speed over ground", "fart", "hastighet", "geschwindigkeit", "velocidad"),
    "course": ("course", "cog", "heading", "bearing", "track", "kurs", "rumbo", "course over ground"),
    "hdop": ("hdop",),
    "ele": ("ele", "elevation", "alt", "altitude", "height", "høyde", "höjd", "höhe", "altitud", "elevación"),
}
_COLUMN = {name: column for column, names in NAMES.items() for name in names}
_EVENT_NAMES = {"event", "what", "species", "fish", "hendelse", "händelse", "ereignis", "evento", "art", "especie"}
_MARKS = re.compile(r"[\s_\-.:/]+")


def column_of(header: str) -> str | None:
    """The column that a header cell names, a key of NAMES, or None. ``Speed (kn)`` and ``speed_kn`` are both speed."""
    plain = _MARKS.sub(" ", re.sub(r"[(\[].*?[)\]]", " ", header.lower())).strip()
    if plain in _COLUMN:
        return _COLUMN[plain]
    first, _, rest = plain.partition(" ")
    units = {
        "s",
        "ms",
        "deg",
        "m",
        "utc",
        "kn",
        "kt",
        "kts",
        "knots",
        "mps",
        "kmh",
        "km h",
        "kph",
        "mph",
        "m s",
        "local",
        "iso",
        "true",
        "unix",
        "wgs84",
    }
    return _COLUMN.get(first) if rest in units else None


def track_table(text: str) -> Table | None:
    """The table in a text if it has time, lat and lon and no column of events; else None."""

    def enough(cells: list[str]) -> bool:
        found = {column_of(cell) for cell in cells}
        events = {_MARKS.sub(" ", cell.lower()).strip() for cell in cells} & _EVENT_NAMES
        return {"lat", "lon"} <= found and bool({"time", "date"} & found) and not events

    return find_table(text, lambda cell: column_of(cell) is not None, 3, enough)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where each column stands, and what the header says of times and speeds."""

    at: dict[str, int]
    local: bool
    speed_unit: str | None

    def cell(self, cells: tuple[str, ...], column: str) -> str:
        index = self.at.get(column, -1)
        return cells[index] if 0 <= index < len(cells) else ""


def read_csv_track(
    path: Path, name: str, *, date: dt.date | None = None, zone: ZoneInfo | None = None
) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Read a table of fixes -> fixes, problems. ``date`` fills times of day without a date (a clock past midnight rolls on);
    ``zone`` is used when the header says that times are local. Raises UnreadableError without time, lat and lon columns."""
    table = track_table(decode(path.read_bytes()))
    if table is None:
        raise UnreadableError(name, "this table has no columns for time, lat and lon", "name them in the first row: time,lat,lon")
    layout = _layout(table)
    if layout.local and zone is None:
        raise UnreadableError(
            name, "the times are local, but the trip's time zone is not known", 'set timezone = "Europe/Oslo" in trip.toml'
        )
    tally, fixes = Tally(), []
    clock = _Clock(date, zone if layout.local and zone else dt.UTC)
    for row in table.rows:
        try:
            fix = _fix(row.cells, layout, clock)
        except (ValueError, OverflowError):
            tally.add("bad", row.line)
            continue
        if fix.on_earth:
            fixes.append(fix)
        else:
            tally.add("no place", row.line)
    problems = [
        *tally.problem(name, "bad", "{n} row{s} without a readable time and position"),
        *tally.problem(name, "no place", "{n} row{s} with an impossible position", serious=False),
    ]
    if layout.speed_unit is None and "speed" in layout.at:
        problems += _settle_speed_unit(fixes, name)
    return fixes_frame(fixes, name), tuple(problems)


def _layout(table: Table) -> _Layout:
    at: dict[str, int] = {}
    unit, local = None, False
    for index, cell in enumerate(table.header.cells):
        column = column_of(cell)
        if column is None or column in at:
            continue
        at[column] = index
        if column == "speed":
            unit = speed_unit(cell)
        if column in ("time", "date") and re.search(r"\blocal|lokal", cell.lower().replace("_", " ")):
            local = True
    return _Layout(at, local, unit)


@dataclass
class _Clock:
    """Reads the times of one file, row after row; remembers the last one, for times of day without a date."""

    date: dt.date | None
    zone: dt.tzinfo
    last_s: float = -math.inf

    def read(self, text: str) -> float:
        """A time -> instant. Raises ValueError."""
        if re.fullmatch(r"[\d.,]{9,20}", text):
            instant = epoch_s(number(text))
            if instant is not None:
                return instant
        if m := re.fullmatch(r"(\d{1,2}):(\d\d):(\d\d(?:[.,]\d+)?)\s*[Zz]?", text):
            return self._of_day(int(m[1]) * 3600 + int(m[2]) * 60 + number(m[3]))
        parsed = _parse(text)
        return from_datetime(parsed if parsed.tzinfo else parsed.replace(tzinfo=self.zone))

    def _of_day(self, seconds: float) -> float:
        if self.date is None:
            raise ValueError("a time of day without a date")
        midnight = dt.datetime(self.date.year, self.date.month, self.date.day, tzinfo=self.zone)
        instant = from_datetime(midnight) + seconds
        if instant < self.last_s - 43_200:
            self.date += dt.timedelta(days=1)
            instant += 86_400
        self.last_s = instant
        return instant


def _parse(text: str) -> dt.datetime:
    """ISO 8601 first; else dateutil, day before month (the rest of the world's habit; ISO stays the safe way)."""
    try:
        return dt.datetime.fromisoformat(text.replace(",", "."))
    except ValueError:
        pass
    if not re.match(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}", text):
        raise ValueError(f"'{text}' is no time")
    year_first = bool(re.match(r"\d{4}", text))
    return dateutil_parser.parse(text, dayfirst=not year_first, yearfirst=year_first)


def _fix(cells: tuple[str, ...], layout: _Layout, clock: _Clock) -> Fix:
    when = " ".join(part for part in (layout.cell(cells, "date"), layout.cell(cells, "time")) if part)
    lat, lon = degrees(layout.cell(cells, "lat")), degrees(layout.cell(cells, "lon"))
    factor = SPEED_UNITS_MPS.get(layout.speed_unit or "m/s", 1.0)
    return Fix(
        clock.read(when),
        lat,
        lon,
        speed_mps=_optional(layout.cell(cells, "speed")) * factor,
        course_deg=_optional(layout.cell(cells, "course")),
        hdop=_optional(layout.cell(cells, "hdop")),
        ele_m=_optional(layout.cell(cells, "ele")),
    )


def _optional(text: str) -> float:
    try:
        return number(text)
    except ValueError:
        return NAN


def _settle_speed_unit(fixes: list[Fix], name: str) -> list[Problem]:
    """No speed unit in the header: take the one that agrees with the distance run, else none (they are 13 % or more apart)."""
    ratios = []
    for a, b in zip(fixes, fixes[10:], strict=False):
        run_s = b.time_utc_s - a.time_utc_s
        if not 0 < run_s < 120 or not a.speed_mps > 0 or not b.speed_mps > 0:
            continue
        metres = Geodesic.WGS84.Inverse(a.lat, a.lon, b.lat, b.lon, Geodesic.DISTANCE)["s12"]
        if metres > 20:  # well above the noise of a fix
            ratios.append(metres / run_s / ((a.speed_mps + b.speed_mps) / 2))
        if len(ratios) >= 300:
            break
    unit = None
    if len(ratios) >= 10:
        ratio = float(np.median(ratios))
        unit = min(SPEED_UNITS_MPS, key=lambda u: abs(math.log(SPEED_UNITS_MPS[u] / ratio)))
        if abs(math.log(SPEED_UNITS_MPS[unit] / ratio)) > 0.06:
            unit = None
    for fix in fixes:
        fix.speed_mps = fix.speed_mps * SPEED_UNITS_MPS[unit] if unit else NAN
    where = f"{name}, column speed"
    if unit:
        return [
            Problem(where, "the header names no unit", f"{unit} was taken, which agrees with the distance run", serious=False)
        ]
    return [
        Problem(
            where,
            "the header names no unit",
            "the receiver's speeds were not used",
            "write speed_kn, speed_kmh or speed_mps",
            serious=False,
        )
    ]

"""tide.csv: predicted high and low waters, one row a turn: time, height, unit."""

import datetime as dt
import re
from pathlib import Path
from zoneinfo import ZoneInfo

from dateutil import parser as dates

from reelnotes.intake.tables import decode, find_table
from reelnotes.records.folder import TideTurn
from reelnotes.records.instants import from_datetime
from reelnotes.records.problems import Problem
from reelnotes.records.units import FOOT_M

NAME = "tide.csv"

# Column names, folded to lower case: English, Norwegian, Swedish, German, Spanish.
_COLUMNS = {
    "time": (
        "time",
        "date",
        "datetime",
        "date time",
        "date/time",
        "when",
        "tid",
        "tidspunkt",
        "dato",
        "datum",
        "zeit",
        "uhrzeit",
        "hora",
        "fecha",
    ),
    "clock": ("clock", "klokkeslett", "kl", "klockslag"),
    "height": (
        "height",
        "level",
        "høyde",
        "hoyde",
        "vannstand",
        "nivå",
        "höjd",
        "vattenstånd",
        "höhe",
        "wasserstand",
        "altura",
        "nivel",
    ),
    "unit": ("unit", "units", "enhet", "einheit", "unidad"),
}
_UNIT_M = {"m": 1.0, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0, "cm": 0.01, "dm": 0.1, "mm": 0.001}
_UNIT_M |= dict.fromkeys(("ft", "feet", "foot", "'"), FOOT_M)
_HEADER_UNIT = re.compile(r"\s*[\[(]\s*([^\])]+?)\s*[\])]\s*$")
_HEIGHT = re.compile(r"^([+-]?\d+(?:[.,]\d+)?)\s*([a-z']*)$", re.IGNORECASE)


def read_tide(path: Path, name: str, zone: ZoneInfo) -> tuple[tuple[TideTurn, ...], list[Problem]]:
    """The turns of a tide table in time order, and the rows that are none. Times without an offset are in ``zone``.

    Raises OSError when the file cannot be read.
    """
    table = find_table(decode(path.read_bytes()), lambda cell: _column(cell) is not None, least=2)
    columns = {column: index for index, cell in enumerate(table.header.cells) if (column := _column(cell))} if table else {}
    when = columns.get("time", columns.get("clock"))
    if table is None or when is None or "height" not in columns:
        advice = "the header row must name time and height (and unit)"
        return (), [Problem(name, "it is no tide table", "no tide is used", advice)]
    in_header = _HEADER_UNIT.search(table.header.cells[columns["height"]])
    default_m = _UNIT_M.get(in_header[1].lower() if in_header else "m", 1.0)
    turns: list[TideTurn] = []
    problems: list[Problem] = []
    for row in table.rows:
        cells = dict(enumerate(row.cells))
        text = cells.get(when, "")
        if "clock" in columns and when != columns["clock"]:
            text = f"{text} {cells.get(columns['clock'], '')}".strip()
        moment = _moment(text, zone)
        height = _height_m(cells.get(columns["height"], ""), cells.get(columns.get("unit", -1), ""), default_m)
        if moment is None or height is None:
            column, value, kind = (
                ("time", text, "date and time") if moment is None else ("height", cells.get(columns["height"], ""), "height")
            )
            advice = "for example 2026-06-14T06:04:00Z" if moment is None else "for example 0.58 with the unit m"
            problems.append(
                Problem(f"{name} line {row.line}, column {column}", f"'{value}' is no {kind}", "the row was left out", advice)
            )
            continue
        turns.append(TideTurn(moment, height))
    return tuple(sorted(turns, key=lambda turn: turn.time_utc_s)), problems


def _column(cell: str) -> str | None:
    plain = _HEADER_UNIT.sub("", cell).strip().lower()
    return next((column for column, names in _COLUMNS.items() if plain in names), None)


def _moment(text: str, zone: ZoneInfo) -> float | None:
    try:
        # isoparse is strict; the lenient parser would make a date out of anything.
        moment = dates.isoparse(text.strip().replace(" ", "T", 1))
    except ValueError:
        found = re.match(r"^(\d{1,2})[./](\d{1,2})[./](\d{4})[ T]+(\d{1,2})[:.](\d{2})$", text.strip())
        if not found:
            return None
        day, month, year, hour, minute = (int(part) for part in found.groups())
        try:
            moment = dt.datetime(year, month, day, hour, minute)
        except ValueError:
            return None
    return from_datetime(moment if moment.tzinfo else moment.replace(tzinfo=zone))


def _height_m(text: str, unit: str, default_m: float) -> float | None:
    found = _HEIGHT.match(text.strip())
    if not found:
        return None
    named = (found[2] or unit).strip().lower()
    factor = _UNIT_M.get(named) if named else default_m
    return None if factor is None else float(found[1].replace(",", ".")) * factor

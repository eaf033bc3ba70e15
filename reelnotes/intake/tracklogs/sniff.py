"""Which format a position log is in: its content decides, its name only where content cannot."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from reelnotes.intake.tables import decode
from reelnotes.intake.tracklogs.csv_track import read_csv_track, track_table
from reelnotes.intake.tracklogs.fit import read_fit
from reelnotes.intake.tracklogs.gpx import read_gpx
from reelnotes.intake.tracklogs.nmea import is_nmea, read_nmea
from reelnotes.records.problems import Problem, UnreadableError

HEAD_BYTES = 65_536
LARGEST_BYTES = 512 * 1024 * 1024  # a month of fixes ten times a second is a fifth of it
NAMED = {".gpx": "GPX", ".fit": "FIT", ".nmea": "NMEA", ".nma": "NMEA", ".ubx": "", ".kml": "", ".tcx": ""}
TABLES = {".csv", ".tsv", ".txt", ".tab"}


def looks_like_track(path: Path) -> bool:
    """True for a file that is, or by its name claims to be, a position log. Reads only its beginning; never raises."""
    suffix = path.suffix.lower()
    if NAMED.get(suffix):
        return True
    if suffix not in TABLES and suffix not in (".log", ".dat", ".xml"):
        return False
    try:
        return _format(_head(path)) is not None
    except OSError:
        return False


def read_track_file(
    path: Path, name: str, *, date: dt.date | None = None, zone: ZoneInfo | None = None
) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Read one position log -> (fixes with columns FIX_COLUMNS in time order, problems).

    path  the file (only read); name  what to call it in problems (its path in the trip folder)
    date, zone  the trip's, for tables whose times lack a date or say that they are local

    Raises UnreadableError for a file that is empty, too large, or not what its name says.
    """
    try:
        size = path.stat().st_size
        head = _head(path)
    except OSError as error:
        raise UnreadableError(name, f"the file cannot be opened ({error.strerror})") from error
    if not head.strip(b"\0 \r\n\t"):
        raise UnreadableError(name, "the file is empty")
    if size > LARGEST_BYTES:
        raise UnreadableError(name, f"the file is {size / 1e6:.0f} MB, too large for a position log")
    found, claimed = _format(head), NAMED.get(path.suffix.lower(), "")
    if claimed and found != claimed:
        what = f"but holds {found}" if found else f"but does not hold {claimed}"
        raise UnreadableError(name, f"the file is named {path.suffix} {what}")
    readers: dict[str, Callable[[], tuple[pd.DataFrame, tuple[Problem, ...]]]] = {
        "GPX": lambda: read_gpx(path, name),
        "FIT": lambda: read_fit(path, name),
        "NMEA": lambda: read_nmea(path, name, date=date),
        "a table": lambda: read_csv_track(path, name, date=date, zone=zone),
    }
    if found is None:
        raise UnreadableError(
            name, "this is no position log that can be read (GPX, FIT, NMEA 0183, or a table with time, lat, lon)"
        )
    return readers[found]()


def _head(path: Path) -> bytes:
    with path.open("rb") as handle:
        return handle.read(HEAD_BYTES)


def _format(head: bytes) -> str | None:
    """What a file's beginning shows it to be: "GPX", "FIT", "NMEA", "a table" or None."""
    if head[8:12] == b".FIT":
        return "FIT"
    text = decode(head)
    if "<gpx" in text:
        return "GPX"
    if is_nmea(text):
        return "NMEA"
    return "a table" if track_table(text) is not None else None

"""The whole log file: found, read row by row, settled on the time line, told what was wrong."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from reelnotes.intake.catchlog.cells import Layout, column_of, event_of, layout_of
from reelnotes.intake.catchlog.timeline import Remark, settle
from reelnotes.intake.catchlog.times import Written, month_first, read_time, zone_in_header
from reelnotes.intake.catchlog.words import is_total
from reelnotes.intake.tables import Row, Table, decode, find_table
from reelnotes.records.log import LogEvent
from reelnotes.records.problems import Problem, UnreadableError

SUFFIXES = {".csv", ".tsv", ".txt", ".tab"}
HEAD_BYTES = 65_536
NAMED_LINES = 5
LARGEST_BYTES = 20 * 1024 * 1024
_TELLS_A_LOG = {"event", "species", "length", "weight", "kept", "released", "bait", "rig", "setback"}
# What happens to a fish; two of them may come up on one line, and be written down alike in one minute.
_OF_A_FISH = frozenset(("strike", "hooked", "landed", "lost", "released"))
_PLACE = {"lat", "latitude", "lon", "lng", "long", "longitude"}


def looks_like_log(path: Path) -> bool:
    """True for a table with a time column and at least one that only a log has. Reads only its beginning; never raises."""
    if path.suffix.lower() not in SUFFIXES:
        return False
    try:
        with path.open("rb") as handle:
            table = _table(decode(handle.read(HEAD_BYTES)))
    except OSError:
        return False
    if table is None:
        return False
    columns = {column_of(cell) for cell in table.header.cells}
    places = {cell.strip().lower() for cell in table.header.cells} & _PLACE
    return bool(columns & (_TELLS_A_LOG if not places else {"event", "species"}))


def read_log_file(
    path: Path,
    name: str,
    *,
    date: dt.date | None,
    zone: ZoneInfo,
    units: str = "metric",
    within_utc_s: tuple[float, float] | None = None,
) -> tuple[tuple[LogEvent, ...], tuple[Problem, ...]]:
    """Read one catch log -> (events in time order, problems).

    path   the file (only read); name  what to call it in problems and sources (its path in the trip folder)
    date   the trip's local date, for times without one; zone  the trip's zone, for times without one
    units  "metric" | "imperial": what bare numbers count where the header does not tell
    within_utc_s  the span in which the trip is known to lie (its track's, say): helps to read the hour that comes twice

    Rows may stand out of order. Two equal rows of a fish, to the minute, are two fish; what is written once more below the
    header again (files that were joined), or to the same second, is a copy. A row without a readable time
    is set aside, of any other the good cells are kept.
    Raises UnreadableError when the file is empty, is no text table, or has no time column.
    """
    table = _open(path, name)
    layout = layout_of(table.header, units)
    rows, problems = _without_totals_and_copies(table, layout, name)
    timed, time_problems = _timed(rows, layout, name, date, zone)
    problems += time_problems
    settled = settle([written for _, written in timed], zone, date, within_utc_s)
    events: list[LogEvent] = []
    remarks: dict[Remark, list[Row]] = {}
    alike: dict[tuple[str, ...], Row] = {}
    for (row, _), instant in zip(timed, settled, strict=True):
        if instant is None:
            problems.append(
                Problem(
                    layout.where(name, row, "time"),
                    "the time has no date, and nothing tells the day",
                    "the row was set aside",
                    "write the date, or set date = 2026-05-09 in trip.toml",
                )
            )
            continue
        event, found = event_of(row, layout, name, instant.time_utc_s, instant.step_s)
        first = alike.setdefault(row.cells, row)
        if first is not row:
            another = _may_be_another(event, events)
            problems.append(_told_twice(f"{name} line {row.line}", first.line, kept=another))
            if not another:
                continue
        events.append(event)
        problems += found
        if instant.remark is not None:
            remarks.setdefault(instant.remark, []).append(row)
    problems += _time_remarks(remarks, layout, name)
    events.sort(key=lambda event: event.time_utc_s)
    return tuple(events), tuple(problems)


def _open(path: Path, name: str) -> Table:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise UnreadableError(name, "the file is too large for a catch log")
        data = path.read_bytes()
    except OSError as error:
        raise UnreadableError(name, f"the file cannot be opened ({error.strerror})") from error
    if not data.strip(b"\0 \r\n\t\xef\xbb\xbf\xff\xfe"):
        raise UnreadableError(name, "the file is empty")
    table = _table(decode(data))
    if table is None:
        raise UnreadableError(
            name,
            "this is no catch log: no row names a column for the time",
            "name the columns in the first row, for example time,event,species,length",
        )
    return table


def _table(text: str) -> Table | None:
    return find_table(
        text,
        lambda cell: column_of(cell) is not None,
        1,
        lambda cells: "time" in (found := {column_of(cell) for cell in cells}) or {"date", "event"} <= found,
    )


def _without_totals_and_copies(table: Table, layout: Layout, name: str) -> tuple[list[Row], list[Problem]]:
    rows: list[Row] = []
    problems: list[Problem] = []
    before: dict[tuple[str, ...], list[int]] = defaultdict(list)  # equal rows above the last header -> their lines
    here: dict[tuple[str, ...], list[int]] = defaultdict(list)
    header = [cell.casefold() for cell in table.header.cells if cell]
    for row in table.rows:
        first = next((cell for cell in row.cells if cell), "")
        where = f"{name} line {row.line}"
        if is_total(first) or is_total(layout.cell(row, "event")):
            problems.append(Problem(where, "this row sums up others", "it was left out", serious=False))
        elif [cell.casefold() for cell in row.cells if cell] == header:  # files were joined, perhaps of the same day
            for cells, lines in here.items():
                before[cells] = max(before[cells], lines, key=len)
            here.clear()
        else:
            here[row.cells].append(row.line)
            copied = before[row.cells][len(here[row.cells]) - 1 :]
            if copied:
                problems.append(Problem(where, f"this row repeats line {copied[0]}", "it was left out", serious=False))
            else:
                rows.append(row)
    return rows, problems


def _may_be_another(event: LogEvent, before: Sequence[LogEvent]) -> bool:
    """Whether an event equal to one of those before it in the same file may be of another fish of that minute. A release may,
    while the log has a landed fish that is not released yet, or if it never writes down landings."""
    if event.kind not in _OF_A_FISH or event.step_s < 60:
        return False
    counts = Counter(one.kind for one in before)
    return event.kind != "released" or not counts["landed"] or counts["landed"] > counts["released"]


def _told_twice(where: str, first_line: int, *, kept: bool) -> Problem:
    """What to say of a row that is equal to one before it in the same file."""
    if kept:
        what, done = f"this row says the same as line {first_line}", "both were kept, as two fish in one minute"
        return Problem(where, what, done, "take one out if it was the same fish", serious=False)
    return Problem(where, f"this row repeats line {first_line}", "it was left out", serious=False)


def without_copies(files: Sequence[tuple[str, Sequence[LogEvent]]]) -> tuple[tuple[LogEvent, ...], list[Problem]]:
    """The events of several log files (name, events), in order of time; a row that two files hold is one event.

    The same log exported twice says everything twice, each file as often as it happened: so of each event as many are kept
    as the file has that says it most often.
    """
    kept: Counter[LogEvent] = Counter()
    events: list[LogEvent] = []
    problems: list[Problem] = []
    for name, found in files:
        here: Counter[LogEvent] = Counter()
        copies = []
        for event in found:
            said = replace(event, source="")
            here[said] += 1
            if here[said] > kept[said]:
                events.append(event)
            else:
                copies.append(event.source.rpartition(" ")[2])
        kept |= here
        if copies:
            which = f"line{'s' if len(copies) > 1 else ''} {_some(copies)}"
            what = "another log of the trip says the same"
            problems.append(Problem(f"{name} {which}", what, "each was taken once", serious=False))
    return tuple(sorted(events, key=lambda event: event.time_utc_s)), problems


def _some(lines: Sequence[object]) -> str:
    more = f" and {len(lines) - NAMED_LINES} more" if len(lines) > NAMED_LINES else ""
    return ", ".join(str(line) for line in lines[:NAMED_LINES]) + more


def _timed(
    rows: Sequence[Row], layout: Layout, name: str, date: dt.date | None, zone: ZoneInfo
) -> tuple[list[tuple[Row, Written]], list[Problem]]:
    """Rows with what their times say; rows without a readable time become problems."""
    timed: list[tuple[Row, Written]] = []
    problems = []
    offset = zone_in_header(layout.header[layout.at["time"]]) if "time" in layout.at else None
    for row in rows:
        try:
            written = read_time(layout.cell(row, "time"), layout.cell(row, "date"))
        except ValueError as error:
            problems.append(
                Problem(
                    layout.where(name, row, "time"), str(error), "the row was set aside", "write it as 2026-05-09 06:42 or 06:42"
                )
            )
            continue
        if written.offset_s is None and offset is not None:
            written = replace(written, offset_s=offset)
        timed.append((row, written))
    timed = _to_the_minute(timed)
    first, guessed = month_first([written for _, written in timed], date, zone)
    if first:
        timed = [(row, replace(w, date=w.swapped, swapped=w.date) if w.swapped else w) for row, w in timed]
    if guessed:
        order = "month first" if first else "day first"
        problems.append(
            Problem(
                name,
                "its dates can be read day first or month first",
                f"they were read {order}",
                "write dates as 2026-05-09",
                serious=False,
            )
        )
    return timed, problems


def _time_remarks(remarks: dict[Remark, list[Row]], layout: Layout, name: str) -> list[Problem]:
    """One problem for each kind of remark about times, with its lines; a night's log would say the same on every line."""
    problems = []
    for remark, rows in remarks.items():
        lines = _some([row.line for row in rows])
        column = f", column {layout.header[layout.at['time']]}" if "time" in layout.at else ""
        problems.append(
            Problem(
                f"{name} line{'s' if len(rows) > 1 else ''} {lines}{column}",
                remark.what,
                remark.done,
                "write times with their zone: 2026-10-25T02:30+01:00",
                serious=False,
            )
        )
    return problems


def _to_the_minute(timed: list[tuple[Row, Written]]) -> list[tuple[Row, Written]]:
    """Seconds that are always 00 are a form, not a measurement: such times are good to the minute.

    Told apart by whether a zone is written, as programs that write it also fill in the seconds.
    """
    exact = {w.offset_s is not None for _, w in timed if w.step_s < 60 and w.clock_s % 60}
    return [(row, w if w.step_s >= 60 or (w.offset_s is not None) in exact else replace(w, step_s=60.0)) for row, w in timed]

"""The cells of one row -> the fields of an event; what cannot be read is told by its column, and kept as written."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from reelnotes.intake.catchlog import vocabulary
from reelnotes.intake.catchlog.quantities import depth_m, length_mm, unit_in_header, weight_kg
from reelnotes.intake.catchlog.words import bare, event_kind, index, kept, plain, says_kept, says_released
from reelnotes.intake.tables import Row
from reelnotes.records.log import LogEvent
from reelnotes.records.problems import Problem

FREE_TEXT = ("species", "bait", "rig", "rod", "note")
DEFAULT_UNITS = {
    "metric": {"length": "cm", "weight": "kg", "depth": "m", "setback": "m"},
    "imperial": {"length": "in", "weight": "lb", "depth": "ft", "setback": "ft"},
}


@lru_cache(maxsize=1)
def _columns() -> dict[str, str]:
    return index(vocabulary.COLUMNS)


@lru_cache(maxsize=4096)
def column_of(header: str) -> str | None:
    """The column that a header cell names, or None. Units in it do not count: ``Length (cm)``, ``depth_m``."""
    known = _columns()
    for form in (plain(header), bare(header)):
        if form in known:
            return known[form]
    words = plain(header.split("(", maxsplit=1)[0].split("[", maxsplit=1)[0]).split()
    for end in range(len(words), 0, -1):
        for text in (" ".join(words[:end]), bare(" ".join(words[:end]))):
            # "length cm" is a length, but "fish finder" is no fish: the rest must be a unit or a zone.
            if text in known and (
                end == len(words) or unit_in_header(header, known[text]) or words[end] in ("utc", "local", "gmt")
            ):
                return known[text]
    return None


@dataclass(frozen=True, slots=True)
class Layout:
    """The header as understood. at: column -> index; extra: index -> header of unknown columns; units: column -> unit."""

    header: tuple[str, ...]
    at: dict[str, int]
    extra: dict[int, str]
    units: dict[str, str]

    def cell(self, row: Row, column: str) -> str:
        """The text under a column, '' where the row is short or the column absent."""
        place = self.at.get(column, -1)
        return row.cells[place] if 0 <= place < len(row.cells) else ""

    def where(self, name: str, row: Row, column: str) -> str:
        """``log/catches.csv line 4, column length``, the column as the header writes it."""
        return (
            f"{name} line {row.line}, column {self.header[self.at[column]]}" if column in self.at else f"{name} line {row.line}"
        )


def layout_of(header: Row, trip_units: str) -> Layout:
    """Header row -> Layout; a second column of the same meaning counts as of no known name."""
    at: dict[str, int] = {}
    extra: dict[int, str] = {}
    units = dict(DEFAULT_UNITS.get(trip_units, DEFAULT_UNITS["metric"]))
    for place, cell in enumerate(header.cells):
        column = column_of(cell) if cell else None
        if column is None or column in at:
            if cell:
                extra[place] = cell
            continue
        at[column] = place
        if column in units:
            units[column] = unit_in_header(cell, column) or units[column]
    return Layout(header.cells, at, extra, units)


@dataclass
class _Draft:
    """An event in the making, and the problems met."""

    name: str
    row: Row
    layout: Layout
    values: dict[str, Any] = field(default_factory=dict)
    extra: list[tuple[str, str]] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    def tell(self, column: str, what: str, done: str, advice: str = "", *, serious: bool = False) -> None:
        self.problems.append(Problem(self.layout.where(self.name, self.row, column), what, done, advice, serious))


def event_of(row: Row, layout: Layout, name: str, time_utc_s: float, step_s: float) -> tuple[LogEvent, list[Problem]]:
    """One row with its settled instant -> event, problems. What is unreadable goes into ``extra`` as written."""
    draft = _Draft(name, row, layout)
    for column in FREE_TEXT:
        draft.values[column] = layout.cell(row, column)
    _measures(draft)
    _fate(draft)
    _kind(draft)
    draft.extra += [
        (header, row.cells[place]) for place, header in layout.extra.items() if place < len(row.cells) and row.cells[place]
    ]
    _overflow(draft)
    event = LogEvent(
        time_utc_s=time_utc_s, step_s=step_s, source=f"{name} line {row.line}", extra=tuple(draft.extra), **draft.values
    )
    return event, draft.problems


def _measures(draft: _Draft) -> None:
    readers: tuple[tuple[str, str, Callable[[str, str], float]], ...] = (
        ("length", "length_mm", length_mm),
        ("weight", "weight_kg", weight_kg),
        ("depth", "depth_m", depth_m),
        ("setback", "setback_m", lambda text, unit: depth_m(text, unit, "length of line")),
    )
    for column, target, reader in readers:
        text = draft.layout.cell(draft.row, column)
        if not text or text in ("-", "–", "—", "?"):
            continue
        try:
            draft.values[target] = reader(text, draft.layout.units[column])
        except ValueError as error:
            what, _, advice = str(error).partition(" (")
            draft.tell(column, what, "the row was kept without it", advice.rstrip(")"), serious=True)
            draft.extra.append((column, text))


def _fate(draft: _Draft) -> None:
    for column in ("kept", "released"):
        text = draft.layout.cell(draft.row, column)
        if not text or text in ("-", "–", "—", "?"):
            continue
        answer = kept(text, column_says_released=column == "released")
        if answer is None:
            draft.tell(
                column,
                f"'{text}' says neither kept nor released",
                "the row was kept without it",
                "write kept or released",
                serious=True,
            )
            draft.extra.append((column, text))
        else:
            draft.values["kept"] = answer


def _kind(draft: _Draft) -> None:
    """The event's kind; a row with a fish but without a word for what happened is a landing, any other a note."""
    text = draft.layout.cell(draft.row, "event")
    fish = (
        draft.values.get("length_mm") is not None
        or draft.values.get("weight_kg") is not None
        or bool(draft.values.get("species"))
    )
    if not text:
        draft.values["kind"] = "landed" if fish else "note"
        if fish and "event" in draft.layout.at:
            draft.tell("event", "no word says what happened", "it was taken as landed, since a fish is named")
        return
    meaning = event_kind(text)
    if meaning is None and says_kept(text):
        draft.values["kind"] = "landed"
    elif meaning is None:
        draft.values["kind"] = "note"
        draft.extra.append(("event", text))
        draft.tell(
            "event",
            f"'{text}' is no known event",
            "it was kept as a note",
            "known are strike, hooked, landed, lost, released, bait check, rig change, sighting, note",
        )
    else:
        draft.values["kind"] = meaning.key
        if meaning.misspelt:
            draft.tell("event", f"'{text}' is no known event", f"it was taken as {meaning.word}")
    if draft.values["kind"] == "landed" and draft.values.get("kept") is None:
        if says_released(text):
            draft.values["kept"] = False
        elif says_kept(text):
            draft.values["kept"] = True


def _overflow(draft: _Draft) -> None:
    """Cells beyond the header: an unquoted comma in the note at the row's end, as a rule."""
    beyond = [cell for cell in draft.row.cells[len(draft.layout.header) :] if cell]
    if not beyond:
        return
    if draft.layout.at.get("note") == len(draft.layout.header) - 1:
        draft.values["note"] = ", ".join([str(draft.values["note"]), *beyond]).strip(", ")
        done = "what is beyond was added to the note"
    else:
        draft.extra.append(("beyond the header", ", ".join(beyond)))
        done = "what is beyond was kept apart"
    draft.problems.append(
        Problem(
            f"{draft.name} line {draft.row.line}",
            "the row has more cells than the header",
            done,
            "put text with commas in quotation marks",
            serious=False,
        )
    )

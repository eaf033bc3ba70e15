"""What is printed: short tables for people, the same facts as JSON for machines."""

import collections
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.markup import escape
from rich.table import Table

from reelnotes.cli.console import Voice, bold
from reelnotes.intake import Found, Missing
from reelnotes.intake import inventory as take_inventory
from reelnotes.ledger import trip_facts
from reelnotes.records.clocks import ClockRun
from reelnotes.records.folder import TripFolder
from reelnotes.records.instants import iso_local
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem
from reelnotes.records.record import TripRecord
from reelnotes.records.units import INCH_MM, knots
from reelnotes.sorting import SortReport, UndoReport

CAUTION = "A length from a picture is no legal proof: what counts is the fish, measured on the water by the local rule."


def length_facts(fish: FishLength) -> dict[str, Any]:
    """One length as plain types."""
    told = asdict(fish)
    told["evidence"] = None if fish.evidence is None else fish.evidence.as_posix()
    return told


def facts(record: TripRecord, where: Path) -> dict[str, Any]:
    """The record as it stands in trip.json, and where the outputs are."""
    return {"out": str(where), **trip_facts(record)}


def inventory(voice: Voice, folder: TripFolder) -> None:
    """What the folder holds, what is missing, and what that costs."""
    items = take_inventory(folder)
    table = Table("found", "", "", box=None, pad_edge=False, show_header=False)
    for found in items:
        if isinstance(found, Found):
            table.add_row(found.what, str(found.count) if found.count else "", escape(found.words))
    voice.out.print(table)
    for gap in items:
        if isinstance(gap, Missing):
            remedy = f" [dim]({escape(gap.remedy)})[/]" if gap.remedy else ""
            voice.out.print(f"[yellow]no {gap.what}[/]: {gap.costs}{remedy}")
    voice.result(
        {
            "trip": str(folder.root),
            "title": folder.title,
            "date": str(folder.date or ""),
            "timezone": folder.zone.key,
            "timezone_from": folder.zone_from,
            "found": [asdict(item) for item in items if isinstance(item, Found)],
            "missing": [asdict(item) for item in items if isinstance(item, Missing)],
            "set_aside": [{"clip": c.name, "reason": c.set_aside} for c in folder.clips if c.set_aside],
            "problems": [str(p) for p in folder.problems],
        }
    )


def clocks(voice: Voice, record: TripRecord) -> None:
    """Each camera's clock: offset, drift, uncertainty, and what settled it."""
    heads = ("camera", "clips", "add to its stamps", "drift", "settled by")
    table = Table(*heads, box=None, pad_edge=False, title="Clocks", title_justify="left")
    for run in record.clocks.runs:
        offset = "not known" if run.offset_s is None else f"{_span(run.offset_s)} ± {run.sigma_s or 0:.2g} s"
        drift = "" if run.drift_ppm is None else f"{run.drift_ppm:+.0f} ± {run.drift_sigma_ppm or 0:.0f} ppm"
        clips = Path(run.first).stem if run.first == run.last else f"{Path(run.first).stem} … {Path(run.last).stem}"
        table.add_row(escape(run.camera), escape(clips), offset, drift, escape(_settled_by(record, run)))
    voice.out.print(table)
    for run in record.clocks.runs:
        for dropped in run.dropped[:3]:
            voice.out.print(f"[dim]not used for {escape(run.camera)}: {escape(dropped)}[/]")


def _settled_by(record: TripRecord, run: ClockRun) -> str:
    """What placed a run's clips, in a few words; trip.json has every clue in full."""
    mine = [c.clip.name for c in record.lineup.clips if c.clip.camera == run.camera]
    names = mine[mine.index(run.first) : mine.index(run.last) + 1] if run.first in mine and run.last in mine else []
    told = [time.clock_from for name in names if (time := record.clocks.clips.get(name)) is not None and time.clock_from]
    if not told:
        return "no clue"
    common = collections.Counter(told).most_common(1)[0][0]
    return f"{common} ({len(run.used)} clues)" if len(run.used) > 1 else common


def catches(voice: Voice, record: TripRecord) -> None:
    """Each fish: when, what, how long, at what speed, in which clips."""
    if not record.lineup.catches:
        return
    heads = ("", "time", "fish", "length", "speed", "clips")
    table = Table(*heads, box=None, pad_edge=False, title="\nCatches", title_justify="left")
    for fish in record.lineup.catches:
        known = fish.position is not None and fish.position.speed_tells
        speed = f"{knots(fish.position.speed_mps):.1f} kn" if fish.position is not None and known else ""
        when = iso_local(fish.time.value, record.zone)[11:19]
        clips = ", ".join(Path(name).stem for name in fish.clips) or "outside all footage"
        what = escape(f"{fish.species or 'fish'}, {fish.outcome}")
        table.add_row(fish.id, when, what, _length(record, fish), speed, escape(clips))
    voice.out.print(table)
    for note in record.limit_notes:
        voice.out.print(escape(note))


def lengths(voice: Voice, record: TripRecord) -> None:
    """Each fish on a board: its length with the 95 % interval, or why there is none."""
    if not record.lengths:
        voice.out.print("No fish on a known board was found.")
    table = Table("clip", "verdict", "total length", "fork length", "board", "why", box=None, pad_edge=False)
    for fish in record.lengths:
        total = _interval(fish.total_length_mm, fish.low_mm, fish.high_mm, record.units)
        fork = "" if fish.fork_length_mm is None else _mm(fish.fork_length_mm, record.units)
        table.add_row(escape(fish.clip), fish.verdict, total, fork, escape(fish.board), escape(fish.reason))
    voice.out.print(table)
    for note in record.limit_notes:
        voice.out.print(escape(note))
    voice.out.print(f"[dim]{CAUTION}[/]")


def one_measure(voice: Voice, found: Sequence[FishLength], units: str) -> None:
    """The answer for one clip or photo, with lengths in ``units``; doubts are of millimetres, so they stay in those."""
    for fish in found:
        if fish.total_length_mm is None:
            voice.out.print(f"[bold]{fish.verdict}[/]: {escape(fish.reason)}")
            continue
        fork = "" if fish.fork_length_mm is None else f"; fork length {_mm(fish.fork_length_mm, units)}"
        total = _interval(fish.total_length_mm, fish.low_mm, fish.high_mm, units)
        voice.out.print(
            f"[bold]{total}[/] {fish.measure}{fork}: {fish.verdict}{f', {escape(fish.reason)}' if fish.reason else ''}"
        )
        for line in fish.budget:
            voice.out.print(f"  [dim]{line.name}: u = {line.u_mm:.2f} mm, corrected by {line.correction_mm:+.2f} mm[/]")
    voice.out.print(CAUTION)
    voice.result({"lengths": [length_facts(fish) for fish in found], "caution": CAUTION})


def edit(voice: Voice, record: TripRecord) -> None:
    """The edit list in one line."""
    if record.edit is None or not record.edit.cuts:
        wish = None if record.edit is None else record.edit.wanted_s
        short = record.moments and wish is not None
        why = f"no shot fits into {wish:g} s" if short else "there is nothing to cut"
        voice.out.print(f"\nNo edit list: {why}.")
        return
    wanted = "" if record.edit.wanted_s is None else f" (wanted: {record.edit.wanted_s:.0f} s)"
    length = f"{len(record.edit.cuts)} shots, {record.edit.length_s:.1f} s{wanted}"
    voice.out.print(f"\nEdit list: {length}, {record.edit.rate} frames a second.")


def sorted_clips(voice: Voice, report: SortReport, problems: Iterable[Problem]) -> int:
    """What was linked where; the exit code."""
    made = f"{len(report.linked)} links, {len(report.copied)} copies, {len(report.kept)} there already"
    voice.out.print(f"{made}, in {bold(report.tree)}.")
    told = (*problems, *report.problems)
    facts = {"linked": report.linked, "copied": report.copied, "kept": report.kept, "removed": report.removed}
    voice.result({"tree": str(report.tree), **facts, "problems": [str(p) for p in told]})
    return voice.tell(told)


def undone(voice: Voice, report: UndoReport) -> int:
    """What undoing took away; the exit code."""
    voice.out.print(f"{len(report.removed)} links or copies taken away; the originals are untouched.")
    voice.result({"removed": report.removed, "problems": [str(p) for p in report.problems]})
    return voice.tell(report.problems)


def _length(record: TripRecord, fish: Any) -> str:
    measured = record.length_of(fish)
    if measured is not None:
        doubt = " ?" if measured.verdict == "check" else ""
        return _interval(measured.total_length_mm, measured.low_mm, measured.high_mm, record.units) + doubt
    return "" if fish.logged_length_mm is None else f"{_mm(fish.logged_length_mm, record.units)} noted"


def _interval(value: float | None, low: float | None, high: float | None, units: str) -> str:
    if value is None:
        return "none"
    spread = "" if low is None or high is None else f" ({_mm(low, units)} to {_mm(high, units)})"
    return _mm(value, units) + spread


def _mm(value_mm: float, units: str) -> str:
    return f"{value_mm / INCH_MM:.1f} in" if units == "imperial" else f"{value_mm / 10:.1f} cm"


def _span(seconds: float) -> str:
    """Signed seconds as people say them: ``-5 h 2 min 7.4 s``."""
    sign, left = ("-" if seconds < 0 else "+"), abs(seconds)
    parts = []
    for name, size in (("d", 86400), ("h", 3600), ("min", 60)):
        whole, left = divmod(left, size)
        if whole:
            parts.append(f"{whole:.0f} {name}")
    return f"{sign}{' '.join([*parts, f'{left:.2f} s'])}"

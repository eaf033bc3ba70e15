"""One run, as a table of contents. The only place where the rooms' verbs meet.

    take in -> track -> clocks -> line-up -> lengths -> moments -> edit list -> record -> files

Each stage is a function from what lies before it to what comes after; the commands of
:mod:`reelnotes.cli` call as many of them as they need.
"""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import reelnotes
from reelnotes.clocks import solve_clocks
from reelnotes.cuts import choose_cuts, write_chapters, write_cuts
from reelnotes.intake import read_trip
from reelnotes.ledger import held_against_log, join_lengths, write_ledger
from reelnotes.lineup import boards_tell, line_up, track_alone, with_measuring_clips
from reelnotes.measure import limit_notes, limit_remarks, measure_clips, with_rows, write_evidence
from reelnotes.moments import find_moments
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clocks
from reelnotes.records.cuts import EditList, Moment
from reelnotes.records.folder import TripFolder
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem, UsageError
from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Track
from reelnotes.records.trip import LineUp
from reelnotes.sorting import SortReport, UndoReport, sort_clips, undo_sort
from reelnotes.summary import fish_names, remarks, write_post
from reelnotes.track import clean_track, position_at, speed_series

Report = Callable[[float, str], None]
Steps = Callable[[str], Report]


def no_steps(_name: str) -> Report:
    """Progress for those who want none."""

    def silent(_share: float, _what: str = "") -> None:
        return None

    return silent


@dataclass(frozen=True)
class Lined:
    """A trip up to its line-up."""

    folder: TripFolder
    track: Track
    clocks: Clocks
    lineup: LineUp


def run_trip(root: Path, out: Path | None = None, steps: Steps = no_steps) -> TripRecord:
    """The whole job: read the folder ``root`` and write everything into ``out`` (default ``outputs/<name>``).

    Raises UsageError when there is no such folder or nothing usable in it; everything less is told in
    the record's problems.
    """
    out = output_folder(root, out)
    record = record_trip(root, out, steps)
    write_ledger(record, out)
    write_edit(record, out)
    remarked = write_public(record, out)
    report = write_sorted(record.lineup, record.folder, out, steps)
    return replace(record, problems=(*record.problems, *remarked, *report.problems))


def record_trip(root: Path, out: Path, steps: Steps = no_steps, length_s: float | None = None) -> TripRecord:
    """Everything that can be found about a trip. Of files, only the evidence pictures are written, into ``out``."""
    lined = wanting(line_up_trip(root, steps), length_s)
    lined, lengths = measure_lengths(lined, out, steps)
    moments, edit = choose_story(lined, lengths, steps)
    return make_record(lined, lengths, moments, edit)


def output_folder(root: Path, out: Path | None) -> Path:
    """Where a trip's outputs go. Raises UsageError when that would be inside the trip's own clips or a file.

    Not told where, they go under ``outputs/`` where the command was given; but beside the trip, and not into it, when it
    was given inside the trip folder.
    """
    chosen = (out or _usual_place(root.resolve())).resolve()
    for wanted in (chosen, *(chosen / name for name in ("frames", "post", "sorted"))):
        if wanted.exists() and not wanted.is_dir():
            raise UsageError(str(wanted), "it is a file, so no outputs can go into it", "name another folder with --out")
    there = next(folder for folder in (chosen, *chosen.parents) if folder.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        raise UsageError(str(chosen), f"nothing can be written into {there}", "name another folder with --out")
    if chosen == root.resolve():
        raise UsageError(str(chosen), "outputs cannot go into the trip folder itself", "name another folder with --out")
    if _among_the_trips_own(chosen, root.resolve()):
        raise UsageError(str(chosen), "outputs cannot go among the trip's own files", "name another folder with --out")
    return chosen


def _usual_place(root: Path) -> Path:
    here = Path.cwd()
    inside = here == root or root in here.parents
    return (root.parent if inside else here) / "outputs" / root.name


def _among_the_trips_own(chosen: Path, root: Path) -> bool:
    """Inside the trip only a new folder will do, or one that an earlier run made: outputs must never be taken for clips."""
    if root not in chosen.parents:
        return False
    top = chosen.relative_to(root).parts[0].casefold()
    earlier = not chosen.exists() or (chosen / "trip.json").is_file() or not any(chosen.iterdir())
    return top in ("clips", "track", "log", "boards", "lenses") or not earlier


def left_from_before(out: Path, names: Sequence[str]) -> tuple[Problem, ...]:
    """A remark when ``out`` holds outputs of an earlier run that the command at hand does not make anew."""
    there = [name for name in names if (out / name).exists()]
    if not there:
        return ()
    left = "left as they are, though what was found now may differ"
    return (Problem(str(out), f"{', '.join(there)}: of an earlier run", left, "'reelnotes run' makes everything anew", False),)


def line_up_trip(root: Path, steps: Steps = no_steps) -> Lined:
    """Read the folder, clean the track, solve the clocks, put everything on one time line."""
    folder = read_trip(root, steps("Reading the trip folder"))
    track = clean_track(folder.fixes)
    clocks = solve_clocks(folder, track, partial(speed_series, track), steps("Solving the clocks"))
    clips = tuple(_with_clocks_word(clip, clocks) for clip in folder.clips)
    folder = replace(folder, clips=clips)
    return Lined(folder, track, clocks, _lineup(folder, clocks, track))


def _lineup(folder: TripFolder, clocks: Clocks, track: Track, on_board: dict[str, float] | None = None) -> LineUp:
    return line_up(folder.clips, clocks, track, partial(position_at, track), folder.events, on_board)


def _with_clocks_word(clip: Clip, clocks: Clocks) -> Clip:
    reason = (clocks.set_aside or {}).get(clip.name, "")
    return clip if clip.set_aside or not reason else replace(clip, set_aside=reason)


def wanting(lined: Lined, length_s: float | None) -> Lined:
    """The same trip with another wanted running time; None leaves it as trip.toml says."""
    if length_s is None:
        return lined
    settings = lined.folder.settings
    edit = settings.edit.model_copy(update={"length_s": length_s})
    return replace(lined, folder=replace(lined.folder, settings=settings.model_copy(update={"edit": edit})))


def measure_lengths(lined: Lined, out: Path | None, steps: Steps = no_steps) -> tuple[Lined, tuple[FishLength, ...]]:
    """Measure the fish in every usable clip, write an evidence picture each, tie them to the catches.

    A fish on a board also tells that it was landed shortly before, which a late note does not: so the
    line-up is made once more with that knowledge. The clips that measured a catch are its clips too.
    out: None writes no pictures, for who only wants to know which clips belong to a catch.
    """
    folder = replace(lined.folder, problems=(*clips_missed(lined.folder), *lined.folder.problems))
    lined = replace(lined, folder=folder)
    if not folder.boards:
        return lined, write_evidence((), out) if out is not None else ()
    found = measure_clips(folder, steps("Measuring fish"))
    lined = replace(lined, folder=replace(folder, problems=(*folder.problems, *found.problems)))
    rows = tuple(row for clip in found.clips for row in clip.lengths)
    lengths = join_lengths(rows, lined.lineup)
    told = boards_tell(lined.lineup, lengths)
    if told:
        lined = replace(lined, lineup=_lineup(folder, lined.clocks, lined.track, told))
        lengths = join_lengths(rows, lined.lineup)
    units = folder.settings.units
    lengths, remarks = held_against_log(lengths, lined.lineup, units)
    if out is not None:
        lengths = write_evidence(with_rows(found.clips, lengths, units), out)
    lined = replace(lined, folder=replace(lined.folder, problems=(*lined.folder.problems, *remarks)))
    return replace(lined, lineup=with_measuring_clips(lined.lineup, lengths)), lengths


def clips_missed(folder: TripFolder, *, serious: bool = True) -> tuple[Problem, ...]:
    """Says so when a trip holds no clip at all. serious: clips are what was asked for; a time line can do without."""
    if folder.clips:
        return ()
    parts = [name for name, there in (("track", len(folder.fixes)), ("log", len(folder.events))) if there]
    what, done = "there are none, so nothing can be measured, cut or sorted", f"only the {' and the '.join(parts)} could be used"
    return (Problem("clips", what, done, "put them under clips/<camera>/ in the trip folder", serious),)


def choose_story(lined: Lined, lengths: tuple[FishLength, ...], steps: Steps = no_steps) -> tuple[tuple[Moment, ...], EditList]:
    """Find what is worth showing and cut it to the wanted length."""
    moments = find_moments(lined.lineup, lengths, progress=steps("Finding moments"))
    return moments, choose_cuts(moments, lined.lineup, lined.folder.settings.edit, title=lined.folder.title)


def make_record(
    lined: Lined, lengths: tuple[FishLength, ...], moments: tuple[Moment, ...] = (), edit: EditList | None = None
) -> TripRecord:
    """Bundle everything that was found."""
    folder = lined.folder
    alone = track_alone(lined.lineup, lined.track)
    return TripRecord(
        folder=folder,
        track=lined.track,
        clocks=lined.clocks,
        lineup=lined.lineup,
        lengths=lengths,
        edit=edit,
        moments=moments,
        problems=(
            *folder.problems,
            *clock_problems(lined.clocks),
            *([alone] if alone else []),
            *limit_remarks(lined.lineup, folder.limits),
        ),
        limit_notes=limit_notes(lengths, lined.lineup, folder.limits, folder.zone, folder.settings.units),
        version=reelnotes.__version__,
    )


def clock_problems(clocks: Clocks) -> tuple[Problem, ...]:
    """What the clocks room has to say: foreign clips, and the human's word against the rest."""
    foreign = [
        Problem(clip, reason, "it was set aside", "leave it out of the folder, or correct the camera's clock in trip.toml")
        for clip, reason in sorted((clocks.set_aside or {}).items())
    ]
    return (*foreign, *(Problem("clocks", sentence, serious=False) for sentence in clocks.conflicts))


def write_edit(record: TripRecord, out: Path) -> None:
    """The edit list in all its formats."""
    assert record.edit is not None
    write_cuts(record.edit, record.lineup, out)


def write_public(record: TripRecord, out: Path) -> tuple[Problem, ...]:
    """``post/``: the only folder that is meant to leave the house. Returns what of it could not be as it was wanted."""
    assert record.edit is not None
    write_post(record, out / "post")
    write_chapters(record.edit, out / "post" / "chapters.txt", fish_names(record))
    return remarks(record)


def write_sorted(lineup: LineUp, folder: TripFolder, out: Path, steps: Steps = no_steps) -> SortReport:
    """The clips again as links, by day, leg and catch."""
    return sort_clips(lineup, folder.root, out, folder.zone, progress=steps("Sorting the clips"))


def undo_sorted(out: Path) -> UndoReport:
    """Take away what :func:`write_sorted` made."""
    return undo_sort(out)

"""From the solution to the record: each clip's time, and each run's clock."""

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from reelnotes.clocks.clues.stamps import Reading, is_date_reset
from reelnotes.clocks.clues.trusted import OffsetClue
from reelnotes.clocks.marks import Marks
from reelnotes.clocks.runs import Recording
from reelnotes.clocks.solver import Solution
from reelnotes.clocks.ties import Board
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime, ClockRun, Clocks, Clue


@dataclass(frozen=True)
class Placement:
    """How the groups were placed.

    group_of   run -> group; tier: group -> kind of clue that placed it ("" when nothing did)
    readings   run -> what its stamps mean
    relative, absolute, offsets   clues used; dropped: with why
    """

    group_of: tuple[int, ...]
    tier: Mapping[int, str]
    readings: Mapping[int, Reading]
    marks: Mapping[str, Marks]
    relative: tuple[Clue, ...]
    absolute: tuple[Clue, ...]
    offsets: tuple[OffsetClue, ...]
    dropped: tuple[tuple[Clue, str], ...]
    zone: dt.tzinfo


def assemble(
    table: Board, solution: Solution, placement: Placement, aside: Mapping[str, str], conflicts: tuple[str, ...]
) -> Clocks:
    """Everything the record needs, clip by clip and run by run; ``aside``: clips set aside, with the reason."""
    groups = _shown_groups(table, placement)
    clips: dict[str, ClipTime] = {}
    for i, recording in enumerate(table.recordings):
        run = table.run_of[i]
        for clip in recording.clips:
            if clip.name in aside:
                clips[clip.name] = ClipTime(clip.name, "none", clock_from="set aside")
                continue
            clips[clip.name] = _clip_time(table, solution, placement, i, clip, groups[placement.group_of[run]])
    clips = _relative_to_first(clips)
    runs = tuple(_clock_run(table, solution, placement, r, aside) for r in range(len(table.runs)))
    return Clocks(clips, runs, dict(aside), conflicts)


def _shown_groups(table: Board, placement: Placement) -> dict[int, int]:
    """Group -> number in the record: 0 for all that stand on the UTC line, else counted from 1."""
    shown = {}
    count = 0
    for group in dict.fromkeys(placement.group_of):
        if placement.tier[group]:
            shown[group] = 0
        else:
            count += 1
            shown[group] = count
    return shown


def _start(table: Board, solution: Solution, i: int, clip: Clip) -> tuple[float, float]:
    """(start, standard uncertainty) of a clip on its group's line: chapters move with their recording."""
    k = solution.cameras.index(table.recordings[i].camera)
    rate, rate_sigma = solution.media_ppm[solution.cameras[k]]
    step = clip.lead_s * 1e-6
    variance = solution.covariance[i, i] + (step * rate_sigma) ** 2 - 2 * step * solution.media_covariance[i, k]
    return float(solution.start_s[i]) + clip.lead_s - rate * step, math.sqrt(max(float(variance), 1e-8))


def _clip_time(table: Board, solution: Solution, placement: Placement, i: int, clip: Clip, group: int) -> ClipTime:
    run = table.run_of[i]
    start, sigma = _start(table, solution, i, clip)
    if placement.tier[placement.group_of[run]]:
        offset = None if clip.stamp_s is None else start - clip.stamp_s
        return ClipTime(clip.name, "utc", start, sigma, offset, 0, None, _clock_from(table, placement, i))
    mine = placement.group_of[run]
    members = [j for j, r in enumerate(table.run_of) if placement.group_of[r] == mine]
    if len(members) == 1 and len(table.recordings[i].clips) == 1:
        return ClipTime(clip.name, "none", group=group, clock_from="no clue")
    return ClipTime(clip.name, "relative", None, sigma, None, group, start, _clock_from(table, placement, i))


def _relative_to_first(clips: Mapping[str, ClipTime]) -> dict[str, ClipTime]:
    first: dict[int, float] = {}
    for time in clips.values():
        if time.relative_start_s is not None:
            first[time.group] = min(first.get(time.group, math.inf), time.relative_start_s)
    out = {}
    for name, t in clips.items():
        since = None if t.relative_start_s is None else t.relative_start_s - first[t.group]
        out[name] = replace(t, relative_start_s=since)
    return out


def _clock_from(table: Board, placement: Placement, i: int) -> str:
    """A few words: what placed the group, and how this recording hangs on it."""
    names = {c.name for c in table.recordings[i].clips}
    tier = placement.tier[placement.group_of[table.run_of[i]]]
    parts = [tier] if tier else []
    if any(c.clip in names for c in placement.absolute):
        return tier
    if any(c.clip in names or c.other in names for c in placement.relative):
        parts.append("sound")
    elif tier not in ("stamps", "trusted") or len(table.members(table.run_of[i])) > 1:
        parts.append("own stamps")
    return " + ".join(dict.fromkeys(parts))


def _clock_run(table: Board, solution: Solution, placement: Placement, r: int, aside: Mapping[str, str]) -> ClockRun:
    run = table.runs[r]
    tier = placement.tier[placement.group_of[r]]
    in_order = [c.name for rec in run.recordings for c in rec.clips]
    names = set(in_order)
    kept = [name for name in in_order if name not in aside] or in_order  # a stray of another day names no run
    drift, drift_sigma = solution.drift_ppm[run.camera]
    known = bool(tier) and run.stamped
    measured = drift_sigma < 15.0  # else the figure is no more than what crystals are sold as
    used = [c.words or c.kind for c in (*placement.absolute, *placement.relative) if c.clip in names or c.other in names]
    used += [o.words for o in placement.offsets if o.run == r]
    dropped = [f"{c.words or c.kind}: {why}" for c, why in placement.dropped if c.clip in names or c.other in names]
    rough = table.base_s[table.members(r)[0]] - (run.recordings[0].stamp_s or 0.0) if run.stamped else 0.0
    if placement.marks[run.camera].meaning == "end":
        rough += run.recordings[0].end_span_s
    first_start = float(solution.start_s[table.members(r)[0]]) if tier else None
    return ClockRun(
        camera=run.camera,
        run=run.number,
        first=kept[0],
        last=kept[-1],
        placed="utc" if tier else "relative" if len(names) > 1 or len(_group_runs(placement, r)) > 1 else "none",
        offset_s=float(solution.offset_s[r]) + rough if known else None,
        sigma_s=float(solution.offset_sigma_s[r]) if known else None,
        drift_ppm=drift if known and measured else None,
        drift_sigma_ppm=drift_sigma if known and measured else None,
        reading=_reading(run.recordings, placement.readings.get(r), first_start),
        marks=placement.marks[run.camera].meaning,
        used=tuple(used),
        dropped=tuple(dropped),
    )


def _group_runs(placement: Placement, r: int) -> list[int]:
    return [q for q, g in enumerate(placement.group_of) if g == placement.group_of[r]]


def _reading(recordings: Sequence[Recording], reading: Reading | None, day_s: float | None) -> str:
    if reading is not None and reading.name in ("UTC", "local time written as UTC"):
        return reading.name
    stamps = [r.stamp_s for r in recordings if r.stamp_s is not None]
    return "date reset" if stamps and is_date_reset(stamps, day_s) else "unknown"

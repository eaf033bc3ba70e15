"""Shots in seconds -> the edit list in exact frames and timecode.

Every clip counts its own frames at its own rational rate; the record counts frames of the edit's
rate from 01:00:00:00, the trade's habit. A shot of another rate takes the nearest whole number of
edit frames, so the record has neither hole nor overlap. Frames of a variable-rate clip are counted
at its nominal rate, by time.
"""

import math
from collections.abc import Sequence
from fractions import Fraction

from reelnotes.cuts.choosing import LEAST_SHOT_S
from reelnotes.cuts.shots import Shot
from reelnotes.records.clips import Clip
from reelnotes.records.cuts import Cut, EditList, Moment
from reelnotes.records.rates import frames_to_timecode, is_drop_frame, nominal, timecode_to_frames

RECORD_START_HOUR = 1
# A shot is said to show an event when it holds at least this much of its (cautiously reckoned) probability.
LIKELY = 0.3


def frame_list(shots: Sequence[Shot], rate: Fraction, *, title: str, wanted_s: float | None = None) -> EditList:
    """The edit list of shots that are in story order and do not overlap."""
    start = record_start_frame(rate)
    ranges = _frame_ranges(shots)
    cuts: list[Cut] = []
    record = start
    for number, (shot, (in_frame, out_frame)) in enumerate(zip(shots, ranges, strict=True), start=1):
        clip = shot.placed.clip
        length = out_frame - in_frame if clip.rate == rate else max(1, round((out_frame - in_frame) / clip.rate * rate))
        in_tc, out_tc = source_timecode(clip, in_frame), source_timecode(clip, out_frame)
        kind, why, catch = _story(shot.moments)
        cuts.append(
            Cut(
                number=number,
                clip=clip.name,
                in_frame=in_frame,
                out_frame=out_frame,
                rate=clip.rate,
                in_tc=in_tc,
                out_tc=out_tc,
                record_in_frame=record,
                record_out_frame=record + length,
                record_in_tc=frames_to_timecode(record, rate),
                record_out_tc=frames_to_timecode(record + length, rate),
                why=why,
                kind=kind,
                catch=catch,
            )
        )
        record += length
    return EditList(title, rate, start, tuple(cuts), wanted_s)


def record_start_frame(rate: Fraction) -> int:
    """The frame number that is labelled 01:00:00:00 (01:00:00;00 when drop-frame) at a rate."""
    return timecode_to_frames(f"{RECORD_START_HOUR:02d}:00:00{';' if is_drop_frame(rate) else ':'}00", rate)


def last_frame(clip: Clip) -> int:
    """The number of frames that may be listed of a clip: counted, or of a variable-rate clip told by time."""
    by_time = math.floor(Fraction(clip.duration_s) * clip.rate + Fraction(1, 1000))
    return by_time if clip.variable_rate or clip.frames is None else clip.frames


def source_timecode(clip: Clip, frame: int) -> str:
    """Timecode of a clip's frame: counted on from its start timecode, or from zero when it has none.

    A start timecode that is none at the clip's rate is not used. At 30000/1001 the clip's own code
    tells whether it is drop-frame; without one the customary drop-frame is written.
    """
    if clip.timecode:
        try:
            first = timecode_to_frames(clip.timecode, clip.rate)
        except ValueError:
            first = None
        if first is not None:
            drop = clip.timecode.strip()[-3] in ";," and is_drop_frame(clip.rate)
            return frames_to_timecode(first + frame, clip.rate, drop)
    return frames_to_timecode(frame, clip.rate)


def _frame_ranges(shots: Sequence[Shot]) -> list[tuple[int, int]]:
    """Whole frames for every shot: inside its clip, never shorter than the least, never over its neighbour."""
    ranges: dict[int, tuple[int, int]] = {}
    ends: dict[str, int] = {}
    for shot in sorted(shots, key=lambda s: s.start_s):
        clip = shot.placed.clip
        count = last_frame(clip)
        in_frame = max(min(round(shot.start_s * clip.rate), count), ends.get(clip.name, 0))
        out_frame = min(round(shot.end_s * clip.rate), count)
        least = math.ceil(Fraction(LEAST_SHOT_S) * clip.rate) + (1 if nominal(clip.rate) >= 24 else 0)
        if out_frame - in_frame < least:
            out_frame = min(count, in_frame + least)
        ends[clip.name] = out_frame
        ranges[id(shot)] = (in_frame, out_frame)
    return [ranges[id(shot)] for shot in shots]


def _story(moments: Sequence[Moment]) -> tuple[str, str, str]:
    """(kind, why, catch) of a shot: the weightiest of its likely moments names it, the others are told after it.

    Of an event whose instant is uncertain a shot may hold only a small part of the chance: then it says so.
    """
    held: dict[tuple[str, str], float] = {}
    for m in moments:
        held[m.kind, m.event] = held.get((m.kind, m.event), 0.0) + m.chance
    likely = [m for m in moments if held[m.kind, m.event] >= LIKELY]
    ranked = sorted(likely or moments, key=lambda m: (-m.weight, -held[m.kind, m.event], m.order_s))
    if not ranked:
        return "scene", "a look at the day", ""
    first = ranked[0]
    kinds = list(dict.fromkeys(m.kind for m in ranked))
    why = f"{first.kind}{'' if likely else ', perhaps here'}"
    why += f": {', '.join(first.reasons)}" if first.reasons else ""
    why += f"; also {', '.join(kinds[1:])}" if len(kinds) > 1 else ""
    return first.kind, why, first.catch or next((m.catch for m in ranked if m.catch), "")

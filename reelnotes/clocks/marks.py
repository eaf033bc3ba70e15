"""Whether a camera's stamps mark the start or the end of a recording, decided for all cameras together.

Three kinds of evidence, in natural logarithms of odds. Takes of different cameras that shared sound tie their
true starts; the right meanings make the difference of two clocks the same in every pair of takes, a wrong one
scatters it by the takes' lengths. No camera films two recordings at once. And where files kept the time of
their last writing, it follows the stamp by the take's length, or by nothing.
"""

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reelnotes.clocks.clues.stamps import roughness
from reelnotes.clocks.runs import Recording, overlaps
from reelnotes.records.clips import Camera
from reelnotes.records.clocks import Clue

PRIOR_END = 0.12  # most cameras stamp the start
PRIOR_END_WITH_OFFSET = 0.02  # who gives an offset to add to the stamp, has the start in mind
AGREE_S = 2.0  # two stamps' roughness and an hour's drift
LINK_WORTH = 4.0  # one more agreeing pair: about ln(spread of take lengths / AGREE_S)
BREAK_COST = 4.0  # one more battery pull that nothing else tells of


@dataclass(frozen=True, slots=True)
class Marks:
    """A camera's belief that stamps mark the end of a recording; ``meaning`` puts it in a word."""

    end_share: float

    @property
    def meaning(self) -> str:
        """ "start", "end", or "unknown" when it could not be settled."""
        return "end" if self.end_share > 0.95 else "start" if self.end_share < 0.05 else "unknown"

    @property
    def doubt(self) -> float:
        """Standard deviation of "is it the end" (0 when settled): times a take's length, the doubt about its start."""
        return math.sqrt(self.end_share * (1 - self.end_share)) if self.meaning == "unknown" else 0.0

    @property
    def likelier(self) -> str:
        """The likelier of the two."""
        return "end" if self.end_share > 0.5 else "start"


def stamped_start(recording: Recording, marks: Marks) -> tuple[float, float] | None:
    """(when the recording began by its camera's own clock, standard deviation), before any offset; None without a stamp.

    With the meaning unsettled both count by their shares.
    """
    if recording.stamp_s is None:
        return None
    named = None
    if recording.name_s is not None:
        # File names spell local time, stamps mostly UTC: only what is left of whole quarter hours counts.
        named = math.remainder(recording.name_s - recording.stamp_s, 900.0)
    start = roughness("start", recording.stamp_step_s, named)
    end = roughness("end", recording.stamp_step_s)
    p = marks.end_share if marks.meaning == "unknown" else float(marks.meaning == "end")
    mean = (1 - p) * start.mean_s + p * (end.mean_s - recording.end_span_s)
    spread = math.hypot((1 - p) * start.sigma_s, p * end.sigma_s)
    return recording.stamp_s + mean, max(spread, min(start.sigma_s, end.sigma_s))


def choose_marks(
    cameras: Mapping[str, Camera], recordings: Mapping[str, Sequence[Recording]], relative: Sequence[Clue]
) -> dict[str, Marks]:
    """Settle every camera's meaning of stamps; the user's ``stamp = "start" | "end"`` stands as given."""
    fixed = {n: c.stamp for n, c in cameras.items() if c.stamp in ("start", "end")}
    open_names = [n for n in recordings if n not in fixed]
    prior = {n: PRIOR_END if cameras[n].offset_s is None else PRIOR_END_WITH_OFFSET for n in open_names}
    own = {n: {m: _alone(recordings[n], m, prior[n]) for m in ("start", "end")} for n in open_names}
    links = _links(recordings, relative)
    if len(open_names) > 8:  # then decide one by one against the others at their own best
        own_best = {n: "end" if own[n]["end"] > own[n]["start"] else "start" for n in open_names}
        combos = [{**own_best, n: m} for n in open_names for m in ("start", "end")]
    else:
        combos = [dict(zip(open_names, c, strict=True)) for c in itertools.product(("start", "end"), repeat=len(open_names))]
    scores = np.array([sum(own[n][m] for n, m in combo.items()) + _agreement(links, {**combo, **fixed}) for combo in combos])
    weights = np.exp(scores - scores.max())
    out = {n: Marks(1.0 if m == "end" else 0.0) for n, m in fixed.items() if n in recordings}
    for name in open_names:
        ended = sum(w for w, combo in zip(weights, combos, strict=True) if combo[name] == "end")
        out[name] = Marks(float(ended / weights.sum()))
    return out


def _alone(recordings: Sequence[Recording], marks: str, prior_end: float) -> float:
    score = math.log(prior_end if marks == "end" else 1 - prior_end)
    score -= BREAK_COST * sum(overlaps(a, b, marks) for a, b in itertools.pairwise(recordings))
    return score + _written(recordings, marks) + _named(recordings, marks)


def _named(recordings: Sequence[Recording], marks: str) -> float:
    """File names that spell a time are given when recording starts: the stamp follows by nothing, or by the take's length."""
    score = 0.0
    for r in recordings:
        if r.name_s is None or r.stamp_s is None or r.end_span_s < 4 * AGREE_S:
            continue
        late = math.remainder(r.stamp_s - r.name_s, 900.0)  # whatever zones the two are written in
        score += LINK_WORTH if abs(late - (r.end_span_s if marks == "end" else 0.0)) < AGREE_S else 0.0
    return score


def _written(recordings: Sequence[Recording], marks: str) -> float:
    """How well the files' times of last writing fit: they are as good as a clock, or all about the time of copying."""
    rows = [(r.clips[-1].file_time_s, r.stamp_s, r.end_span_s) for r in recordings]
    known = np.array([(f - s, span) for f, s, span in rows if f is not None and s is not None])
    if len(known) < 3 or np.ptp(known[:, 1]) < 4 * AGREE_S:
        return 0.0
    late = known[:, 0] - (known[:, 1] if marks == "start" else 0.0)
    late = late - np.median(late)
    return LINK_WORTH * float(np.sum(np.abs(late) < AGREE_S)) / 2


_Link = tuple[str, str, float, Recording, Recording, float]


def _links(recordings: Mapping[str, Sequence[Recording]], relative: Sequence[Clue]) -> list[_Link]:
    home = {c.name: (r, c.lead_s) for rs in recordings.values() for r in rs for c in r.clips}
    found = []
    for clue in relative:
        if clue.other is None or clue.clip not in home or clue.other not in home:
            continue
        (a, lead_a), (b, lead_b) = home[clue.clip], home[clue.other]
        if a.camera != b.camera and a.stamp_s is not None and b.stamp_s is not None:
            found.append((a.camera, b.camera, clue.value_s - lead_a + lead_b, a, b, clue.confidence))
    return found


def _agreement(links: Sequence[_Link], meaning: Mapping[str, str]) -> float:
    """Worth of all pairs of cameras whose clocks differ by the same in several pairs of takes."""
    per_pair: dict[tuple[str, str], dict[tuple[str, str], float]] = {}
    for camera_a, camera_b, value, a, b, _ in links:
        at_a = (a.stamp_s or 0.0) - (a.end_span_s if meaning[camera_a] == "end" else 0.0)
        at_b = (b.stamp_s or 0.0) - (b.end_span_s if meaning[camera_b] == "end" else 0.0)
        sign = 1.0 if camera_a <= camera_b else -1.0
        pair = (camera_a, camera_b) if camera_a <= camera_b else (camera_b, camera_a)
        per_pair.setdefault(pair, {})[(a.key, b.key)] = sign * (value - at_a + at_b)
    worth = 0.0
    for offsets in per_pair.values():
        left = sorted(offsets.values())
        while left:  # clocks may have been reset between: several groups, each worth its size less one
            group = max(([x for x in left if 0 <= x - lo <= AGREE_S] for lo in left), key=len)
            worth += LINK_WORTH * (len(group) - 1)
            left = [x for x in left if x not in group]
    return worth

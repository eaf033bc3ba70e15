"""Logged events against footage: anglers film what they log, and write it down late.

Weak: the log's minute and the late hand leave a window of two or three minutes for each event. So it never places a
camera by itself; it only helps to choose among the few places that stamps allow.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reelnotes.records.log import LogEvent

FILMED_SHARE = {"strike": 0.7, "hooked": 0.7, "landed": 0.8, "lost": 0.7, "released": 0.7}
OTHER_SHARE = 0.4
LATE_S = 90.0  # most notes are written within this of the event


def event_windows(events: Sequence[LogEvent]) -> list[tuple[float, float, float]]:
    """(earliest, latest, how often such a thing is filmed) of each event, UTC."""
    return [
        (e.time_utc_s - min(e.late_s, LATE_S), e.time_utc_s + e.step_s, FILMED_SHARE.get(e.kind, OTHER_SHARE)) for e in events
    ]


def _covered(starts: NDArray[np.float64], ends: NDArray[np.float64], early: float, late: float) -> bool:
    return bool(np.any((starts < late) & (ends > early)))


def coverage_score(spans: Sequence[tuple[float, float]], windows: Sequence[tuple[float, float, float]], shift_s: float) -> float:
    """Log-odds that footage ``spans``, moved by ``shift_s``, was filmed beside these events rather than at any other time.

    For each event: is there footage in its window, against how often there would be by chance.
    """
    if not spans or not windows:
        return 0.0
    starts = np.array([a for a, _ in spans]) + shift_s
    ends = np.array([b for _, b in spans]) + shift_s
    reach = ends.max() - starts.min()
    score = 0.0
    for early, late, share in windows:
        window = late - early
        merged = _length(starts - window, ends)
        chance = min(0.95, max(0.02, merged / (reach + window)))
        hit = _covered(starts, ends, early, late)
        filmed = max(share, chance)
        score += np.log(filmed / chance) if hit else np.log((1 - filmed) / (1 - chance))
    return float(score)


def _length(starts: NDArray[np.float64], ends: NDArray[np.float64]) -> float:
    """Length of the union of spans."""
    order = np.argsort(starts)
    total, reached = 0.0, -np.inf
    for a, b in zip(starts[order], ends[order], strict=True):
        total += max(0.0, b - max(a, reached))
        reached = max(reached, b)
    return float(total)

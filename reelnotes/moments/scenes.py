"""A look at the day: in every clip the liveliest stretches, in case there is time to fill.

No claim is made that anything happened there. Where nothing was heard, the middle of the clip stands in.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from reelnotes.moments.evidence import GRID_S
from reelnotes.records.cuts import Moment
from reelnotes.records.trip import LineUp, PlacedClip

SCENE_S = 5.0
APART_S = 15.0
# One scene a clip, and one more for every so many seconds of it.
SECONDS_A_SCENE = 40.0
LEAST_WEIGHT, MOST_WEIGHT = 0.02, 0.12
# The ratio of a stretch that stands out as clearly as a shout nearby.
CLEAR_RATIO = 24.0


def scene_moments(lineup: LineUp, ratios: Mapping[str, NDArray[np.float64]]) -> list[Moment]:
    """Scenes of all usable clips; their weight rises with how clearly the stretch stands out."""
    end = max((c.end_utc_s or 0.0 for c in lineup.clips), default=0.0)
    moments = []
    for number, placed in enumerate(lineup.clips):
        if placed.clip.usable and placed.clip.duration_s > 0:
            moments += _of_clip(placed, ratios.get(placed.clip.name), end + number)
    return moments


def _of_clip(placed: PlacedClip, ratio: NDArray[np.float64] | None, order_if_unplaced: float) -> list[Moment]:
    duration = placed.clip.duration_s
    length = min(SCENE_S, duration)
    start_utc = placed.time.start_utc_s
    made = []
    left = np.ones(1) if ratio is None else ratio.astype(np.float64).copy()
    for _ in range(1 + int(duration // SECONDS_A_SCENE)):
        best = int(left.argmax())
        if left[best] <= 0:
            break
        middle = duration / 2.0 if ratio is None else (best + 0.5) * GRID_S
        low = min(max(0.0, middle - length / 2.0), duration - length)
        clear = float(np.clip(np.log(max(left[best], 1.0)) / np.log(CLEAR_RATIO), 0.0, 1.0))
        weight = LEAST_WEIGHT + (MOST_WEIGHT - LEAST_WEIGHT) * clear
        words = "a look at the day" if ratio is None else "a look at the day, where it sounds liveliest"
        order = order_if_unplaced if start_utc is None else start_utc + low
        made.append(Moment("scene", placed.clip.name, 0.0, duration, (low, low + length), weight, (words,), order))
        if ratio is None:
            break
        reach = round(APART_S / GRID_S)
        left[max(0, best - reach) : best + reach] = 0.0
    return made

"""Positions that clips carry (ISO 6709, phones write them) against the track: when was the boat there?

A phone's fix may be minutes old, and the boat may lie at one place for an hour. So a position places no clip by
itself; it helps to choose among the places that stamps allow.
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from reelnotes.records.clips import Clip
from reelnotes.records.tracks import Track

NEAR_M = 120.0
STALE_S = 180.0
TRUE_SHARE = 0.8  # how often a clip's position is good and fresh
EARTH_M = 6_371_008.8  # mean radius: a few per mille of error do not matter here
GRID_S = 10.0


def times_near(clip: Clip, track: Track) -> NDArray[np.float64]:
    """Instants (every GRID_S, UTC) at which the track lies within NEAR_M of where the clip says that it was made."""
    if clip.location is None or track.empty or not {"lat", "lon"} <= set(track.points):
        return np.array([])
    times = track.points["time_utc_s"].to_numpy(float)
    grid = np.arange(times[0], times[-1] + GRID_S, GRID_S)
    lat = np.interp(grid, times, track.points["lat"].to_numpy(float))
    lon = np.interp(grid, times, track.points["lon"].to_numpy(float))
    north = np.radians(lat - clip.location.lat) * EARTH_M
    east = np.radians((lon - clip.location.lon + 180) % 360 - 180) * EARTH_M * math.cos(math.radians(clip.location.lat))
    return grid[np.hypot(north, east) < NEAR_M]


def position_score(clips: Sequence[tuple[Clip, float]], track: Track) -> Callable[[float], float] | None:
    """Log-odds of moving these clips (with their starts on a common line) by a shift, from the positions that they carry.

    None when none carries a position that the track ever came near.
    """
    near = [(start, times_near(clip, track)) for clip, start in clips]
    near = [(start, times) for start, times in near if len(times)]
    if not near:
        return None
    whole = max(1.0, float(np.ptp(track.points["time_utc_s"].to_numpy(float)))) + 2 * STALE_S

    def score(shift_s: float) -> float:
        total = 0.0
        for start, times in near:
            chance = min(0.9, (len(times) * GRID_S + 2 * STALE_S) / whole)
            there = bool(np.min(np.abs(times - (start + shift_s))) <= STALE_S)
            share = max(TRUE_SHARE, chance)
            total += math.log(share / chance) if there else math.log((1 - share) / (1 - chance))
        return total

    return score

"""The ways of moving told apart: not moving, under way, trolling, drifting, circling.

Thresholds in knots, from how boats fish. Lures and baits are trolled at 1 to 4.5 knots, salmon at 2 to 3.5 (reference
PRA-03), so 5 knots and more is going somewhere. Below about one knot no lure is worked: wind and stream
carry the boat, or it lies still. A quarter of a knot is 8 m a minute, the wander of a boat at anchor or of a receiver
ashore. A fish that is fought pulls a boat round: slow, and its way turns.
(Trolling range: reference PRA-03; the rest common practice, no source.)
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.ndimage import maximum_filter1d, minimum_filter1d

from reelnotes.records.tracks import Leg
from reelnotes.records.units import KNOT_MPS
from reelnotes.track.geodesy import LocalFrame, path_m

GRID_S = 2.0
SPEED_WINDOW_S = 20.0  # averages out waves and the stroke of a paddle
SHAPE_WINDOW_S = 90.0  # a boat that is pulled round needs about this for half a turn

UNDER_WAY_KN = (4.4, 5.0)  # (leave below, enter above): hysteresis
SLOW_KN = (0.9, 1.25)
STILL_WINDOW_S, STILL_M = 60.0, 5.0  # a quarter of a knot, either side of where it lies
TURNED_DEG = 120.0  # wind and stream do not turn a boat's way by a third of a circle within the window; a fish does
HEADING_STEP_S = 12.0  # a course is taken over this long: shorter steps at half a knot are noise
CREEPING = "creeping"  # slower than trolling, not yet told apart

LEAST_S = {CREEPING: 30.0, "under way": 20.0, "trolling": 40.0, "drifting": 40.0, "circling": 40.0, "not moving": 30.0}
WAY_STEP_S = 6.0  # distance is summed over steps this long, so that noise adds nothing to it


@dataclass(frozen=True, slots=True)
class _Run:
    kind: str
    start: int  # grid index
    end: int  # exclusive


def find_legs(points: pd.DataFrame) -> tuple[Leg, ...]:
    """Legs of a smoothed track (its ``points``), numbered from 1 in time order; none crosses a gap."""
    legs: list[Leg] = []
    for _, piece in points.groupby("piece", sort=True):
        legs.extend(_piece_legs(piece, len(legs)))
    return tuple(legs)


def _piece_legs(piece: pd.DataFrame, before: int) -> list[Leg]:
    t = piece["time_utc_s"].to_numpy(float)
    if t[-1] - t[0] < 2 * GRID_S:
        return []
    grid = np.arange(t[0], t[-1] + GRID_S / 2, GRID_S)
    lat0, lon0 = float(piece["lat"].iloc[0]), float(piece["lon"].iloc[0])
    frame = LocalFrame(lat0, lon0)
    places = frame.to_metres(piece["lat"].to_numpy(), piece["lon"].to_numpy())
    path = np.stack([np.interp(grid, t, places[:, k]) for k in (0, 1)], axis=1)
    speed = np.interp(grid, t, piece["speed_mps"].to_numpy())
    runs = _split(path, speed)
    legs: list[Leg] = []
    for run in runs:
        start = grid[run.start]
        end = float(t[-1]) if run is runs[-1] else grid[run.end]
        legs.append(_leg(frame, path[run.start : run.end + 1], before + len(legs) + 1, run.kind, float(start), float(end)))
    return legs


def _leg(frame: LocalFrame, path: np.ndarray, number: int, kind: str, start: float, end: float) -> Leg:
    steps = path[:: max(1, int(WAY_STEP_S / GRID_S))]
    if len(path) > 1 and (len(path) - 1) % max(1, int(WAY_STEP_S / GRID_S)):
        steps = np.concatenate([steps, path[-1:]])
    distance = path_m(*frame.to_degrees(steps))
    return Leg(number, kind, start, end, distance, distance / max(end - start, 1e-9))


def _split(path: np.ndarray, speed: np.ndarray) -> list[_Run]:
    """Runs of one kind over the grid: bands of speed first, then the slow band by the shape of the way within it."""
    knots = _mean(speed, SPEED_WINDOW_S) / KNOT_MPS
    fast = _schmitt(knots, *UNDER_WAY_KN)
    slow = _schmitt(knots, *SLOW_KN) & ~fast
    runs: list[_Run] = []
    for band in _merged(_runs(np.where(fast, "under way", np.where(slow, "trolling", CREEPING)))):
        if band.kind != CREEPING:
            runs.append(band)
            continue
        inner = _merged(_runs(_creeping(path[band.start : band.end])))
        runs += [_Run(run.kind, run.start + band.start, run.end + band.start) for run in inner]
    return _joined(runs)


def _creeping(path: np.ndarray) -> np.ndarray:
    """Kinds within one stretch too slow for trolling; windows stay inside it, so that its neighbours' speed does not count."""
    i = np.arange(len(path))
    a, b = _window(i, STILL_WINDOW_S)
    still = np.max([np.hypot(*(path[a + (b - a) * k // 6] - path[i]).T) for k in range(7)], axis=0) < STILL_M
    if len(path) < 3:
        return np.where(still, "not moving", "drifting")
    step = max(1, int(HEADING_STEP_S / GRID_S / 2))
    along = path[np.minimum(i + step, len(path) - 1)] - path[np.maximum(i - step, 0)]
    course = np.degrees(np.unwrap(np.arctan2(along[:, 0], along[:, 1])))
    size = int(SHAPE_WINDOW_S / GRID_S) | 1
    turned = maximum_filter1d(course, size, mode="nearest") - minimum_filter1d(course, size, mode="nearest")
    return np.where(still, "not moving", np.where(turned > TURNED_DEG, "circling", "drifting"))


def _window(i: np.ndarray, length_s: float) -> tuple[np.ndarray, np.ndarray]:
    """First and last index of a window around each index, cut at the ends."""
    half = max(1, int(length_s / 2 / GRID_S))
    return np.maximum(i - half, 0), np.minimum(i + half, len(i) - 1)


def _schmitt(values: np.ndarray, leave_below: float, enter_above: float) -> np.ndarray:
    """True from where values rise above one level until they fall below the lower one."""
    state = np.zeros(len(values), bool)
    on = bool(len(values)) and values[0] > (leave_below + enter_above) / 2
    for k, value in enumerate(values):
        on = value > (leave_below if on else enter_above)
        state[k] = on
    return state


def _mean(values: np.ndarray, window_s: float) -> np.ndarray:
    half = max(1, int(window_s / 2 / GRID_S))
    total = np.concatenate([[0.0], np.cumsum(values)])
    i = np.arange(len(values))
    a, b = np.maximum(i - half, 0), np.minimum(i + half + 1, len(values))
    return (total[b] - total[a]) / (b - a)


def _runs(kinds: np.ndarray) -> list[_Run]:
    cuts = np.flatnonzero(kinds[1:] != kinds[:-1]) + 1
    starts, ends = np.concatenate([[0], cuts]), np.concatenate([cuts, [len(kinds)]])
    return [_Run(str(kinds[a]), int(a), int(b)) for a, b in zip(starts, ends, strict=True)]


def _merged(runs: list[_Run]) -> list[_Run]:
    """Runs shorter than their kind's least duration go to the longer neighbour, the shortest first."""
    runs = list(runs)
    while len(runs) > 1:
        short = [k for k, run in enumerate(runs) if (run.end - run.start) * GRID_S < LEAST_S[run.kind]]
        if not short:
            break
        k = min(short, key=lambda n: runs[n].end - runs[n].start)
        neighbours = [n for n in (k - 1, k + 1) if 0 <= n < len(runs)]
        n = max(neighbours, key=lambda m: runs[m].end - runs[m].start)
        lo, hi = min(k, n), max(k, n)
        runs[lo : hi + 1] = [_Run(runs[n].kind, runs[lo].start, runs[hi].end)]
        runs = _joined(runs)
    return runs


def _joined(runs: list[_Run]) -> list[_Run]:
    out = runs[:1]
    for run in runs[1:]:
        if run.kind == out[-1].kind:
            out[-1] = _Run(run.kind, out[-1].start, run.end)
        else:
            out.append(run)
    return out

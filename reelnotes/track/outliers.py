"""What is no fix of this boat: copies, impossible times and places, a stuck receiver, teleports.

Only what cannot be is removed here; a fix that is merely far off its neighbours is the smoother's business.
"""

import itertools

import numpy as np
import pandas as pd

from reelnotes.track.geodesy import earth_fixed, steps_m

FASTEST_MPS = 35.0  # 68 knots: faster than any boat that one fishes from, and than a trailer on the road with its receiver on
JUMP_SLACK_M = 25.0  # two good fixes may lie this far apart by noise alone, however short the time between
SPLIT_M = 15.0
FAR_TIME_S = 36 * 3600.0  # a group of fixes this far from the rest and small belongs to another day or a wrong clock
FEW_SHARE = 0.05
CALENDAR_S = 253_402_300_800.0  # 10000-01-01, the first instant that ISO 8601 cannot write in four digits of a year
STUCK_S, STUCK_FIXES = 5.0, 4


def remove_outliers(fixes: pd.DataFrame) -> tuple[pd.DataFrame, dict[str, int]]:
    """Fixes (FIX_COLUMNS) -> (kept fixes, strictly increasing time, fresh index; reason -> number removed)."""
    dropped: dict[str, int] = {}

    def keep(frame: pd.DataFrame, good: np.ndarray, reason: str) -> pd.DataFrame:
        lost = int((~good).sum())
        if lost:
            dropped[reason] = dropped.get(reason, 0) + lost
        return frame[good].reset_index(drop=True)

    frame = keep(fixes, _possible(fixes), "no fix")
    frame = frame.sort_values("time_utc_s", kind="stable", ignore_index=True)
    if len(frame):
        frame = keep(frame, _near_in_time(frame["time_utc_s"].to_numpy()), "other day")
    if len(frame):
        frame = keep(frame, _one_an_instant(frame), "duplicate")
        frame = keep(frame, ~_stuck(frame), "stuck receiver")
    if len(frame):
        frame = keep(frame, _longest_chain(frame), "jump")
    return frame, dropped


def _possible(fixes: pd.DataFrame) -> np.ndarray:
    t, lat, lon = (fixes[c].to_numpy(float) for c in ("time_utc_s", "lat", "lon"))
    with np.errstate(invalid="ignore"):
        return (np.abs(t) < CALENDAR_S) & (np.abs(lat) <= 90) & (np.abs(lon) <= 180) & ~((lat == 0) & (lon == 0))


def _near_in_time(t: np.ndarray) -> np.ndarray:
    """Drops small groups of fixes a day and more from all others: a receiver's first date before it heard a satellite."""
    group = np.concatenate([[0], np.cumsum(np.diff(t) > FAR_TIME_S)])
    size = np.bincount(group)[group]
    return size >= min(FEW_SHARE * len(t), size.max())


def _one_an_instant(frame: pd.DataFrame) -> np.ndarray:
    """Of fixes with one time, the one nearest to its neighbours in time is kept."""
    t = frame["time_utc_s"].to_numpy()
    same = np.concatenate([[False], np.diff(t) < 1e-3])
    good = np.ones(len(t), bool)
    if not same.any():
        return good
    xyz = earth_fixed(frame["lat"].to_numpy(), frame["lon"].to_numpy())
    starts = np.flatnonzero(~same)
    ends = np.append(starts[1:], len(t))
    for start, end in zip(starts, ends, strict=True):
        if end - start > 1:
            around = np.concatenate([xyz[max(0, start - 5) : start], xyz[end : end + 5]])
            middle = np.median(around if len(around) else xyz[start:end], axis=0)
            best = start + int(np.argmin(np.linalg.norm(xyz[start:end] - middle, axis=1)))
            good[start:end] = False
            good[best] = True
    return good


def _stuck(frame: pd.DataFrame) -> np.ndarray:
    """True for repeats of one position by a receiver that then leaps to where the boat has got to.

    A boat at rest repeats its position too, and so does a file with few decimals; neither is followed by a leap.
    """
    t, lat, lon = (frame[c].to_numpy(float) for c in ("time_utc_s", "lat", "lon"))
    stuck = np.zeros(len(t), bool)
    if len(t) < STUCK_FIXES + 1:
        return stuck
    moved = np.concatenate([[True], (np.diff(lat) != 0) | (np.diff(lon) != 0)])
    step = steps_m(lat, lon)
    usual = np.median(step[step > 0]) if (step > 0).any() else 0.0
    starts = np.flatnonzero(moved)
    for start, end in itertools.pairwise(starts):
        lasted = t[end] - t[start]
        leap = step[end - 1]
        if end - start >= STUCK_FIXES and lasted >= STUCK_S and leap > max(JUMP_SLACK_M, 5 * usual) and leap / lasted > 0.5:
            stuck[start + 1 : end] = True
    return stuck


def _longest_chain(frame: pd.DataFrame) -> np.ndarray:
    """Keeps the heaviest chain of runs of fixes in which every run can be reached from the one before at FASTEST_MPS.

    A run is a stretch without a leap. So a receiver that is elsewhere for a while loses that while, not the rest
    of the day, whether it leaps once, to and fro, or for many fixes.
    """
    t = frame["time_utc_s"].to_numpy()
    xyz = earth_fixed(frame["lat"].to_numpy(), frame["lon"].to_numpy())
    step, took = np.linalg.norm(np.diff(xyz, axis=0), axis=1), np.diff(t)
    usual = float(np.median(step / took)) if len(step) else 0.0
    # Cut at every step that is merely odd, so that a false fix never stays tied to the good ones after it; what is
    # merely odd is joined again below.
    leaps = step > min(3 * usual, FASTEST_MPS) * took + SPLIT_M
    starts = np.concatenate([[0], np.flatnonzero(leaps) + 1])
    ends = np.append(starts[1:], len(t)) - 1
    weight = (ends - starts + 1).astype(float)
    best, before = weight.copy(), np.full(len(starts), -1)
    for j in range(1, len(starts)):
        first = max(0, j - 2000)  # enough runs back; keeps a file of pure noise from costing a quadratic time
        apart = np.linalg.norm(xyz[ends[first:j]] - xyz[starts[j]], axis=1)
        reached = apart <= FASTEST_MPS * (t[starts[j]] - t[ends[first:j]]) + JUMP_SLACK_M
        score = np.where(reached, best[first:j], 0.0)
        if score.max(initial=0.0) > 0:
            before[j] = first + int(np.argmax(score))
            best[j] = weight[j] + score.max()
    good = np.zeros(len(t), bool)
    j = int(np.argmax(best))
    while j >= 0:
        good[starts[j] : ends[j] + 1] = True
        j = int(before[j])
    return good

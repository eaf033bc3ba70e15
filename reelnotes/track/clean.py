"""clean_track: raw fixes -> the cleaned, smoothed track with its legs and gaps."""

import itertools

import numpy as np
import pandas as pd

from reelnotes.records.tracks import Track
from reelnotes.track.geodesy import LocalFrame
from reelnotes.track.legs import find_legs
from reelnotes.track.outliers import FASTEST_MPS, remove_outliers
from reelnotes.track.smoothing import smooth_piece

POINT_COLUMNS = (
    "time_utc_s",
    "lat",
    "lon",
    "sigma_m",
    "speed_mps",
    "speed_sigma_mps",
    "course_deg",
    "piece",
    "east_mps",
    "north_mps",
    "accel_psd",
)

# Half a minute: a boat at trolling speed makes 50 m in it and keeps its course; on the plane it can turn back within it,
# which the smoother's own uncertainty then tells. A log that is thinner than that on purpose is bridged at its own pace,
# up to two minutes.
BRIDGE_S, LONGEST_BRIDGE_S, BRIDGE_INTERVALS = 30.0, 120.0, 2.5
_LEAST_HDOP, _MOST_HDOP = 0.1, 100.0  # what receivers tell lies well within; a torn log may hold any number
LEAST_FIXES = 3  # fewer say nothing about speed
# Error that neighbouring fixes share (atmosphere, satellite geometry) and that no smoothing can see. Open-sky horizontal
# accuracy of consumer receivers is put at 4.9 m (radius, 95 %), i.e. 2 m an axis (reference UNI-06).
SHARED_SIGMA_M = 2.0
# The same error wanders off and back within a minute or so, which looks like a slow drift: 2 m in 60 s, from either end.
SHARED_SPEED_SIGMA_MPS = 0.05


def bridge_s(t_s: np.ndarray) -> float:
    """The longest time between fixes that the track is carried across, for fix times in order, shape (n,)."""
    usual = float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0
    return float(np.clip(BRIDGE_INTERVALS * usual, BRIDGE_S, LONGEST_BRIDGE_S))


def clean_track(fixes: pd.DataFrame) -> Track:
    """Raw fixes (columns FIX_COLUMNS, any order) -> Track. No usable fix gives an empty Track, never an error.

    ``points`` has, beyond what records.tracks names, the velocity (east_mps, north_mps) and accel_psd, the restlessness
    in m^2/s^3 under which the piece was smoothed; position_at uses them between the fixes.
    """
    kept, dropped = remove_outliers(fixes)
    t = kept["time_utc_s"].to_numpy(float)
    limit = bridge_s(t)
    cuts = np.flatnonzero(np.diff(t) > limit) + 1 if len(t) else np.array([], int)
    frames: list[pd.DataFrame] = []
    for rows in np.split(np.arange(len(t)), cuts):
        if len(rows) < LEAST_FIXES:
            dropped["alone"] = dropped.get("alone", 0) + len(rows)
            continue
        frame, outliers = _smoothed(kept.iloc[rows])
        dropped["outlier"] = dropped.get("outlier", 0) + outliers
        frame["piece"] = len(frames)
        frames.append(frame)
    points = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame({c: np.array([], float) for c in POINT_COLUMNS})
    points = points.astype({"piece": int})[list(POINT_COLUMNS)]
    edges = [(f["time_utc_s"].iloc[0], f["time_utc_s"].iloc[-1]) for f in frames]
    gaps = tuple((float(a[1]), float(b[0])) for a, b in itertools.pairwise(edges))
    return Track(points, find_legs(points), gaps, tuple((reason, n) for reason, n in sorted(dropped.items()) if n))


def _smoothed(fixes: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """One piece of fixes -> (its points, number of outliers removed)."""
    t = fixes["time_utc_s"].to_numpy(float)
    lat, lon = fixes["lat"].to_numpy(float), fixes["lon"].to_numpy(float)
    frame = LocalFrame(float(np.median(lat)), float(lon[len(lon) // 2]))
    places = frame.to_metres(lat, lon)
    speed, course = fixes["speed_mps"].to_numpy(float), fixes["course_deg"].to_numpy(float)
    with np.errstate(invalid="ignore"):
        speed = np.where((speed >= 0) & (speed <= FASTEST_MPS), speed, np.nan)
        course = np.where(np.abs(course) <= 360.0, course, np.nan)
    piece = smooth_piece(t - t[0], places, _relative_sigma(fixes["hdop"].to_numpy(float)), speed, course)
    states = piece.states
    new_lat, new_lon = frame.to_degrees(states.position)
    sigma_v = np.sqrt(states.velocity_var + SHARED_SPEED_SIGMA_MPS**2)
    raw_speed = np.hypot(*states.velocity.T)
    # The length of a noisy vector is too long on average: E|v + e|^2 = |v|^2 + 2 sigma^2. Near zero that is all there is.
    speed = np.sqrt(np.maximum(raw_speed**2 - sigma_v**2, 0.0))
    course = np.degrees(np.arctan2(states.velocity[:, 0], states.velocity[:, 1])) % 360.0
    course[raw_speed < 2 * sigma_v] = np.nan  # slower than its noise: the direction means nothing
    points = pd.DataFrame(
        {
            "time_utc_s": t[piece.kept],
            "lat": new_lat,
            "lon": new_lon,
            "sigma_m": np.sqrt(states.position_var + SHARED_SIGMA_M**2),
            "speed_mps": speed,
            "speed_sigma_mps": sigma_v,
            "course_deg": course,
            "east_mps": states.velocity[:, 0],
            "north_mps": states.velocity[:, 1],
            "accel_psd": piece.accel_psd,
        }
    )
    return points, int((~piece.kept).sum())


def _relative_sigma(hdop: np.ndarray) -> np.ndarray:
    """How uncertain each fix is against the usual one: its dilution of precision over the median; 1 where not told."""
    known = np.isfinite(hdop) & (hdop > 0)
    if not known.any():
        return np.ones(len(hdop))
    told = np.clip(hdop, _LEAST_HDOP, _MOST_HDOP)
    return np.where(known, np.clip(told / np.median(told[known]), 0.5, 5.0), 1.0)

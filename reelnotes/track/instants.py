"""The track between its fixes: place, speed and course at any instant that the fixes bear out.

Under the smoother's own model (white-noise acceleration) the mean between two states is the cubic that meets both in place
and velocity, and what the two states leave open grows as q tau^3 (T - tau)^3 / (3 T^3) in place
and q tau (T - tau) (T^2 - 3 tau (T - tau)) / T^3 in velocity: largest in the middle of the gap.
"""

import numpy as np

from reelnotes.records.tracks import Position, Track
from reelnotes.track.geodesy import metres_per_degree

APART_S, APART_INTERVALS = 3.0, 2.0  # fixes further apart than both are a bridged gap
DEFAULT_PSD = 0.1  # m^2/s^3, for a track whose points do not tell


def position_at(track: Track, t_utc_s: float) -> Position | None:
    """Where the boat was, or None before the first fix, after the last one and in a gap that is not bridged."""
    state = _states(track, np.array([t_utc_s], float))
    if state is None or not np.isfinite(state["lat"][0]):
        return None
    value = {key: float(column[0]) for key, column in state.items()}
    course = value["course"]
    return Position(
        float(t_utc_s),
        value["lat"],
        value["lon"],
        value["sigma"],
        value["speed"],
        value["speed_sigma"],
        course if np.isfinite(course) else None,
        bool(value["apart"]),
    )


def speed_series(track: Track, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Speed over ground and its standard uncertainty in m/s at UTC instants, shape (n,) each; NaN outside and in gaps."""
    times = np.asarray(times, float)
    state = _states(track, times)
    if state is None:
        nothing = np.full(times.shape, np.nan)
        return nothing, nothing.copy()
    return state["speed"], state["speed_sigma"]


def _states(track: Track, times: np.ndarray) -> dict[str, np.ndarray] | None:
    """Place and velocity at ``times``, NaN where the track does not bear them out; None for an empty track."""
    if track.empty:
        return None
    points = track.points
    t = points["time_utc_s"].to_numpy(float)
    after = np.clip(np.searchsorted(t, times, side="right"), 1, max(len(t) - 1, 1)) if len(t) > 1 else np.zeros(len(times), int)
    before = np.maximum(after - 1, 0)
    piece = points["piece"].to_numpy()
    good = np.isfinite(times) & (times >= t[before]) & (times <= t[after]) & (piece[before] == piece[after])
    # The last instant of a piece belongs to it although the next fix does not.
    at_before, at_after = times == t[before], times == t[after]
    good |= at_before | at_after
    across = piece[before] != piece[after]
    before = np.where(across & at_after, after, before)
    after = np.where(across & at_before & ~at_after, before, after)
    state = _between(points, t, times, before, after)
    return {key: np.where(good, column, np.nan) for key, column in state.items()}


def _between(points: "object", t: np.ndarray, times: np.ndarray, i: np.ndarray, j: np.ndarray) -> dict[str, np.ndarray]:
    column = {name: points[name].to_numpy(float) for name in points}  # type: ignore[attr-defined, index]
    east, north = _velocity(column)
    length = np.maximum(t[j] - t[i], 1e-9)
    u = np.clip((times - t[i]) / length, 0.0, 1.0)
    u = np.where(np.isfinite(u), u, 0.0)
    north_m, east_m = metres_per_degree(column["lat"][i])
    turn = (column["lon"][j] - column["lon"][i] + 180.0) % 360.0 - 180.0  # across the date line
    lat, v_north = _cubic(
        u, length, column["lat"][i] * 0, column["lat"][j] - column["lat"][i], north[i] / north_m, north[j] / north_m
    )
    lon, v_east = _cubic(u, length, column["lon"][i] * 0, turn, east[i] / east_m, east[j] / east_m)
    v_north, v_east = v_north * north_m, v_east * east_m
    tau, rest = u * length, (1 - u) * length
    psd = column["accel_psd"][i] if "accel_psd" in column else np.full(len(i), DEFAULT_PSD)
    near_var = (1 - u) * column["sigma_m"][i] ** 2 + u * column["sigma_m"][j] ** 2
    near_v_var = (1 - u) * column["speed_sigma_mps"][i] ** 2 + u * column["speed_sigma_mps"][j] ** 2
    sigma = np.sqrt(near_var + psd * tau**3 * rest**3 / (3 * length**3))
    speed_sigma = np.sqrt(near_v_var + psd * tau * rest * (length**2 - 3 * tau * rest) / length**3)
    raw = np.hypot(v_east, v_north)
    course = np.where(raw < 2 * speed_sigma, np.nan, np.degrees(np.arctan2(v_east, v_north)) % 360.0)
    usual = float(np.median(np.diff(t))) if len(t) > 1 else 0.0
    return {
        "lat": column["lat"][i] + lat,
        "lon": (column["lon"][i] + lon + 180.0) % 360.0 - 180.0,
        "sigma": sigma,
        "speed": np.sqrt(np.maximum(raw**2 - speed_sigma**2, 0.0)),
        "speed_sigma": speed_sigma,
        "course": course,
        "apart": (length > max(APART_S, APART_INTERVALS * usual)).astype(float),
    }


def _velocity(column: dict[str, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    if "east_mps" in column:
        return column["east_mps"], column["north_mps"]
    course = np.radians(column["course_deg"])
    slow = np.isnan(course)
    return (np.where(slow, 0.0, column["speed_mps"] * np.sin(course)), np.where(slow, 0.0, column["speed_mps"] * np.cos(course)))


def _cubic(
    u: np.ndarray, length: np.ndarray, p0: np.ndarray, p1: np.ndarray, v0: np.ndarray, v1: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Hermite's cubic through (p0, v0) at u = 0 and (p1, v1) at u = 1 -> (place, velocity)."""
    place = p0 * (1 + 2 * u) * (1 - u) ** 2 + p1 * u * u * (3 - 2 * u) + length * (v0 * u * (1 - u) ** 2 - v1 * u * u * (1 - u))
    velocity = (p1 - p0) / length * 6 * u * (1 - u) + v0 * (1 - 4 * u + 3 * u * u) + v1 * (3 * u * u - 2 * u)
    return place, velocity

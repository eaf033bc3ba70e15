"""One piece of track smoothed robustly, its noise and its restlessness found from the fixes themselves."""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from reelnotes.track.kalman import Fixes, Smoothed, deviance, smooth

# The grids on which likelihood is climbed: what a drifting hull and a fast boat thrown about do, m^2/s^3;
# what a good receiver under open sky and a phone in a pocket do, m.
PSD_GRID = (0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0)
NOISE_GRID_M = (0.3, 0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 14.0, 20.0, 30.0)
STUDENT_NU = 4.0  # tails of receiver noise: heavier than normal, light enough to keep the mean near the middle
GATE = 5.0  # sigmas beyond which a fix is an outlier
NEVER_OUT_M = 3.0  # nearer than this to the smoothed track nothing is called an outlier, however quiet the rest
ROUNDS = 3  # of reweighting; the weights change by little after two
LEAN_FIXES, LEANING = 5, 4.0  # a mean over five fixes, four times the variance that noise gives it (2 % by chance)
LIVELIER, LIVELIEST = 10.0, 100.0
SAMPLE = 1000  # fixes enough to tell noise and restlessness
FASTER_THAN_NOISE = 3.0  # a course is good enough to lay the receiver's speed along it

# What a receiver's own speed is worth beyond its visible noise: it lags and is filtered. Common practice, no source.
RECEIVER_SPEED_FLOOR_MPS = 0.15


@dataclass(frozen=True, slots=True)
class Piece:
    """A smoothed piece. kept: bool per fix, False for outliers, which have no row in ``states``."""

    states: Smoothed
    kept: np.ndarray
    accel_psd: np.ndarray
    sigma_m: float


def smooth_piece(
    t_s: np.ndarray, places_m: np.ndarray, relative_sigma: np.ndarray, speed_mps: np.ndarray, course_deg: np.ndarray
) -> Piece:
    """Smooth the fixes of one piece: shapes (n,), (n, 2), (n,), (n,), (n,); n >= 2.

    relative_sigma         how uncertain each fix is against the others (from its dilution); the scale is found here
    speed_mps, course_deg  the receiver's own, NaN where not given; a speed without a course is laid along the smoothed one
    """
    sigma_v = _receiver_speed_sigma(speed_mps)
    given = _vectors(speed_mps, course_deg)
    fixes = Fixes(t_s, places_m, relative_sigma**2, given, sigma_v**2)
    if given is None and np.isfinite(speed_mps).any():
        states, *_ = _robust(fixes)
        fast = np.hypot(*states.velocity.T) > FASTER_THAN_NOISE * np.sqrt(states.velocity_var)
        course = np.where(fast, np.degrees(np.arctan2(*states.velocity.T)), np.nan)
        fixes = replace(fixes, velocities=_vectors(speed_mps, course))
    states, weighted, noise_var, psd = _robust(fixes)
    off = np.hypot(*(places_m - states.position).T)
    kept = (off <= GATE * np.sqrt(noise_var) * relative_sigma) | (off < NEVER_OUT_M)
    if kept.sum() < 2:
        kept = np.ones(len(t_s), bool)
    assert weighted.restless is not None
    return Piece(smooth(weighted.part(kept), psd), kept, psd * weighted.restless[kept], float(np.sqrt(noise_var)))


def _robust(fixes: Fixes) -> tuple[Smoothed, Fixes, float, float]:
    """Smoothing with Student-t weights, iterated: (states, fixes as weighted, noise variance, acceleration density).

    The weight (nu + 2) / (nu + d^2) is that of a two-dimensional t distribution (Lange, Little & Taylor 1989).
    """
    shape = fixes.place_var
    restless = np.ones(len(fixes.t_s))
    weighted, noise_m, psd = fixes, NOISE_GRID_M[4], PSD_GRID[4]
    for _ in range(ROUNDS):
        noise_m, psd = _likeliest(weighted, noise_m, psd)
        states = smooth(replace(weighted, place_var=weighted.place_var * noise_m**2), psd)
        d2 = ((fixes.places_m - states.position) ** 2).sum(axis=1) / (noise_m**2 * shape)
        weights = np.clip((STUDENT_NU + 2) / (STUDENT_NU + d2), 1e-6, 1.0)
        restless = _restless(fixes.places_m - states.position, noise_m**2 * shape, restless)
        weighted = replace(fixes, place_var=shape / weights, restless=restless)
    return states, replace(weighted, place_var=weighted.place_var * noise_m**2), noise_m**2, psd


def _restless(left: np.ndarray, variance: np.ndarray, before: np.ndarray) -> np.ndarray:
    """Where the boat is livelier than the model: residuals ``left`` (n, 2) that lean one way for several fixes on end.

    Noise of ``variance`` (n,) averages out over a window; a turn or a burst of the throttle that was smoothed away does not.
    """
    if len(left) < LEAN_FIXES:
        return before
    clipped = np.clip(left / np.sqrt(variance)[:, None], -3.0, 3.0)  # one wild fix is no manoeuvre
    lean = LEAN_FIXES / 2 * (uniform_filter1d(clipped, LEAN_FIXES, axis=0, mode="nearest") ** 2).sum(axis=1)  # 1 for white noise
    leaning = maximum_filter1d(lean, LEAN_FIXES, mode="nearest") > LEANING
    return np.where(leaning, np.minimum(before * LIVELIER, LIVELIEST), before)


def _likeliest(fixes: Fixes, noise_m: float, psd: float) -> tuple[float, float]:
    """(noise of a fix in m, acceleration density in m^2/s^3) of greatest likelihood: climbed on the grids from a first guess."""
    if len(fixes.t_s) > SAMPLE:  # a few stretches over the day, since it holds still and fast hours; not thinned: spacing matters
        stretch = SAMPLE // 4
        starts = np.linspace(0, len(fixes.t_s) - stretch, 4).astype(int)
        samples = [fixes.part(slice(start, start + stretch)) for start in starts]
    else:
        samples = [fixes]

    @cache
    def cost(n: int, q: int) -> float:
        scale = NOISE_GRID_M[n] ** 2
        return sum(deviance(replace(sample, place_var=sample.place_var * scale), PSD_GRID[q]) for sample in samples)

    at = (NOISE_GRID_M.index(noise_m), PSD_GRID.index(psd))
    while True:
        around = [
            (at[0] + i, at[1] + j)
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            if 0 <= at[0] + i < len(NOISE_GRID_M) and 0 <= at[1] + j < len(PSD_GRID)
        ]
        best = min(around, key=lambda place: cost(*place))
        if not cost(*best) < cost(*at):
            return NOISE_GRID_M[at[0]], PSD_GRID[at[1]]
        at = best


def _receiver_speed_sigma(speed_mps: np.ndarray) -> float:
    """Standard uncertainty of the receiver's speeds: their white noise, by their second differences, and a floor for lag."""
    second = np.diff(speed_mps[np.isfinite(speed_mps)], 2)
    white = 1.4826 * float(np.median(np.abs(second))) / np.sqrt(6.0) if len(second) else 0.0
    return float(np.hypot(white, RECEIVER_SPEED_FLOOR_MPS))


def _vectors(speed_mps: np.ndarray, course_deg: np.ndarray) -> np.ndarray | None:
    """Velocity east and north, shape (n, 2), NaN where speed or course is missing; None without any."""
    course = np.radians(course_deg)
    velocity = np.stack([speed_mps * np.sin(course), speed_mps * np.cos(course)], axis=1)
    return velocity if np.isfinite(velocity).any() else None

"""One piece of track smoothed robustly, its noise and its restlessness found from the fixes themselves."""

from dataclasses import dataclass

import numpy as np

from reelnotes.track.kalman import Smoothed, smooth

PSD_GRID = (0.003, 0.01, 0.03, 0.1, 0.3, 1.0)  # m^2/s^3: a drifting hull .. a fast boat thrown about
LEAST_SIGMA_M, MOST_SIGMA_M = 0.3, 30.0
STUDENT_NU = 4.0  # tails of receiver noise: heavier than normal, light enough to keep the mean near the middle
GATE = 5.0  # sigmas beyond which a fix is an outlier
SAMPLE = 1500  # fixes enough to tell noise and restlessness


@dataclass(frozen=True, slots=True)
class Piece:
    """A smoothed piece. kept: bool per fix, False for outliers (their states are removed from ``states``)."""

    states: Smoothed
    kept: np.ndarray
    accel_psd: float
    sigma_m: float


def smooth_piece(
    t_s: np.ndarray, places_m: np.ndarray, relative_sigma: np.ndarray, velocities: np.ndarray | None, velocity_sigma: float
) -> Piece:
    """Smooth fixes of one piece: shape (n,), (n, 2), (n,); velocities (n, 2) with NaN where not given, or None.

    relative_sigma  how uncertain each fix is against the others (from its dilution); the scale is found here
    """
    shape2 = relative_sigma**2
    kept = np.ones(len(t_s), bool)
    weights = np.ones(len(t_s))
    noise_var, psd = 4.0, 0.1
    v_var = None if velocities is None else np.full(len(t_s), velocity_sigma**2)
    for _ in range(3):
        noise_var, psd = _fit_noise(t_s, places_m, shape2 / weights, velocities, v_var)
        states = smooth(t_s, places_m, noise_var * shape2 / weights, psd, velocities, v_var)
        d2 = ((places_m - states.position) ** 2).sum(axis=1) / (noise_var * shape2)
        weights = np.clip((STUDENT_NU + 2) / (STUDENT_NU + d2), 1e-6, 1.0)
    kept = (d2 <= GATE**2) | (np.sqrt(((places_m - states.position) ** 2).sum(axis=1)) < 3.0)
    if kept.sum() < 2:
        kept = np.ones(len(t_s), bool)
    inside = np.flatnonzero(kept)
    final = smooth(
        t_s[inside],
        places_m[inside],
        noise_var * (shape2 / weights)[inside],
        psd,
        None if velocities is None else velocities[inside],
        None if v_var is None else v_var[inside],
    )
    return Piece(final, kept, psd, float(np.sqrt(noise_var)))


def _fit_noise(
    t_s: np.ndarray, places_m: np.ndarray, shape2: np.ndarray, velocities: np.ndarray | None, v_var: np.ndarray | None
) -> tuple[float, float]:
    """(noise variance of a fix m^2, acceleration density m^2/s^3) of greatest likelihood, on a grid, from a sample."""
    if len(t_s) > SAMPLE:  # the stretch in the middle and no thinning: the spacing of fixes matters
        start = (len(t_s) - SAMPLE) // 2
        cut = slice(start, start + SAMPLE)
        t_s, places_m, shape2 = t_s[cut], places_m[cut], shape2[cut]
        velocities, v_var = (None if velocities is None else velocities[cut]), (None if v_var is None else v_var[cut])
    noise = 1.0
    best_psd = 0.1
    for _ in range(2):
        best_psd = min(PSD_GRID, key=lambda q: smooth(t_s, places_m, noise**2 * shape2, q, velocities, v_var).deviance)
        noise = min(
            (0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 14.0, 20.0),
            key=lambda s: smooth(t_s, places_m, s**2 * shape2, best_psd, velocities, v_var).deviance,
        )
    return float(np.clip(noise, LEAST_SIGMA_M, MOST_SIGMA_M)) ** 2, best_psd

"""The smoother: constant velocity with white-noise acceleration, forward filter and Rauch-Tung-Striebel pass.

State of each axis: position and velocity. Both axes share one covariance, since fixes and boat are taken to be as uncertain
east as north. Rauch, Tung & Striebel 1965; the discretised model is in Bar-Shalom, Li & Kirubarajan 2001, section 6.2.2.
"""

from dataclasses import dataclass

import numpy as np

FIRST_SPEED_VARIANCE = 15.0**2  # (m/s)^2: before the first fix the boat may do anything a boat does


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed states at the fixes. position, velocity: shape (n, 2), east and north; variances per axis, shape (n,).

    deviance  -2 log likelihood of the fixes under the model (both axes), less its constant
    """

    position: np.ndarray
    velocity: np.ndarray
    position_var: np.ndarray
    velocity_var: np.ndarray
    deviance: float


def smooth(
    t_s: np.ndarray,
    places_m: np.ndarray,
    place_var: np.ndarray,
    accel_psd: float,
    velocities: np.ndarray | None = None,
    velocity_var: np.ndarray | None = None,
) -> Smoothed:
    """Smooth one piece. t_s strictly increasing, shape (n,), n >= 2; places_m shape (n, 2); place_var m^2, shape (n,).

    accel_psd   spectral density of the acceleration, m^2/s^3
    velocities  receiver's own velocities, shape (n, 2), NaN where not given, with variance velocity_var (n,)
    """
    n = len(t_s)
    dt = np.diff(t_s, prepend=t_s[0])
    has_velocity = np.zeros(n, bool) if velocities is None else np.isfinite(velocities).all(axis=1)
    mean = np.zeros((n, 4))  # pe, ve, pn, vn after the update
    ahead = np.zeros((n, 4))  # the same before it
    cov, cov_ahead = np.zeros((n, 3)), np.zeros((n, 3))  # p00, p01, p11
    deviance = 0.0
    pe, pn = places_m[0]
    ve = vn = 0.0
    a, b, c = float(place_var[0]) * 100, 0.0, FIRST_SPEED_VARIANCE
    for i in range(n):
        h = float(dt[i])
        if i:
            pe, pn = pe + h * ve, pn + h * vn
            a, b, c = a + 2 * h * b + h * h * c + accel_psd * h**3 / 3, b + h * c + accel_psd * h * h / 2, c + accel_psd * h
        ahead[i], cov_ahead[i] = (pe, ve, pn, vn), (a, b, c)
        s = a + float(place_var[i])
        de, dn = float(places_m[i, 0]) - pe, float(places_m[i, 1]) - pn
        if i:
            deviance += (de * de + dn * dn) / s + 2 * np.log(s)
        k0, k1 = a / s, b / s
        pe, ve, pn, vn = pe + k0 * de, ve + k1 * de, pn + k0 * dn, vn + k1 * dn
        a, b, c = a * (1 - k0), b * (1 - k0), c - k1 * b
        if has_velocity[i]:
            assert velocities is not None and velocity_var is not None
            s = c + float(velocity_var[i])
            de, dn = float(velocities[i, 0]) - ve, float(velocities[i, 1]) - vn
            k0, k1 = b / s, c / s
            pe, ve, pn, vn = pe + k0 * de, ve + k1 * de, pn + k0 * dn, vn + k1 * dn
            a, b, c = a - k0 * b, b * (1 - k1), c * (1 - k1)
        mean[i], cov[i] = (pe, ve, pn, vn), (a, b, c)
    return _backward(dt, mean, ahead, cov, cov_ahead, deviance)


def _backward(
    dt: np.ndarray, mean: np.ndarray, ahead: np.ndarray, cov: np.ndarray, cov_ahead: np.ndarray, deviance: float
) -> Smoothed:
    """The Rauch-Tung-Striebel pass over a filter's results."""
    out, var = mean.copy(), cov.copy()
    for i in range(len(dt) - 2, -1, -1):
        h = float(dt[i + 1])
        a, b, c = cov[i]
        pa, pb, pc = cov_ahead[i + 1]
        det = pa * pc - pb * pb
        # Gain G = P F' (P ahead)^-1, with F = [[1, h], [0, 1]].
        x0, x1, y0, y1 = a + h * b, b, b + h * c, c
        g00, g01 = (x0 * pc - x1 * pb) / det, (x1 * pa - x0 * pb) / det
        g10, g11 = (y0 * pc - y1 * pb) / det, (y1 * pa - y0 * pb) / det
        d = out[i + 1] - ahead[i + 1]
        out[i, 0] += g00 * d[0] + g01 * d[1]
        out[i, 1] += g10 * d[0] + g11 * d[1]
        out[i, 2] += g00 * d[2] + g01 * d[3]
        out[i, 3] += g10 * d[2] + g11 * d[3]
        e0, e1, e2 = var[i + 1] - cov_ahead[i + 1]
        var[i, 0] = a + g00 * (g00 * e0 + g01 * e1) + g01 * (g00 * e1 + g01 * e2)
        var[i, 1] = b + g10 * (g00 * e0 + g01 * e1) + g11 * (g00 * e1 + g01 * e2)
        var[i, 2] = c + g10 * (g10 * e0 + g11 * e1) + g11 * (g10 * e1 + g11 * e2)
    return Smoothed(out[:, [0, 2]], out[:, [1, 3]], np.maximum(var[:, 0], 0), np.maximum(var[:, 2], 0), deviance)

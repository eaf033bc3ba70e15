"""The smoother: constant velocity with white-noise acceleration, forward filter and Rauch-Tung-Striebel pass.

State of each axis: position and velocity. Both axes share one covariance, since fixes and boat are taken to be as uncertain
east as north. Rauch, Tung & Striebel 1965; the discretised model is in Bar-Shalom, Li & Kirubarajan 2001, section 6.2.2.
"""

from dataclasses import dataclass
from math import log

import numpy as np

FIRST_SPEED_VARIANCE = 15.0**2  # (m/s)^2: before the first fix the boat may do anything a boat does


@dataclass(frozen=True, slots=True)
class Smoothed:
    """Smoothed states at the fixes. position, velocity: shape (n, 2), east and north; variances per axis, shape (n,)."""

    position: np.ndarray
    velocity: np.ndarray
    position_var: np.ndarray
    velocity_var: np.ndarray


@dataclass(frozen=True, slots=True)
class Fixes:
    """What is measured along one piece, n >= 2 fixes.

    t_s         strictly increasing, shape (n,)
    places_m    east, north, shape (n, 2); place_var their variance per axis, m^2, shape (n,)
    velocities  the receiver's own velocity, shape (n, 2), NaN where not given; None without any. velocity_var, (m/s)^2
    restless    how much livelier than usual the boat is on the way to each fix, shape (n,), >= 1; None: as usual all along
    """

    t_s: np.ndarray
    places_m: np.ndarray
    place_var: np.ndarray
    velocities: np.ndarray | None = None
    velocity_var: float = 1.0
    restless: np.ndarray | None = None

    def part(self, rows: "slice | np.ndarray") -> "Fixes":
        """Some of the fixes."""
        velocities = None if self.velocities is None else self.velocities[rows]
        restless = None if self.restless is None else self.restless[rows]
        return Fixes(self.t_s[rows], self.places_m[rows], self.place_var[rows], velocities, self.velocity_var, restless)


# One fix's worth of filter: (state ahead, covariance ahead, state, covariance), as plain floats, which are several times
# faster than arrays of one number.
_Step = tuple[tuple[float, ...], tuple[float, ...], tuple[float, ...], tuple[float, ...]]


def deviance(fixes: Fixes, accel_psd: float) -> float:
    """-2 log likelihood of the fixes under the model, both axes, less its constant."""
    return _forward(fixes, accel_psd)[1]


def smooth(fixes: Fixes, accel_psd: float) -> Smoothed:
    """Smooth one piece. accel_psd: spectral density of the boat's acceleration, m^2/s^3."""
    steps, _ = _forward(fixes, accel_psd)
    h = np.diff(fixes.t_s).tolist()
    out, var = [steps[-1][2]], [steps[-1][3]]
    for i in range(len(steps) - 2, -1, -1):
        _, _, mean, (a, b, c) = steps[i]
        ahead, (pa, pb, pc), _, _ = steps[i + 1]
        det = pa * pc - pb * pb
        # Gain G = P F' (P ahead)^-1, with F = [[1, h], [0, 1]].
        x0, y0 = a + h[i] * b, b + h[i] * c
        g00, g01 = (x0 * pc - b * pb) / det, (b * pa - x0 * pb) / det
        g10, g11 = (y0 * pc - c * pb) / det, (c * pa - y0 * pb) / det
        d0, d1, d2, d3 = (later - predicted for later, predicted in zip(out[-1], ahead, strict=True))
        out.append(
            (
                mean[0] + g00 * d0 + g01 * d1,
                mean[1] + g10 * d0 + g11 * d1,
                mean[2] + g00 * d2 + g01 * d3,
                mean[3] + g10 * d2 + g11 * d3,
            )
        )
        e0, e1, e2 = var[-1][0] - pa, var[-1][1] - pb, var[-1][2] - pc
        m00, m01, m10, m11 = g00 * e0 + g01 * e1, g00 * e1 + g01 * e2, g10 * e0 + g11 * e1, g10 * e1 + g11 * e2
        var.append((a + m00 * g00 + m01 * g01, b + m10 * g00 + m11 * g01, c + m10 * g10 + m11 * g11))
    state, spread = np.array(out[::-1]), np.array(var[::-1])
    return Smoothed(state[:, [0, 2]], state[:, [1, 3]], np.maximum(spread[:, 0], 0.0), np.maximum(spread[:, 2], 0.0))


def _forward(fixes: Fixes, accel_psd: float) -> tuple[list[_Step], float]:
    """The Kalman filter: one _Step a fix, and the deviance."""
    t, east, north, r = fixes.t_s.tolist(), fixes.places_m[:, 0].tolist(), fixes.places_m[:, 1].tolist(), fixes.place_var.tolist()
    velocities = None if fixes.velocities is None else fixes.velocities.tolist()
    restless = [1.0] * len(t) if fixes.restless is None else fixes.restless.tolist()
    rv, total = fixes.velocity_var, 0.0
    pe, ve, pn, vn = east[0], 0.0, north[0], 0.0
    a, b, c = r[0] * 100.0, 0.0, FIRST_SPEED_VARIANCE
    steps: list[_Step] = []
    for i in range(len(t)):
        if i:
            h, q = t[i] - t[i - 1], accel_psd * restless[i]
            pe, pn = pe + h * ve, pn + h * vn
            a, b, c = a + 2 * h * b + h * h * c + q * h**3 / 3, b + h * c + q * h * h / 2, c + q * h
        ahead, cov_ahead = (pe, ve, pn, vn), (a, b, c)
        s = a + r[i]
        de, dn = east[i] - pe, north[i] - pn
        if i:
            total += (de * de + dn * dn) / s + 2 * log(s)
        k0, k1 = a / s, b / s
        pe, ve, pn, vn = pe + k0 * de, ve + k1 * de, pn + k0 * dn, vn + k1 * dn
        a, b, c = a * (1 - k0), b * (1 - k0), c - k1 * b
        if velocities is not None and velocities[i][0] == velocities[i][0] and velocities[i][1] == velocities[i][1]:
            s = c + rv
            de, dn = velocities[i][0] - ve, velocities[i][1] - vn
            total += (de * de + dn * dn) / s + 2 * log(s)
            k0, k1 = b / s, c / s
            pe, ve, pn, vn = pe + k0 * de, ve + k1 * de, pn + k0 * dn, vn + k1 * dn
            a, b, c = a - k0 * b, b * (1 - k1), c * (1 - k1)
        steps.append((ahead, cov_ahead, (pe, ve, pn, vn), (a, b, c)))
    return steps, total

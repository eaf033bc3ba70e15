"""How a lens's pixels move with the point and with the lens itself: the derivatives of ``LensModel.project``.

The chain rule through the two radial laws of ``lens_model``; least squares over poses and lenses runs on these, thousands of
times to a clip. So points lie along the last axis: each quantity of all points is one run of memory.
"""

from dataclasses import dataclass

import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel


@dataclass(frozen=True, eq=False)
class Slopes:
    """Derivatives of n projected points.

    px            (2, n) where they are seen (NaN beyond the lens's reach)
    to_point      (3, 2, n) by the camera point's x, y, z, pixels per millimetre
    to_log_focal  (2, n) by the logarithm of the common focal length
    to_radial     (k, 2, n) by the radial coefficients: k1 k2 k3 of a pinhole, k1 k2 k3 k4 of a fisheye
    """

    px: Floats
    to_point: Floats
    to_log_focal: Floats
    to_radial: Floats


def slopes(lens: LensModel, points_cam: Floats, radial: int = 4) -> Slopes:
    """Project (3, n) camera points (millimetres, in front of the camera) and say how each pixel moves.

    radial  so many of the leading radial coefficients are wanted, at most
    """
    p = np.asarray(points_cam, np.float64)
    flat, to_point, to_radial = _fisheye(lens, p, radial) if lens.model == "fisheye" else _pinhole(lens, p, min(radial, 3))
    f = np.array([[lens.fx], [lens.fy]])
    to_log_focal = f * flat
    px: Floats = to_log_focal + np.array([[lens.cx - lens.shift_px[0]], [lens.cy - lens.shift_px[1]]])
    to_point *= f
    to_radial *= f
    return Slopes(px, to_point, to_log_focal, to_radial)


def _pinhole(lens: LensModel, p: Floats, radial_terms: int) -> tuple[Floats, Floats, Floats]:
    k1, k2, p1, p2, k3 = lens.dist
    z = np.where(np.abs(p[2]) < 1e-9, 1e-9, p[2])
    ab = p[:2] / z
    a, b = ab
    aa, bb, cross = a * a, b * b, a * b
    q = aa + bb
    radial = 1 + q * (k1 + q * (k2 + q * k3))
    flat = ab * radial
    growth = 2 * (k1 + q * (2 * k2 + q * 3 * k3))
    to_point = np.empty((3, 2, len(q)))
    by_a, by_b, by_z = to_point
    by_a[0], by_b[1] = aa * growth, bb * growth
    by_a[1] = cross * growth
    by_a[0] += radial
    by_b[1] += radial
    if p1 or p2:
        flat[0] += 2 * p1 * cross + p2 * (q + 2 * aa)
        flat[1] += p1 * (q + 2 * bb) + 2 * p2 * cross
        by_a[0] += 2 * p1 * b + 6 * p2 * a
        by_b[1] += 6 * p1 * b + 2 * p2 * a
        by_a[1] += 2 * p1 * a + 2 * p2 * b
    by_b[0] = by_a[1]
    by_z[:] = -(by_a * a + by_b * b)
    to_point /= z
    to_radial = _times_powers(ab, q, radial_terms)
    # Beyond the reach, and behind the camera: the angle off the axis is too large (a pinhole's reach is below 90 degrees).
    flat[:, (q > np.tan(lens.reach_rad) ** 2) | (p[2] <= 0.0)] = np.nan
    return flat, to_point, to_radial


def _fisheye(lens: LensModel, p: Floats, radial_terms: int) -> tuple[Floats, Floats, Floats]:
    k1, k2, k3, k4 = lens.dist
    xy, z = p[:2], p[2]
    rho2 = np.maximum(xy[0] * xy[0] + xy[1] * xy[1], 1e-18)
    rho = np.sqrt(rho2)
    theta = np.arctan2(rho, z)
    q = theta * theta
    r = theta * (1 + q * (k1 + q * (k2 + q * (k3 + q * k4))))
    by_theta = 1 + q * (3 * k1 + q * (5 * k2 + q * (7 * k3 + q * 9 * k4)))
    out = xy / rho  # away from the axis
    by_far = by_theta / (rho2 + z * z)
    # Away from the axis r grows with theta; around the axis the point keeps its direction.
    along, around = by_far * z, r / rho
    to_point = np.empty((3, 2, len(z)))
    stretched = out * (along - around)
    np.multiply(stretched, out[0], out=to_point[0])
    np.multiply(stretched, out[1], out=to_point[1])
    to_point[0, 0] += around
    to_point[1, 1] += around
    np.multiply(out, -by_far * rho, out=to_point[2])
    to_radial = _times_powers(out * theta, q, radial_terms)
    flat = out * r
    flat[:, theta > lens.reach_rad] = np.nan
    return flat, to_point, to_radial


def _times_powers(of: Floats, q: Floats, count: int) -> Floats:
    """(count, 2, n) ``of`` (2, n) times q, q^2, ..."""
    made = np.empty((count, *of.shape))
    for n in range(count):
        np.multiply(made[n - 1] if n else of, q, out=made[n])
    return made

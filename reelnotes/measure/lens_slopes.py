"""How a lens's pixels move with the point and with the lens itself: the derivatives of ``LensModel.project``.

The chain rule through the two radial laws of ``lens_model``; least squares over poses and lenses runs on these.
"""

from dataclasses import dataclass

import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel


@dataclass(frozen=True, eq=False)
class Slopes:
    """Derivatives of n projected points.

    px            (n, 2) where they are seen (NaN beyond the lens's reach)
    to_point      (n, 2, 3) by the camera point, pixels per millimetre
    to_log_focal  (n, 2) by the logarithm of the common focal length
    to_radial     (n, 2, k) by the radial coefficients: k1 k2 k3 of a pinhole, k1 k2 k3 k4 of a fisheye
    """

    px: Floats
    to_point: Floats
    to_log_focal: Floats
    to_radial: Floats


def slopes(lens: LensModel, points_cam: Floats) -> Slopes:
    """Project (n, 3) camera points (millimetres, in front of the camera) and say how each pixel moves."""
    flat, to_point, to_radial = (_fisheye if lens.model == "fisheye" else _pinhole)(lens, np.asarray(points_cam, np.float64))
    f = np.array([lens.fx, lens.fy])
    sx, sy = lens.shift_px
    px: Floats = f * flat + np.array([lens.cx - sx, lens.cy - sy])
    theta = np.arctan2(np.hypot(points_cam[:, 0], points_cam[:, 1]), points_cam[:, 2])
    px[theta > lens.reach_rad] = np.nan
    return Slopes(px, to_point * f[:, None], f * flat, to_radial * f[:, None])


def _pinhole(lens: LensModel, p: Floats) -> tuple[Floats, Floats, Floats]:
    k1, k2, p1, p2, k3 = lens.dist
    z = np.where(np.abs(p[:, 2]) < 1e-9, 1e-9, p[:, 2])
    a, b = p[:, 0] / z, p[:, 1] / z
    q = a * a + b * b
    radial, growth = 1 + q * (k1 + q * (k2 + q * k3)), 2 * (k1 + q * (2 * k2 + q * 3 * k3))
    flat = np.stack([a * radial + 2 * p1 * a * b + p2 * (q + 2 * a * a), b * radial + p1 * (q + 2 * b * b) + 2 * p2 * a * b], -1)
    mixed = a * b * growth + 2 * p1 * a + 2 * p2 * b
    by_a = np.stack([radial + a * a * growth + 2 * p1 * b + 6 * p2 * a, mixed], axis=-1)
    by_b = np.stack([mixed, radial + b * b * growth + 6 * p1 * b + 2 * p2 * a], axis=-1)
    to_point = np.stack([by_a, by_b, -(by_a * a[:, None] + by_b * b[:, None])], axis=-1) / z[:, None, None]
    ab = np.stack([a, b], axis=-1)
    return flat, to_point, np.stack([ab * (q**n)[:, None] for n in (1, 2, 3)], axis=-1)


def _fisheye(lens: LensModel, p: Floats) -> tuple[Floats, Floats, Floats]:
    k1, k2, k3, k4 = lens.dist
    xy, z = p[:, :2], p[:, 2]
    rho = np.maximum(np.hypot(xy[:, 0], xy[:, 1]), 1e-9)
    theta = np.arctan2(rho, z)
    q = theta * theta
    r = theta * (1 + q * (k1 + q * (k2 + q * (k3 + q * k4))))
    by_theta = 1 + q * (3 * k1 + q * (5 * k2 + q * (7 * k3 + q * 9 * k4)))
    out = xy / rho[:, None]  # away from the axis
    far = rho * rho + z * z
    # Away from the axis r grows with theta; around the axis the point keeps its direction.
    along, around = by_theta * z / far, r / rho
    to_xy = (along - around)[:, None, None] * out[:, :, None] * out[:, None, :] + around[:, None, None] * np.eye(2)
    to_z = out * (-by_theta * rho / far)[:, None]
    powers = np.stack([theta * q**n for n in (1, 2, 3, 4)], axis=-1)
    return out * r[:, None], np.concatenate([to_xy, to_z[:, :, None]], axis=2), out[:, :, None] * powers[:, None, :]

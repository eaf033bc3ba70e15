"""A lens as arithmetic: camera points to pixels and back, in OpenCV's terms.

Both models are radial laws r = f(theta) with theta the angle off the axis:

    pinhole   r = tan(theta), then 1 + k1 r^2 + k2 r^4 + k3 r^6 and the tangential p1, p2
              (Brown 1966; coefficients in OpenCV's order k1 k2 p1 p2 k3)
    fisheye   r = theta (1 + k1 theta^2 + k2 theta^4 + k3 theta^6 + k4 theta^8)
              (Kannala and Brandt 2006, as in cv2.fisheye)

A polynomial folds back beyond some angle; there the model says nothing, and the pixel is NaN.
Camera axes: x right, y down, z forward. Pixel (0, 0) is the centre of the top-left pixel.
"""

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from reelnotes.records.boards import Lens

Floats = NDArray[np.float64]

_PINHOLE_MAX_ANGLE = np.radians(80.0)
_FISHEYE_MAX_ANGLE = np.radians(110.0)


@dataclass(frozen=True)
class LensModel:
    """A lens for pictures of one size.

    model          "pinhole" (dist: k1 k2 p1 p2 k3) or "fisheye" (dist: k1 k2 k3 k4)
    fx, fy, cx, cy focal lengths and principal point, pixels
    shift_px       the crop of a stabiliser in this frame: lens pixel (u, v) is seen at (u - sx, v - sy)
    focal_sigma    relative standard uncertainty of the focal length
    """

    model: str
    width_px: int
    height_px: int
    fx: float
    fy: float
    cx: float
    cy: float
    dist: tuple[float, ...]
    shift_px: tuple[float, float] = (0.0, 0.0)
    focal_sigma: float = 0.003

    @classmethod
    def from_record(cls, lens: "Lens", width_px: int, height_px: int) -> "LensModel | None":
        """The calibration of ``lens``, scaled to pictures of another size of the same shape.

        None when the shape differs: a crop of unknown place cannot be guessed.
        """
        if not lens.fits(width_px, height_px):
            return None
        (fx, _, cx), (_, fy, cy), _ = lens.camera_matrix
        count = 4 if lens.model == "fisheye" else 5
        dist = (*lens.distortion, *([0.0] * count))[:count]
        size_px = (lens.width_px, lens.height_px)
        calibrated = cls(lens.model, *size_px, fx, fy, cx, cy, dist, focal_sigma=_given_focal_sigma(lens))
        return calibrated.of_part((0, 0), size_px, (width_px, height_px))

    @property
    def K(self) -> Floats:  # noqa: N802 - every book calls it K
        """The 3 x 3 camera matrix, the frame's shift included."""
        sx, sy = self.shift_px
        return np.array([[self.fx, 0.0, self.cx - sx], [0.0, self.fy, self.cy - sy], [0.0, 0.0, 1.0]])

    @cached_property
    def reach_rad(self) -> float:
        """The angle off the axis (rad) up to which the radial law grows."""
        return _reach(self.model, self.dist)

    def _radius(self, theta: Floats) -> Floats:
        return _radial_law(self.model, self.dist, theta)

    def project(self, points_cam: Floats) -> Floats:
        """(n, 3) camera points -> (n, 2) pixels; NaN behind the camera and beyond the model's reach."""
        p = np.asarray(points_cam, np.float64)
        x, y, z = p[..., 0], p[..., 1], p[..., 2]
        rho = np.hypot(x, y)
        theta = np.arctan2(rho, z)
        bad = theta > self.reach_rad
        if self.model == "fisheye":
            gain = self._radius(theta) / np.maximum(rho, 1e-12)
            a, b = x * gain, y * gain
        else:
            depth = np.where(bad, 1.0, z)
            a, b = self._bent(x / depth, y / depth)
        sx, sy = self.shift_px
        out = np.stack([self.fx * a + self.cx - sx, self.fy * b + self.cy - sy], axis=-1)
        if bad.any():
            out[bad] = np.nan
        return out

    def _bent(self, a: Floats, b: Floats) -> tuple[Floats, Floats]:
        k1, k2, p1, p2, k3 = self.dist
        q = a * a + b * b
        radial = 1 + q * (k1 + q * (k2 + q * k3))
        return (a * radial + 2 * p1 * a * b + p2 * (q + 2 * a * a), b * radial + p1 * (q + 2 * b * b) + 2 * p2 * a * b)

    def unproject(self, px: Floats) -> Floats:
        """(n, 2) pixels -> (n, 3) unit rays in camera axes; NaN beyond the model's reach."""
        sx, sy = self.shift_px
        px = np.asarray(px, np.float64)
        a0, b0 = (px[..., 0] + sx - self.cx) / self.fx, (px[..., 1] + sy - self.cy) / self.fy
        a, b = a0, b0
        tangential = self.model == "pinhole" and any(self.dist[2:4])
        for _ in range(4 if tangential else 1):
            theta = self._angle(np.hypot(a, b))
            if tangential:  # the tangential part is small: its value at the last guess is taken off
                ta, tb = self._straight(a, b, theta)
                da, db = self._bent(ta, tb)
                gain = self._radius(theta) / np.maximum(np.hypot(ta, tb), 1e-12)
                a, b = a0 - (da - ta * gain), b0 - (db - tb * gain)
        theta = self._angle(np.hypot(a, b))
        r = np.maximum(np.hypot(a, b), 1e-12)
        return np.stack([a / r * np.sin(theta), b / r * np.sin(theta), np.cos(theta)], axis=-1)

    @staticmethod
    def _straight(a: Floats, b: Floats, theta: Floats) -> tuple[Floats, Floats]:
        r = np.maximum(np.hypot(a, b), 1e-12)
        return a / r * np.tan(theta), b / r * np.tan(theta)

    @cached_property
    def _table(self) -> tuple[Floats, Floats]:
        theta = np.linspace(0.0, self.reach_rad, 600)
        return self._radius(theta), theta

    def _angle(self, r: Floats) -> Floats:
        """Invert the radial law: a table for the start, then Newton steps."""
        radii, thetas = self._table
        theta = np.interp(r, radii, thetas, right=np.nan)
        for _ in range(3):
            step = 1e-6
            slope = (self._radius(theta + step) - self._radius(theta - step)) / (2 * step)
            theta = theta - (self._radius(theta) - r) / np.where(np.abs(slope) < 1e-6, 1.0, slope)
        return theta

    def of_part(self, corner_px: tuple[int, int], size_px: tuple[int, int], drawn_px: tuple[int, int]) -> "LensModel":
        """The same lens for a part of its pictures drawn at another size.

        corner_px  (left, top) of the part; size_px, drawn_px  (width, height) of it and of its drawing
        """
        gx, gy = drawn_px[0] / size_px[0], drawn_px[1] / size_px[1]
        # The corner of the top-left pixel, (-0.5, -0.5), is what stays in place when a picture is scaled.
        return replace(self, width_px=drawn_px[0], height_px=drawn_px[1], fx=self.fx * gx, fy=self.fy * gy,
                       cx=(self.cx - corner_px[0] + 0.5) * gx - 0.5, cy=(self.cy - corner_px[1] + 0.5) * gy - 0.5)  # fmt: skip

    def shifted(self, shift_px: tuple[float, float]) -> "LensModel":
        """The same lens in a frame with another crop."""
        return replace(self, shift_px=shift_px)


def _radial_law(model: str, dist: tuple[float, ...], theta: Floats) -> Floats:
    """r over the angle off the axis (rad), for a focal length of 1 and without tangential terms."""
    if model == "fisheye":
        k1, k2, k3, k4 = dist
        q = theta * theta
        return theta * (1 + q * (k1 + q * (k2 + q * (k3 + q * k4))))
    k1, k2, _, _, k3 = dist
    r = np.tan(theta)
    q = r * r
    return r * (1 + q * (k1 + q * (k2 + q * k3)))


@lru_cache(maxsize=256)
def _reach(model: str, dist: tuple[float, ...]) -> float:
    """See LensModel.reach_rad; the same for every focal length and every crop, of which a fit tries many."""
    theta = np.linspace(0.0, _PINHOLE_MAX_ANGLE if model == "pinhole" else _FISHEYE_MAX_ANGLE, 400)
    falling = np.flatnonzero(np.diff(_radial_law(model, dist, theta)) <= 0)
    return float(theta[falling[0]] if len(falling) else theta[-1])


def _given_focal_sigma(lens: "Lens") -> float:
    """How well a calibration's focal length is known: a good one is repeatable to some tenths of a percent
    (common practice, no source); a worse reprojection error means a worse one. What the calibration itself says of its
    views comes on top: small residuals alone do not tell that they fixed the focal length."""
    usual = 0.003 if lens.rms_px is None else float(np.clip(0.002 + 0.002 * lens.rms_px, 0.002, 0.01))
    return float(np.hypot(usual, lens.focal_sigma or 0.0))

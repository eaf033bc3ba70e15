"""Lenses, poses and handheld motion. World: x along the board, y across, z up (mm). Camera: x right, y down, z forward."""

from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
OVER = 2  # samples a pixel, each way: sample pixel = OVER * pixel + (OVER - 1) / 2
DOWN = np.diag([1.0, -1.0, -1.0])


@dataclass(frozen=True)
class Lens:
    """OpenCV's "fisheye" (k1..k4) or "pinhole" (k1 k2 p1 p2 k3) at one picture size."""

    name: str
    model: str
    width: int
    height: int
    K: Array
    dist: Array
    _rays: dict[str, NDArray[np.float32]] = field(default_factory=dict, repr=False, compare=False)

    def project(self, points: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Pixels (n, 2) of points (n, 3) in the camera's frame, and which of them the lens's law holds for."""
        if not len(points):
            return np.zeros((0, 2)), np.zeros(0, bool)
        flat = np.hypot(points[:, 0], points[:, 1])
        good = np.arctan2(flat, points[:, 2]) < self.widest_rad + 0.06
        safe = np.where(good[:, None], points, [0.0, 0.0, 1.0]).reshape(-1, 1, 3)
        zero = np.zeros(3)
        if self.model == "fisheye":
            px, _ = cv2.fisheye.projectPoints(safe, zero, zero, self.K, self.dist)
        else:
            px, _ = cv2.projectPoints(safe, zero, zero, self.K, self.dist)
        return px.reshape(-1, 2), good

    def unproject(self, px: Array) -> Array:
        """(n, 2) of x/z, y/z for pixels (n, 2)."""
        points = np.ascontiguousarray(px, np.float64).reshape(-1, 1, 2)
        end = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 100, 1e-9)
        if self.model == "fisheye":
            out = cv2.fisheye.undistortPoints(points, self.K, self.dist, criteria=end)
        else:
            out = cv2.undistortPoints(points, self.K, self.dist, criteria=end)
        return out.reshape(-1, 2)

    @cached_property
    def widest_rad(self) -> float:
        w, h = self.width, self.height
        corners = np.array([[-1, -1], [w, -1], [w, h], [-1, h]], float)
        return float(np.arctan(np.hypot(*self.unproject(corners).T)).max())

    def rays(self, over: int) -> NDArray[np.float32]:
        """(h * over, w * over, 2): x/z, y/z of every sample; kept, since all frames share it."""
        key = str(over)
        if key not in self._rays:
            u, v = np.meshgrid(np.arange(self.width * over, dtype=float), np.arange(self.height * over, dtype=float))
            px = (np.stack([u, v], -1).reshape(-1, 2) - (over - 1) / 2) / over
            self._rays[key] = self.unproject(px).reshape(self.height * over, self.width * over, 2).astype(np.float32)
        return self._rays[key]

    def toml(self, rng: np.random.Generator) -> str:
        """A calibration file of this lens, as good as a calibration is: a little off."""
        K = self.K * np.array([[1 + rng.normal(0, 3e-4), 1, 1], [1, 1 + rng.normal(0, 3e-4), 1], [1, 1, 1]])
        K[:2, 2] += rng.normal(0, 0.4, 2)
        rows = ", ".join("[" + ", ".join(f"{v:.4f}" for v in row) + "]" for row in K)
        coefficients = ", ".join(f"{v:.7f}" for v in self.dist)
        return (
            f'name = "{self.name}"\nmodel = "{self.model}"\nwidth = {self.width}\nheight = {self.height}\n'
            f"camera_matrix = [{rows}]\ndistortion = [{coefficients}]\nrms_px = {rng.uniform(0.15, 0.4):.3f}\n"
        )


def draw_lens(rng: np.random.Generator, name: str, size: tuple[int, int], fov_deg: float, fisheye: bool) -> Lens:
    """A random lens that sees ``fov_deg`` across the picture's longer side and whose law rises out to the corners."""
    w, h = size
    long, corner = max(size) / 2, np.hypot(w, h) / 2
    half = np.radians(fov_deg / 2)
    while True:
        if fisheye:
            k = np.array([rng.uniform(-0.05, 0.04), rng.uniform(-0.015, 0.015), rng.normal(0, 0.003), rng.normal(0, 0.001)])
            t = np.linspace(0, 1.5, 600)
            law = t * (1 + k[0] * t**2 + k[1] * t**4 + k[2] * t**6 + k[3] * t**8)
            f = long / np.interp(half, t, law)
        else:
            k = np.array([rng.uniform(-0.16, -0.02), rng.uniform(0.005, 0.03), rng.normal(0, 3e-4), rng.normal(0, 3e-4), 0.0])
            t = np.linspace(0, 2.6, 900)
            law = t * (1 + k[0] * t**2 + k[1] * t**4)
            f = long / np.interp(np.tan(half), t, law)
        rising = np.diff(law) > 0.25 * (t[1] - t[0])
        reach = law[np.argmin(rising) if not rising.all() else -1] * f
        if reach > 1.12 * corner:
            break
    K = np.array(
        [[f, 0, (w - 1) / 2 + rng.normal(0, 6)], [0, f * (1 + rng.normal(0, 4e-4)), (h - 1) / 2 + rng.normal(0, 6)], [0, 0, 1]]
    )
    return Lens(name, "fisheye" if fisheye else "pinhole", w, h, K, k)


@dataclass(frozen=True)
class Pose:
    """World to camera directions, and the camera's centre (mm)."""

    R: Array
    centre: Array

    def to_camera(self, points: Array) -> Array:
        x, y, z = points[:, 0] - self.centre[0], points[:, 1] - self.centre[1], points[:, 2] - self.centre[2]
        return np.stack([r[0] * x + r[1] * y + r[2] * z for r in self.R], -1)

    def plane(self, z: float) -> Array:
        """3 x 3 from a ray (x/z, y/z, 1) to (x, y, 1) where it meets the plane of that height."""
        c, R, down = self.centre, self.R, z - self.centre[2]
        return np.stack([c[0] * R[:, 2] + down * R[:, 0], c[1] * R[:, 2] + down * R[:, 1], R[:, 2]])


def look(target: Array, distance: float, tilt_deg: float, toward_deg: float, roll_deg: float) -> Pose:
    """A camera whose axis meets ``target``: tilted by tilt_deg toward an azimuth, then rolled about its axis."""
    a, t = np.radians(toward_deg), np.radians(tilt_deg)
    tilt = cv2.Rodrigues(t * np.array([np.cos(a), np.sin(a), 0.0]))[0]
    roll = cv2.Rodrigues(np.radians(roll_deg) * np.array([0.0, 0.0, 1.0]))[0]
    R = roll @ tilt @ DOWN
    return Pose(R, target - R[2] * distance)


@dataclass(frozen=True)
class Aim:
    """What `look` wants, as numbers that can sway."""

    target: Array
    distance: float
    tilt_deg: float
    toward_deg: float
    roll_deg: float

    def pose(self) -> Pose:
        return look(self.target, self.distance, self.tilt_deg, self.toward_deg, self.roll_deg)


def handheld(
    rng: np.random.Generator, aim: Aim, seconds: float, rate: float, approach_s: float, shake: float = 1.0
) -> list[Pose]:
    """The poses of a clip: slow sway, small turns, a drift; a start from elsewhere if approach_s > 0."""
    n = round(seconds * rate)
    t = np.arange(n) / rate

    def sway(size: float) -> Array:
        out = np.zeros(n)
        for hz in rng.uniform(0.2, 1.3, 3):
            out += rng.normal(0, 0.6) / (0.6 + hz) * np.sin(2 * np.pi * hz * t + rng.uniform(0, 7))
        return size * shake * out

    start = np.clip(1 - t / approach_s, 0, 1) if approach_s > 0 else np.zeros(n)
    start = start * start * (3 - 2 * start)
    sx, sy = rng.uniform(-0.45, 0.45, 2) * aim.distance
    up, turn = rng.uniform(0.2, 0.7), rng.uniform(-35, 35)
    xs, ys, zs = sway(14), sway(14), sway(0.03)
    tilts, towards, rolls = sway(2.5), sway(4), sway(3)
    return [
        Aim(
            aim.target + np.array([xs[i] + sx * start[i], ys[i] + sy * start[i], 0.0]),
            aim.distance * (1 + zs[i] + up * start[i]),
            aim.tilt_deg + tilts[i] + 12 * start[i],
            aim.toward_deg + towards[i],
            aim.roll_deg + rolls[i] + turn * start[i],
        ).pose()
        for i in range(n)
    ]


def write_lens(folder: Path, lens: Lens, rng: np.random.Generator) -> None:
    (folder / f"{lens.name}.toml").write_text(lens.toml(rng))

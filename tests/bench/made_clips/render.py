"""One frame: deck and board by inverse rays, solids by the rasteriser, light baked once a clip; then the sensor."""

from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from made_clips.camera import OVER, Lens, Pose
from made_clips.decks import TILE, SunMap, soft
from made_clips.raster import rank_image
from made_clips.things import Mesh

Array = NDArray[Any]
Image = NDArray[Any]
Roi = tuple[int, int, int, int]  # x0, y0, x1, y1 in pixels


@dataclass
class Light:
    """Where the sun stands (unit vector toward it) and how strong sun and sky are, as colours that white is seen in."""

    toward: Array
    sun: Array
    sky: Array
    glare: float = 0.0
    sheen: float = 0.5


@dataclass
class Top:
    """The board's upper surface: a picture over a rectangle of the plane z = 0 (mm: x0, y0, x1, y1)."""

    picture: Image
    rect: tuple[float, float, float, float]

    def to_px(self) -> Array:
        """3 x 3 from (x, y, 1) mm to the picture's pixels."""
        h, w = self.picture.shape[:2]
        x0, y0, x1, y1 = self.rect
        sx, sy = w / (x1 - x0), h / (y1 - y0)
        return np.array([[sx, 0, -x0 * sx - 0.5], [0, -sy, y1 * sy - 0.5], [0, 0, 1]])


@dataclass
class Sensor:
    """What the camera makes of the light."""

    gain: Array = field(default_factory=lambda: np.ones(3))
    gamma: float = 1.0
    vignette: float = 0.1
    blur_px: float = 0.5
    noise: float = 2.0
    exposure_s: float = 0.002


class Stage:
    """A scene with its light baked, ready to be filmed through one lens."""

    def __init__(self, lens: Lens, light: Light, sunmap: SunMap, ground: Image, ground_mm: float, floor: float, top: Top | None,
                 meshes: list[Mesh], rng: np.random.Generator, samples_per_mm: float, water: Array) -> None:  # fmt: skip
        self.lens, self.light, self.top, self.floor, self.water = lens, light, top, floor, water
        self.ground_mm = ground_mm
        fine = ground_mm / TILE * samples_per_mm / OVER  # pixels a texel
        wide = np.pad(ground, ((16, 16), (16, 16), (0, 0)), mode="wrap")
        self.ground = cv2.GaussianBlur(wide, (0, 0), max(0.3, 0.4 / max(fine, 0.05)))[16:-16, 16:-16]
        self._gather(meshes, sunmap)
        if top is not None:
            self._bake_top(top, sunmap, samples_per_mm)
        sunmap.cast([self._dropped(self.floor, q) for q in self.quads[self._casters()]])
        self.sunmap = sunmap
        self.wet = soft(rng, 256, 3.0)
        self.noise_bank = rng.normal(0, 1, (lens.height + 64, lens.width + 64, 3)).astype(np.float32)
        self.rng = rng

    def _gather(self, meshes: list[Mesh], sunmap: SunMap) -> None:
        """All meshes as one list of quads, slab first; their colours under sun and sky."""
        ordered = sorted(meshes, key=lambda m: m.tag != "slab")
        offsets = np.cumsum([0] + [len(m.vertices) for m in ordered])
        self.vertices = np.concatenate([m.vertices for m in ordered]) if ordered else np.zeros((0, 3))
        self.quads = (
            np.concatenate([m.quads + o for m, o in zip(ordered, offsets[:-1], strict=True)])
            if ordered
            else np.zeros((0, 4), int)
        )
        self.normals = np.concatenate([m.normals for m in ordered]) if ordered else np.zeros((0, 3))
        self.shine = np.concatenate([m.shine for m in ordered]) if ordered else np.zeros(0)
        albedo = np.concatenate([m.colours for m in ordered]) if ordered else np.zeros((0, 3))
        self.tags = np.concatenate([np.full(len(m.quads), m.tag) for m in ordered]) if ordered else np.zeros(0, str)
        self.slab = self.tags == "slab"
        self.middle = self.vertices[self.quads].mean(axis=1) if len(self.quads) else np.zeros((0, 3))
        if not len(self.quads):
            self.lit, self.sunny = albedo, np.zeros(0)
            return
        s = self.light.toward
        foot = self.middle[:, :2] - self.middle[:, 2:] * s[:2] / s[2]
        self.sunny = sunmap.at(foot[:, 0], foot[:, 1])
        facing = np.clip(self.normals @ s, 0, 1) * self.sunny
        open_sky = 0.62 + 0.38 * self.normals[:, 2]
        self.lit = albedo * (self.light.sky * open_sky[:, None] + self.light.sun * facing[:, None])

    def _casters(self) -> NDArray[np.bool_]:
        return self.normals @ self.light.toward > 0

    def _dropped(self, z: float, quad: NDArray[np.int64]) -> Array:
        """Where the sun throws a quad's corners onto the plane of height z."""
        p, s = self.vertices[quad], self.light.toward
        return p[:, :2] - (p[:, 2:] - z) * s[:2] / s[2]

    def _bake_top(self, top: Top, sunmap: SunMap, samples_per_mm: float) -> None:
        """The board's picture under this light, with the shadows of what lies on it, at a resolution that suits the frames."""
        x0, y0, x1, y1 = top.rect
        scale = min(1.0, 1.25 * samples_per_mm * (x1 - x0) / top.picture.shape[1])
        picture = cv2.resize(top.picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA).astype(np.float32)
        h, w = picture.shape[:2]
        shade = np.zeros((int(y1 - y0), int(x1 - x0)), np.float32)
        sx, sy = shade.shape[1] / (x1 - x0), shade.shape[0] / (y1 - y0)
        touch = np.zeros_like(shade)
        for quad in self.quads[np.isin(self.tags, ["stop", "fish", "hand"]) & (self.normals @ self.light.toward > 0)]:
            for canvas, p in ((shade, self._dropped(0.0, quad)), (touch, self.vertices[quad][:, :2])):
                px = np.stack([(p[:, 0] - x0) * sx - 0.5, (y1 - p[:, 1]) * sy - 0.5], -1)
                cv2.fillConvexPoly(canvas, np.round(px * 16).astype(np.int32), 1.0, cv2.LINE_8, 4)
        sun: Array = 1 - np.asarray(cv2.GaussianBlur(shade, (0, 0), 1.6))
        near = 1 - 0.35 * cv2.GaussianBlur(touch, (0, 0), 5.0)
        ys, xs = np.meshgrid(
            y1 - (np.arange(shade.shape[0]) + 0.5) / sy, x0 + (np.arange(shade.shape[1]) + 0.5) / sx, indexing="ij"
        )
        sun *= sunmap.at(xs, ys) * np.float32(self.light.toward[2])
        light = self.light.sky * near[..., None] + self.light.sun * sun[..., None]
        light = cv2.resize(light.astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR)
        self.top = Top(np.clip(picture * light, 0, 255).astype(np.uint8), top.rect)

    # ---- a frame

    def frame(self, pose: Pose) -> Image:
        """The scene as light alone, (height, width, 3), before the sensor."""
        out = self._deck(pose)
        px, good = self.lens.project(pose.to_camera(self.vertices))
        roi = self._roi(pose, px[good])
        if roi is not None:
            self._near(out, pose, roi, self.ranks(pose, roi, (px, good)))
        return out

    def _deck(self, pose: Pose) -> Image:
        rays = self.lens.rays(1)
        scale = TILE / self.ground_mm
        M = pose.plane(self.floor)
        uv: Any = cv2.perspectiveTransform(rays, np.diag([scale, scale, 1.0]) @ M)
        np.clip(uv, -16000, 16000, out=uv)
        out: Image = cv2.remap(self.ground, uv, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)  # type: ignore[call-overload]
        half = uv[::2, ::2] / scale
        share = self.sunmap.at(half[..., 0], half[..., 1])
        light: Any = self.light.sky + self.light.sun * (share * np.float32(self.light.toward[2]))[..., None]
        far = np.clip((np.abs(half).max(axis=-1) - 2300) / 900, 0, 1)[..., None]
        light = np.concatenate([light * (1 - far), far], -1).astype(np.float32)
        light = cv2.resize(light, (out.shape[1], out.shape[0]), interpolation=cv2.INTER_LINEAR)
        mixed = out * light[..., :3] + self.water * light[..., 3:]
        corner = self._down(pose, rays[[0, 0, -1, -1], [0, -1, 0, -1]])
        if corner.max() > -0.05:
            up = self._down(pose, rays) > -0.03
            mixed[up] = self.water * 1.5 + 25
        return np.clip(mixed, 0, 255).astype(np.uint8)

    @staticmethod
    def _down(pose: Pose, rays: NDArray[Any]) -> Array:
        R = pose.R
        return rays[..., 0] * R[0, 2] + rays[..., 1] * R[1, 2] + R[2, 2]

    def _roi(self, pose: Pose, px: Array, *, top_only: bool = False) -> tuple[int, int, int, int] | None:
        """x0, y0, x1, y1 in pixels that hold these pixels and the board's top."""
        if self.top is not None:
            x0, y0, x1, y1 = self.top.rect
            gx, gy = np.meshgrid(np.linspace(x0, x1, 24), np.linspace(y0, y1, 8))
            edge, good = self.lens.project(pose.to_camera(np.stack([gx.ravel(), gy.ravel(), np.zeros(gx.size)], -1)))
            px = edge[good] if top_only else np.concatenate([px, edge[good]])
        if not len(px):
            return None
        size = [self.lens.width, self.lens.height]
        low = np.clip(np.floor(px.min(axis=0)).astype(int) - 2, 0, size)
        high = np.clip(np.ceil(px.max(axis=0)).astype(int) + 3, 0, size)
        return (int(low[0]), int(low[1]), int(high[0]), int(high[1])) if (high > low).all() else None

    def ranks(self, pose: Pose, roi: Roi, seen: tuple[Array, Array] | None = None) -> tuple[Array, Array]:
        """Sample image of the roi: place in the returned order (far to near, slab first) of the quad seen, -1 for none."""
        x0, y0, x1, y1 = roi
        px, good = seen or self.lens.project(pose.to_camera(self.vertices))
        px = px * OVER + (OVER - 1) / 2 - [x0 * OVER, y0 * OVER]
        view = pose.centre - self.middle
        toward = np.einsum("ij,ij->i", view, self.normals)  # what faces away lies behind what faces here
        keep = np.flatnonzero(good[self.quads].all(axis=1) & (toward > -0.03 * np.abs(view).max(initial=0)))
        far = np.linalg.norm(view[keep], axis=1)
        order = keep[np.lexsort((-far, ~self.slab[keep]))]
        return rank_image(px, self.quads[order], ((y1 - y0) * OVER, (x1 - x0) * OVER)), order

    def _near(self, out: Image, pose: Pose, roi: Roi, ranked: tuple[Array, Array]) -> None:
        """Board and solids over the deck, OVER x OVER samples a pixel."""
        x0, y0, x1, y1 = roi
        canvas = np.asarray(cv2.resize(out[y0:y1, x0:x1], None, fx=OVER, fy=OVER, interpolation=cv2.INTER_NEAREST))
        rank, order = ranked
        colours = np.clip(self._seen(pose, order), 0, 255).astype(np.uint8)
        slab = int(self.slab[order].sum())
        flat, seen = canvas.reshape(-1, 3), rank.reshape(-1)
        if slab:
            at = np.flatnonzero((seen >= 0) & (seen < slab))
            flat[at] = colours[seen[at]]
        part = self._roi(pose, np.zeros((0, 2)), top_only=True) if self.top is not None else None
        if part is not None:
            rows = slice((part[1] - y0) * OVER, (part[3] - y0) * OVER)
            columns = slice((part[0] - x0) * OVER, (part[2] - x0) * OVER)
            self._paint_top(canvas[rows, columns], pose, part, rank[rows, columns] < slab)
        at = np.flatnonzero(seen >= slab)
        flat[at] = colours[seen[at]]
        out[y0:y1, x0:x1] = cv2.resize(canvas, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)

    def _paint_top(self, canvas: Image, pose: Pose, roi: Roi, free: NDArray[np.bool_]) -> None:
        assert self.top is not None
        x0, y0, x1, y1 = roi
        rays = np.ascontiguousarray(self.lens.rays(OVER)[y0 * OVER : y1 * OVER, x0 * OVER : x1 * OVER])
        uv: Any = cv2.perspectiveTransform(rays, self.top.to_px() @ pose.plane(0.0))
        h, w = self.top.picture.shape[:2]
        u, v = uv[..., 0], uv[..., 1]
        on = (u > -0.5) & (u < w - 0.5) & (v > -0.5) & (v < h - 0.5) & free
        if self._down(pose, rays[[0, 0, -1, -1], [0, -1, 0, -1]]).max() > -0.05:
            on &= self._down(pose, rays) < -0.02
        np.clip(uv, -10, [w + 10, h + 10], out=uv)
        near = cv2.BORDER_REPLICATE
        painted = cv2.remap(self.top.picture, uv, None, cv2.INTER_LINEAR, borderMode=near)  # type: ignore[call-overload]
        if self.light.glare > 0:
            painted = cv2.add(painted, self._glare(uv[::4, ::4], pose, (painted.shape[1], painted.shape[0])))
        np.copyto(canvas, painted, where=on[..., None])

    def _glare(self, uv: NDArray[Any], pose: Pose, size: tuple[int, int]) -> Image:
        """The sun's image in the wet board: a lobe about the mirror direction, broken by drops."""
        assert self.top is not None
        mm = np.linalg.inv(self.top.to_px())
        x, y = uv[..., 0] * mm[0, 0] + mm[0, 2], uv[..., 1] * mm[1, 1] + mm[1, 2]
        c, s = pose.centre, self.light.toward
        vx, vy, vz = c[0] - x, c[1] - y, c[2]
        n = np.sqrt(vx * vx + vy * vy + vz * vz)
        hx, hy, hz = vx / n + s[0], vy / n + s[1], vz / n + s[2]
        lobe = np.clip(hz / np.sqrt(hx * hx + hy * hy + hz * hz), 0, 1) ** 600
        wet = cv2.remap(self.wet, (x % 255).astype(np.float32), (y % 255).astype(np.float32), cv2.INTER_LINEAR)
        strength = np.clip(255 * self.light.glare * lobe * np.clip(0.9 + 0.55 * wet, 0, 2), 0, 255).astype(np.uint8)
        return cv2.merge([cv2.resize(strength, size, interpolation=cv2.INTER_LINEAR)] * 3)

    def _seen(self, pose: Pose, order: NDArray[np.int64]) -> Array:
        """Colours of quads toward this camera: what light left in them, and the wet sheen of sun and sky."""
        if not len(order):
            return np.zeros((0, 3))
        view = pose.centre - self.middle[order]
        view /= np.linalg.norm(view, axis=1)[:, None]
        normal, s = self.normals[order], self.light.toward
        half = view + s
        half /= np.linalg.norm(half, axis=1)[:, None]
        glint = np.clip(np.sum(normal * half, axis=1), 0, 1) ** 45 * self.sunny[order]
        rim = (1 - np.clip(np.sum(normal * view, axis=1), 0, 1)) ** 4 * np.clip(normal[:, 2], 0, 1)
        shine = self.shine[order] * self.light.sheen
        return (
            self.lit[order]
            + (shine * glint * 230)[:, None] * self.light.sun / max(self.light.sun.max(), 0.1)
            + (shine * rim * 90)[:, None]
        )

    def covered(self, pose: Pose, point: Array, by: str) -> bool:
        """Whether solids of that tag hide a point of the scene."""
        px, good = self.lens.project(pose.to_camera(point[None]))
        x, y = (int(v) for v in np.round(px[0]))
        if not good[0] or not (6 <= x < self.lens.width - 6 and 6 <= y < self.lens.height - 6):
            return True
        rank, order = self.ranks(pose, (x - 5, y - 5, x + 6, y + 6))
        seen = rank[rank >= 0]
        return bool(len(seen)) and bool((self.tags[order[seen]] == by).mean() > 0.02)

    # ---- the sensor

    def expose(self, image: Image, sensor: Sensor, streak: Array) -> Image:
        """Motion streak (pixels), blur, gain, tone, vignette, noise."""
        length = float(np.hypot(*streak))
        if length > 0.6:
            n = int(np.ceil(length)) | 1
            kernel = np.zeros((n + 2, n + 2), np.float32)
            mid, half = (n + 1) / 2, streak / 2
            a, b = (np.round((mid + s * half) * 16).astype(int) for s in (-1, 1))
            cv2.line(kernel, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 1.0, 1, cv2.LINE_AA, 4)
            image = cv2.filter2D(image, -1, kernel / kernel.sum())
        image = cv2.GaussianBlur(image, (0, 0), sensor.blur_px)
        levels = (np.arange(256) / 255.0)[:, None] * sensor.gain
        table = np.clip(255 * levels**sensor.gamma, 0, 255).astype(np.uint8).reshape(1, 256, 3)
        h, w = image.shape[:2]
        if not hasattr(self, "_vignette"):
            gx, gy = np.meshgrid(np.linspace(-1, 1, w), np.linspace(-1, 1, h))
            self._vignette = np.repeat((1 - sensor.vignette * (gx**2 + gy**2) / 2)[..., None], 3, -1).astype(np.float32)
        dim = cv2.multiply(cv2.LUT(image, table), self._vignette, dtype=cv2.CV_32F)
        i, j = self.rng.integers(0, 64, 2)
        grain = self.noise_bank[i : i + h, j : j + w] * np.float32(sensor.noise)
        return cv2.add(dim, grain, dtype=cv2.CV_8U)

"""What a board lies on: tiling ground textures, and maps of where the sun falls."""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[Any]
Floats = NDArray[Any]
TILE = 768  # px; a tile is TILE * mm_per_px long
KINDS = ("planks", "grass", "pebbles", "diamond", "carpet", "concrete", "rubber")


def soft(rng: np.random.Generator, size: int, sigma: float, sigma_y: float | None = None) -> Floats:
    """Noise of unit spread that tiles."""
    pad = int(min(4 * max(sigma, sigma_y or sigma) + 2, size))
    noise = np.pad(rng.normal(0, 1, (size, size)).astype(np.float32), pad, mode="wrap")
    out = cv2.GaussianBlur(noise, (0, 0), sigma, sigmaY=sigma_y or sigma)[pad:-pad, pad:-pad]
    return ((out - out.mean()) / out.std()).astype(np.float32)


def _planks(rng: np.random.Generator) -> Floats:
    tone = np.array([(70, 110, 150), (95, 115, 125), (50, 75, 110), (140, 150, 155)][rng.integers(4)], np.float32)
    count = int(rng.integers(4, 9))
    board = (np.arange(TILE) * count // TILE).astype(int)
    within = (np.arange(TILE) * count / TILE) % 1
    shade = rng.uniform(0.8, 1.15, count)[board] * (1 - 0.75 * ((within < 0.035) | (within > 0.985)))
    grain = 1 + 0.10 * soft(rng, TILE, 30, 1.1) + 0.05 * soft(rng, TILE, 60, 3)
    return tone * (shade[:, None] * grain)[..., None]


def _grass(rng: np.random.Generator) -> Floats:
    out = np.full((TILE, TILE, 3), (30, 70, 45), np.uint8)
    for _ in range(9000):
        x, y, a, n = *rng.uniform(0, TILE, 2), rng.uniform(0, 7), rng.uniform(12, 40)
        green = int(rng.integers(70, 190))
        colour = (int(green * rng.uniform(0.2, 0.5)), green, int(green * rng.uniform(0.4, 0.95)))
        for ox in (0, -TILE if x > TILE / 2 else TILE):
            p, q = (int(x + ox), int(y)), (int(x + ox + n * np.cos(a)), int(y + n * np.sin(a)))
            cv2.line(out, p, q, colour, int(rng.integers(1, 3)), cv2.LINE_AA)
    return out.astype(np.float32)


def _pebbles(rng: np.random.Generator) -> Floats:
    out = np.full((TILE, TILE, 3), (45, 50, 52), np.uint8)
    for _ in range(1500):
        x, y = rng.uniform(0, TILE, 2)
        r = rng.uniform(8, 32)
        tone = rng.uniform(60, 200)
        colour = tuple(float(np.clip(tone * v, 0, 255)) for v in rng.uniform(0.85, 1.15, 3))
        for ox in (0, TILE, -TILE):
            for oy in (0, TILE, -TILE):
                if -40 < x + ox < TILE + 40 and -40 < y + oy < TILE + 40:
                    at, axes, turn = (int(x + ox), int(y + oy)), (int(r), int(r * 0.7)), float(x % 180)
                    cv2.ellipse(out, at, (axes[0] + 2, axes[1] + 2), turn, 0, 360, (35, 38, 40), -1, cv2.LINE_AA)
                    cv2.ellipse(out, at, axes, turn, 0, 360, colour, -1, cv2.LINE_AA)
                    glint = tuple(min(255.0, v * 1.18) for v in colour)
                    cv2.ellipse(
                        out,
                        (at[0] - int(r * 0.2), at[1] - int(r * 0.15)),
                        (int(r * 0.45), int(r * 0.3)),
                        turn,
                        0,
                        360,
                        glint,
                        -1,
                        cv2.LINE_AA,
                    )
    return out.astype(np.float32) * (1 + 0.05 * soft(rng, TILE, 1.2))[..., None]


def _diamond(rng: np.random.Generator) -> Floats:
    tone = float(rng.uniform(110, 175))
    out = np.full((TILE, TILE), tone, np.float32) * (1 + 0.04 * soft(rng, TILE, 12, 2) + 0.03 * soft(rng, TILE, 1))
    step = TILE // int(rng.integers(10, 17))
    n = TILE // step
    lit, dark = np.zeros((TILE, TILE), np.float32), np.zeros((TILE, TILE), np.float32)
    for i in range(-1, n + 1):
        for j in range(-1, n + 1):
            at, turn = (int((i + 0.5) * TILE / n), int((j + 0.5) * TILE / n)), 45.0 if (i + j) % 2 else 135.0
            cv2.ellipse(lit, at, (step // 2 - 3, step // 7), turn, 0, 360, 1.0, -1, cv2.LINE_AA)
            cv2.ellipse(dark, (at[0] + 3, at[1] + 3), (step // 2 - 3, step // 7), turn, 0, 360, 1.0, -1, cv2.LINE_AA)
    out = out * (1 - 0.35 * dark) + 45 * lit
    return out[..., None] * np.array([1.03, 1.0, 0.97], np.float32)


def _plain(rng: np.random.Generator, kind: str) -> Floats:
    tones = {
        "carpet": [(70, 70, 75), (95, 70, 50), (60, 85, 70)],
        "concrete": [(165, 170, 172), (135, 140, 145)],
        "rubber": [(38, 38, 38), (48, 44, 40)],
    }
    tone = np.array(tones[kind][rng.integers(len(tones[kind]))], np.float32)
    if kind == "carpet":
        weave = (
            0.16
            * np.sign(np.sin(np.arange(TILE) * 2 * np.pi * 48 / TILE))[:, None]
            * np.sin(np.arange(TILE) * 2 * np.pi * 64 / TILE)[None]
        )
        texture = 1 + weave + 0.14 * soft(rng, TILE, 1.3)
    elif kind == "concrete":
        texture = (
            1
            + 0.06 * soft(rng, TILE, 60)
            + 0.05 * soft(rng, TILE, 8)
            + 0.05 * soft(rng, TILE, 0.9)
            - 0.25 * (soft(rng, TILE, 2.0) > 2.6)
        )
    else:
        drops = np.clip(soft(rng, TILE, 5) - 1.4, 0, 1.2)
        texture = 1 + 0.10 * soft(rng, TILE, 2) + 1.6 * drops * (soft(rng, TILE, 2) > 0.4)
    return tone * texture.astype(np.float32)[..., None]


def deck(rng: np.random.Generator, kind: str) -> Image:
    """A TILE x TILE texture that repeats."""
    made = {"planks": _planks, "grass": _grass, "pebbles": _pebbles, "diamond": _diamond}.get(kind)
    out = made(rng) if made else _plain(rng, kind)
    return np.clip(out, 0, 255).astype(np.uint8)


class SunMap:
    """Share of direct sun (0..1) over the ground around a board, 6 mm a pixel."""

    MM, LOW, SIZE = 6.0, -2100.0, 800

    def __init__(self, rng: np.random.Generator, middle: tuple[float, float], *, dapple: float, shadow: bool) -> None:
        self.share = np.ones((self.SIZE, self.SIZE), np.float32)
        if dapple:
            leaves = 0.6 * soft(rng, self.SIZE, 14) + 0.6 * soft(rng, self.SIZE, 5)
            self.share *= 1 - dapple * np.clip(0.5 + 1.6 * (leaves - 0.1), 0, 1)
        if shadow:
            self._person(rng, middle)

    def _person(self, rng: np.random.Generator, middle: tuple[float, float]) -> None:
        """Head, shoulders and arms of whoever films, as one dark shape over part of the scene."""
        shade = np.zeros_like(self.share)
        a = rng.uniform(0, 2 * np.pi)
        way, across = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        head = np.array(middle) + rng.uniform(-180, 180, 2) + way * rng.uniform(-150, 200)
        at = lambda p: tuple(int(v) for v in (p - self.LOW) / self.MM)  # noqa: E731
        cv2.circle(shade, at(head), int(130 / self.MM), 1.0, -1)
        body = np.array(
            [
                head - way * 80 + across * 90,
                head - way * 230 + across * 300,
                head - way * 1500 + across * 330,
                head - way * 1500 - across * 330,
                head - way * 230 - across * 300,
                head - way * 80 - across * 90,
            ]
        )
        cv2.fillPoly(shade, [np.array([at(p) for p in body], np.int32)], 1.0)
        self.share *= 1 - 0.96 * cv2.GaussianBlur(shade, (0, 0), float(rng.uniform(1.0, 3.0)))

    def cast(self, polygons: list[NDArray[np.float64]], softness_mm: float = 6.0) -> None:
        """Darken what is under these (n, 2) polygons on the ground."""
        shade = np.zeros_like(self.share)
        for p in polygons:
            cv2.fillConvexPoly(shade, np.round((p - self.LOW) / self.MM * 16).astype(np.int32), 1.0, cv2.LINE_8, 4)
        self.share *= 1 - cv2.GaussianBlur(shade, (0, 0), softness_mm / self.MM)

    def at(self, x: NDArray[np.floating], y: NDArray[np.floating]) -> Floats:
        u = np.clip((x - self.LOW) / self.MM, 0, self.SIZE - 1).astype(np.float32)
        v = np.clip((y - self.LOW) / self.MM, 0, self.SIZE - 1).astype(np.float32)
        if u.ndim == 2:
            return cv2.remap(self.share, u, v, cv2.INTER_LINEAR)
        short = -len(u) % 512  # OpenCV's pictures are at most 32767 wide
        u, v = (np.pad(c, (0, short)).reshape(-1, 512) for c in (u, v))
        return cv2.remap(self.share, u, v, cv2.INTER_LINEAR).reshape(-1)[: u.size - short]

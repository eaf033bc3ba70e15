"""What cameras, codecs and chance make of a drawn frame: the variety that train_glance.py trains under.

A frame is (h, w, 4) uint8 as glance_frames.py draws it; the fourth channel, the board's place, is carried along.
"""

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Image = NDArray[Any]
Rng = np.random.Generator
SIZE = (160, 90)  # what the net sees
NOISE = np.random.default_rng(93).normal(0, 1, (700, 900, 3)).astype(np.float32)  # a bank to cut grain from
LEAST_SEEN, LEAST_AREA = 0.5, 0.004  # of a board, for its frame to count: share in sight, share of the picture


def worn_frame(rng: Rng, frame: Image, others: list[Image], board: bool, wear: float) -> Image:
    """One training sample (90, 160, 4) of a frame. ``others``: frames without a board, to mix in; ``wear``: 0 mild .. 1 full."""
    if board and rng.random() < 0.04 * wear:
        frame = _elsewhere(rng, frame, others[0])
    elif not board and rng.random() < 0.25 * wear:
        frame = _mosaic(rng, frame, others)
    out = _reframed(rng, frame, 0.5 if board else 0.08)
    seen = out[..., 3] > 127
    if board and (seen.mean() < LEAST_AREA or _share(frame, out) < LEAST_SEEN):
        out = cv2.resize(frame, SIZE, interpolation=cv2.INTER_AREA)
    if rng.random() < 0.2 * wear:
        _cut_out(rng, out)
    if rng.random() < 0.35:
        code_strip(rng, out)
    if rng.random() < 0.08 * wear:
        out[..., :3] = _words(rng, out[..., :3])
    return np.dstack([exposed(rng, out[..., :3], wear), out[..., 3]])


def _share(before: Image, after: Image) -> float:
    """Share of the board's area that is still in the picture, taking the zoom from nothing: an upper bound is enough."""
    return float((after[..., 3] > 127).mean() / max((before[..., 3] > 127).mean(), 1e-6))


def _elsewhere(rng: Rng, frame: Image, other: Image) -> Image:
    """The board with what lies on it, before any background at all."""
    grown = cv2.dilate(frame[..., 3], np.ones((3, 3), np.uint8), iterations=int(rng.integers(0, 4)))
    alpha = (cv2.GaussianBlur(grown, (0, 0), 0.8)[..., None] / 255.0).astype(np.float32)
    mixed = frame[..., :3] * alpha + other[..., :3] * (1 - alpha)
    return np.dstack([mixed.astype(np.uint8), frame[..., 3]])


def _mosaic(rng: Rng, frame: Image, others: list[Image]) -> Image:
    out = frame.copy()
    h, w = out.shape[:2]
    for other in others[: int(rng.integers(1, 3))]:
        ph, pw = int(h * rng.uniform(0.2, 0.8)), int(w * rng.uniform(0.3, 1.0))
        y, x, v, u = (int(rng.uniform(0, n)) for n in (h - ph + 1, w - pw + 1, h - ph + 1, w - pw + 1))
        out[y : y + ph, x : x + pw] = other[v : v + ph, u : u + pw]
    return out


def _reframed(rng: Rng, frame: Image, over: float) -> Image:
    """Zoom, turn, shift, stretch, flip; upside down with probability ``over``."""
    h, w = frame.shape[:2]
    zoom = float(np.exp(rng.uniform(np.log(0.95), np.log(1.7)))) if rng.random() < 0.7 else 1.0
    a = np.radians(rng.normal(0, 8)) + (np.pi if rng.random() < over else 0)
    stretch = float(np.exp(rng.normal(0, 0.1)))
    flip = np.diag([rng.choice([-1, 1]), 1.0])
    M = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]) @ np.diag([stretch, 1 / stretch]) @ flip * zoom * SIZE[0] / w
    shift = rng.normal(0, 0.08, 2) * SIZE * np.array([1, 1]) * (zoom > 1.0 or rng.random() < 0.3)
    move = np.array(SIZE) / 2 + shift - M @ [w / 2, h / 2]
    border = cv2.BORDER_REFLECT if rng.random() < 0.7 else cv2.BORDER_REPLICATE
    soft = cv2.GaussianBlur(frame, (0, 0), float(rng.uniform(0.3, 0.7)))
    return cv2.warpAffine(soft, np.column_stack([M, move]), SIZE, flags=cv2.INTER_LINEAR, borderMode=border)


def _cut_out(rng: Rng, image: Image) -> None:
    """Things before the lens: blocks and lumps of any colour (the board's place is left as it is)."""
    for _ in range(int(rng.integers(1, 4))):
        middle = (int(rng.uniform(0, SIZE[0])), int(rng.uniform(0, SIZE[1])))
        axes = (int(rng.uniform(2, 16)), int(rng.uniform(2, 16)))
        part = np.ascontiguousarray(image[..., :3])
        colour = tuple(float(v) for v in rng.uniform(0, 255, 3))
        if rng.random() < 0.5:
            cv2.ellipse(part, middle, axes, float(rng.uniform(0, 180)), 0, 360, colour, -1)
        else:
            cv2.rectangle(part, middle, (middle[0] + axes[0], middle[1] + axes[1]), colour, -1)
        image[..., :3] = part


def code_strip(rng: Rng, image: Image) -> None:
    """Black and white cells along an edge, mostly the lower one: on frames with and without a board alike."""
    h, w = image.shape[:2]
    high, cell = int(rng.integers(2, 9)), float(rng.uniform(1.2, 8))
    rows = 1 if rng.random() < 0.7 else 2
    bits = rng.integers(0, 2, (rows, int(w / cell) + 2)) * int(rng.integers(150, 256))
    strip = cv2.resize(bits.astype(np.uint8), (int(bits.shape[1] * cell), high), interpolation=cv2.INTER_NEAREST)[:, :w]
    strip = strip[:, : int(w * (1.0 if rng.random() < 0.6 else rng.uniform(0.3, 1)))]
    y, x = (h - high if rng.random() < 0.85 else 0), 0 if rng.random() < 0.7 else w - strip.shape[1]
    image[y : y + high, x : x + strip.shape[1]] = np.dstack([strip, strip, strip, np.zeros_like(strip)])


def _words(rng: Rng, image: Image) -> Image:
    out = np.ascontiguousarray(image)
    text = "".join(chr(int(c)) for c in rng.integers(48, 91, int(rng.integers(3, 14))))
    place = (int(rng.uniform(-0.1, 0.7) * SIZE[0]), int(rng.uniform(0.1, 1) * SIZE[1]))
    cv2.putText(out, text, place, int(rng.integers(0, 8)), float(rng.uniform(0.25, 0.9)), tuple(rng.uniform(0, 255, 3)), 1)
    return out


# ---- the camera


def exposed(rng: Rng, image: Image, wear: float = 1.0) -> Image:
    """Light, colour, lens, motion, sensor and codec."""
    x = image.astype(np.float32)
    if rng.random() < 0.3 * wear:
        x = _blurred(rng, x)
    gain = np.exp(rng.normal(0, 0.25 * wear)) * np.exp(rng.normal(0, 0.1 * wear, 3))
    if rng.random() < 0.12 * wear:
        gain *= rng.uniform(0.3, 0.7)
    levels = (np.arange(256) / 255.0)[:, None] * gain
    levels = np.clip(levels, 0, 1) ** np.exp(rng.normal(0, 0.2 * wear))
    levels = levels * (1 + wear * rng.uniform(-0.3, 0.05)) + wear * rng.uniform(0, 0.15) * (rng.random() < 0.5)
    x = cv2.LUT(np.clip(x, 0, 255).astype(np.uint8), np.clip(levels * 255, 0, 255).astype(np.float32).reshape(1, 256, 3))
    grey = x.mean(axis=-1, keepdims=True)
    keep = 0.0 if rng.random() < 0.06 * wear else 1 + wear * rng.uniform(-0.6, 0.35)
    x = grey + (x - grey) * np.float32(keep)
    h, w = x.shape[:2]
    if rng.random() < 0.5:
        (cx, cy), dim = rng.normal(0, 0.3, 2), rng.uniform(0, 0.35) / 2
        across, down = (np.linspace(-1, 1, w) - cx) ** 2, (np.linspace(-1, 1, h) - cy) ** 2
        x *= (1 - dim * (across[None, :, None] + down[:, None, None])).astype(np.float32)
    if rng.random() < 0.08 * wear:  # haze or a veil of light from one side
        veil = cv2.resize(rng.uniform(0, 1, (2, 3)).astype(np.float32), (w, h))[..., None] * np.float32(rng.uniform(0, 0.5))
        x = x * (1 - veil) + 235 * veil
    if rng.random() < 0.6 * wear:
        i, j = rng.integers(0, [NOISE.shape[0] - h, NOISE.shape[1] - w])
        x += NOISE[i : i + h, j : j + w] * np.float32(rng.uniform(0.5, 7))
    out = np.clip(x, 0, 255).astype(np.uint8)
    if rng.random() < 0.35 * wear:
        _, coded = cv2.imencode(".jpg", out, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(18, 90))])
        out = cv2.imdecode(coded, cv2.IMREAD_COLOR)
    return out


def _blurred(rng: Rng, x: Image) -> Image:
    how = rng.integers(3)
    if how == 0:
        return cv2.GaussianBlur(x, (0, 0), float(rng.uniform(0.4, 1.6)))
    if how == 1:
        shrink = rng.uniform(0.35, 0.9)
        small = cv2.resize(x, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        return cv2.resize(small, (x.shape[1], x.shape[0]), interpolation=int(rng.choice([cv2.INTER_LINEAR, cv2.INTER_NEAREST])))
    n = int(rng.integers(3, 9)) | 1
    kernel = np.zeros((n, n), np.float32)
    a, mid = rng.uniform(0, np.pi), n // 2
    d = np.array([np.cos(a), np.sin(a)]) * mid
    cv2.line(kernel, (round(mid - d[0]), round(mid - d[1])), (round(mid + d[0]), round(mid + d[1])), 1.0, 1)
    return cv2.filter2D(x, -1, kernel / kernel.sum())

"""Boards square on with what lies on them, drawn and labelled, to train the parts net on (train_parts.py).

A sample is what the product would make of a frame whose camera it knows: the frame drawn on a raster of the board's plane,
the empty board's picture on the same raster, and what each pixel truly shows. Scenes come from made_clips, varied far beyond
a measuring clip: any board, light, lens and stain, fish of any colour, one, two or none, hands and tools over them.
Nothing here imports the product.
"""

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from glance_boards import PX_PER_MM, Blank, odd_board
from glance_frames import any_ground, any_light
from made_clips.boards import draw_board, draw_design, worn
from made_clips.camera import OVER, Lens, Pose, draw_lens, look
from made_clips.decks import SunMap
from made_clips.fish_drawn import FAMILIES, LaidFish, draw_fish, lay
from made_clips.render import Stage, Top
from made_clips.things import Mesh, box, clutter, hand
from numpy.typing import NDArray

Array = NDArray[Any]
Image = NDArray[Any]
Rng = np.random.Generator
WIDTH, HEIGHT = 384, 192  # the raster: the board and MARGIN_MM around it, as large as fits
MARGIN_MM = 25.0
FLOOR = -15.0
BOARD, FISH, OVER_IT = 0, 1, 2  # labels; what lies beside the board counts as board where it is no fish and no hand


@dataclass(frozen=True)
class Sample:
    """seen (h, w, 3), board (h, w, 3), label (h, w), inside (h, w): where the frame reaches."""

    seen: Image
    board: Image
    label: Image
    inside: Image


def _blank(rng: Rng) -> Blank:
    """A board, unworn if it is one of made_clips'."""
    if rng.random() < 0.45:
        return odd_board(rng)
    d = draw_design(rng, "any", bool(rng.random() < 0.25))
    picture = draw_board(d).picture
    size = (round(picture.shape[1] * PX_PER_MM / 4), round(picture.shape[0] * PX_PER_MM / 4))
    return Blank(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), d.length, d.width, d.slab, "made")


def _fish(rng: Rng, blank: Blank) -> list[LaidFish]:
    """None, one, or two side by side; at the stop more often than not."""
    laid = []
    count = int(rng.choice([0, 1, 2], p=[0.08, 0.8, 0.12]))
    mean = blank.picture.reshape(-1, 3).mean(axis=0)
    for n in range(count):
        length = max(110.0, float(rng.uniform(0.16, 1.08)) * blank.length)
        family = str(rng.choice(FAMILIES)) if rng.random() < 0.75 else "flush"
        colour = np.clip(mean * rng.uniform(0.8, 1.2) + rng.normal(0, 10, 3), 5, 245)
        plan = draw_fish(rng, length, family, tuple(float(v) for v in colour))
        if rng.random() < 0.35:  # any colour at all
            back = rng.uniform(10, 240, 3)
            plan = replace(plan, back=tuple(back), belly=tuple(np.clip(back * rng.uniform(0.8, 1.6), 5, 245)))
        nose = 0.0 if rng.random() < 0.7 else float(rng.uniform(0, 0.3) * blank.length)
        bend = float(rng.normal(0, 4) if rng.random() < 0.8 else rng.normal(0, 45))
        plan = replace(plan, nose_x=nose, bend_deg=bend, yaw_deg=float(rng.normal(0, 3)))
        plan = replace(plan, depth=min(plan.depth * float(rng.uniform(0.7, 1.25)), 1.15 * blank.width / length))
        y = blank.width * (float(rng.normal(0.5, 0.08)) if count == 1 else float(rng.normal(0.22 + 0.56 * n, 0.06)))
        laid.append(lay(plan, y, max(3.0, 0.008 * length)))
    return laid


def _arms(rng: Rng, blank: Blank, laid: list[LaidFish]) -> list[Mesh]:
    out: list[Mesh] = []
    for _ in range(int(rng.choice([0, 1, 2], p=[0.5, 0.4, 0.1]))):
        x, y, top = float(rng.uniform(0, 1)) * blank.length, blank.width * float(rng.normal(0.5, 0.25)), float(rng.uniform(3, 30))
        if laid and rng.random() < 0.75:
            fish = laid[rng.integers(len(laid))]
            x, y = fish.nose[0] + float(rng.uniform(0.1, 1.03)) * fish.total, fish.axis_y
            top = fish.top * float(rng.uniform(0.2, 1.0))
        out += hand(rng, x, y, top, int(rng.choice([-1, 1])), float(rng.uniform(55, 120)), 9.0)
    return out


def _stained(rng: Rng, picture: Image, laid: list[LaidFish], blank: Blank) -> Image:
    """Slime, blood, mud, water on the board; much of it where fish have lain."""
    out = picture.astype(np.float32)
    h, w = picture.shape[:2]
    for n in range(int(rng.integers(3, 20))):
        at = rng.uniform(0, 1, 2) * [w, h]
        if laid and n % 2 == 0:
            fish = laid[0]
            x = fish.nose[0] + (rng.uniform(0.8, 1.1) if rng.random() < 0.5 else rng.uniform(0, 1.1)) * fish.total
            at = np.array([x, blank.width - fish.axis_y + rng.normal(0, 25)]) * PX_PER_MM
        mask = np.zeros((h, w), np.float32)
        for _ in range(int(rng.integers(1, 7))):
            p = at + rng.normal(0, 14, 2) * PX_PER_MM
            axes = (int(rng.uniform(2, 26) * PX_PER_MM) + 1, int(rng.uniform(1, 11) * PX_PER_MM) + 1)
            cv2.ellipse(mask, (int(p[0]), int(p[1])), axes, float(rng.uniform(0, 180)), 0, 360, 1.0, -1, cv2.LINE_AA)
        colours = [(35, 30, 150), (25, 20, 110), (120, 170, 180), (150, 175, 170), (60, 80, 90), tuple(rng.uniform(10, 240, 3))]
        alpha = cv2.GaussianBlur(mask, (0, 0), float(rng.uniform(0.3, 3.0)) * PX_PER_MM)[..., None] * float(rng.uniform(0.1, 0.9))
        if rng.random() < 0.35:  # wet: darker, whatever the print
            out *= 1 - 0.5 * alpha
        else:
            out = out * (1 - alpha) + np.array(colours[rng.integers(len(colours))], np.float32) * alpha
    return np.clip(out, 0, 255).astype(np.uint8)


def _pose(rng: Rng, lens: Lens, blank: Blank) -> Pose:
    """A camera above the board, which spans 55 to 105 % of the picture."""
    ends = np.array([[0, 0, 0], [blank.length, 0, 0], [blank.length, blank.width, 0], [0, blank.width, 0]], float)
    size = np.array([lens.width, lens.height])
    fill = float(rng.uniform(0.6, 0.98) if rng.random() < 0.85 else rng.uniform(0.98, 1.3))
    tilt, toward = float(min(abs(rng.normal(0, 12)), 40)), float(rng.uniform(0, 360))
    roll = float(rng.choice([0, 180]) + rng.normal(0, 12))
    target = np.array([blank.length * rng.normal(0.5, 0.05), blank.width * rng.normal(0.5, 0.15), 0.0])
    low, high = 120.0, 5000.0
    for _ in range(14):
        mid = float(np.sqrt(low * high))
        px, good = lens.project(look(target, mid, tilt, toward, roll).to_camera(ends))
        big = not good.all() or (np.abs((px - size / 2) / (size / 2)).max() > fill)
        low, high = (mid, high) if big else (low, mid)
    return look(target, max(high, 200.0), tilt, toward, roll)


def _labels(stage: Stage, pose: Pose) -> Image:
    """What each sample of the frame shows, (h * OVER, w * OVER)."""
    lens = stage.lens
    rank, order = stage.ranks(pose, (0, 0, lens.width, lens.height))
    kind = np.select([stage.tags[order] == "fish", np.isin(stage.tags[order], ["hand", "thing"])], [FISH, OVER_IT], BOARD)
    return np.where(rank >= 0, kind[np.maximum(rank, 0)], BOARD).astype(np.uint8)


def square_on(frame: Image, labels: Image, lens: Lens, pose: Pose, blank: Blank, off_mm: Array) -> Sample:
    """The frame on the raster, as if the pose were known to ``off_mm`` (shift at either end of the board)."""
    scale = min(WIDTH / (blank.length + 2 * MARGIN_MM), HEIGHT / (blank.width + 2 * MARGIN_MM))
    u, v = np.meshgrid(np.arange(WIDTH), np.arange(HEIGHT))
    x, y = (u + 0.5) / scale - MARGIN_MM, blank.width + MARGIN_MM - (v + 0.5) / scale
    share = np.clip(x / blank.length, 0, 1)
    shift = off_mm[0] * (1 - share)[..., None] + off_mm[1] * share[..., None]
    at = np.stack([x + shift[..., 0], y + shift[..., 1], np.zeros_like(x)], -1).reshape(-1, 3)
    px, good = lens.project(pose.to_camera(at))
    px = np.where(good[:, None], px, -100).reshape(HEIGHT, WIDTH, 2).astype(np.float32)
    step = float(np.linalg.norm(px[HEIGHT // 2, WIDTH // 2 + 4] - px[HEIGHT // 2, WIDTH // 2 - 4])) / 8
    soft = cv2.GaussianBlur(frame, (0, 0), max(0.4 * step, 0.01)) if step > 1.2 else frame
    seen = cv2.remap(soft, px, None, cv2.INTER_LINEAR)  # type: ignore[call-overload]
    label = cv2.remap(labels, px * OVER + (OVER - 1) / 2, None, cv2.INTER_NEAREST)  # type: ignore[call-overload]
    on_raster = (x > -MARGIN_MM) & (x < blank.length + MARGIN_MM) & (y > -MARGIN_MM) & (y < blank.width + MARGIN_MM)
    inside = on_raster & (px > 0).all(-1) & (px < [lens.width - 1, lens.height - 1]).all(-1)
    bx, by = (x * PX_PER_MM - 0.5).astype(np.float32), ((blank.width - y) * PX_PER_MM - 0.5).astype(np.float32)
    plain = cv2.GaussianBlur(blank.picture, (0, 0), max(0.4 * PX_PER_MM / scale, 0.3))
    board = cv2.remap(plain, bx, by, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    on_board = (x >= 0) & (x <= blank.length) & (y >= 0) & (y <= blank.width)
    board[~on_board] = 0
    seen[~inside] = 0
    return Sample(seen, board, np.where(inside, label, BOARD).astype(np.uint8), (inside * 255).astype(np.uint8))


def some_samples(seed: int, frames: int = 3) -> list[Sample]:
    """One scene, filmed ``frames`` times."""
    rng = np.random.default_rng([seed, 77])
    blank = _blank(rng)
    laid = _fish(rng, blank)
    solids: list[Mesh] = clutter(rng, blank.length, blank.width, FLOOR, 14) if rng.random() < 0.4 else []
    solids += [m for fish in laid for m in fish.meshes] + _arms(rng, blank, laid)
    print_ = worn(blank.picture, rng, float(rng.uniform(0, 1.3)))
    if rng.random() < 0.45:
        print_ = _stained(rng, print_, laid, blank)
    shade = np.array(blank.slab) * 0.8
    solids += box(np.array([0.0, 0.0, FLOOR]), np.array([blank.length, blank.width, 0.0]), shade, "slab", 60.0)[:4]
    high = float(rng.uniform(8, 50))
    solids += box(np.array([-float(rng.uniform(4, 25)), 0.0, FLOOR]), np.array([0.0, blank.width, high]), shade, "stop", 25.0)
    dapple = float(rng.uniform(0.4, 0.95)) if rng.random() < 0.3 else 0.0
    sun = SunMap(rng, (blank.length / 2, blank.width / 2), dapple=dapple, shadow=bool(rng.random() < 0.35))
    fisheye = bool(rng.random() < 0.5)
    lens = draw_lens(rng, "any", (512, 288), float(rng.uniform(80, 125) if fisheye else rng.uniform(45, 100)), fisheye)
    water = np.array([95.0, 80, 50])
    top = Top(print_, (0.0, 0.0, blank.length, blank.width))
    mm = float(rng.uniform(420, 1500))
    stage = Stage(lens, any_light(rng), sun, any_ground(rng), mm, FLOOR, top, solids, rng, 1.2, water)
    out = []
    for _ in range(frames):
        pose = _pose(rng, lens, blank)
        off = rng.normal(0, 0.8 if rng.random() < 0.9 else 2.5, (2, 2))
        out.append(square_on(stage.frame(pose), _labels(stage, pose), lens, pose, blank, off))
    return out


def net_input(seen: Image, board: Image, inside: Image) -> NDArray[np.float32]:
    """(8, h, w) float32: the frame and the board in its light, both about zero, where the frame reaches, where the board is.

    The product's own way in must do the same.
    """
    on = (board > 0).any(axis=-1) & (inside > 0)
    frame, plain = seen.astype(np.float32), board.astype(np.float32)
    if on.sum() > 50:
        gain = np.median(frame[on], axis=0) / np.maximum(np.median(plain[on], axis=0), 4.0)
        plain *= np.clip(gain, 0.1, 4.0)
    masks = np.dstack([inside > 0, on]).astype(np.float32)
    return np.concatenate([(frame - 110) / 64, (np.minimum(plain, 255) - 110) / 64, masks], -1).transpose(2, 0, 1)

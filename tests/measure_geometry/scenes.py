"""Boards drawn and filmed by the test itself: an analytic camera, with OpenCV's own undistortion for the rays."""

from pathlib import Path

import cv2
import numpy as np

from reelnotes.measure.lens_model import LensModel
from reelnotes.records.boards import Board

SCALE = 3.0  # px per mm of the pictures


def draw_board(length=500, width=160, bar=50, ink=(150, 70, 30), paper=(225, 235, 235), step=10, first=1, words="LAY IT FLAT"):
    """An empty board, square on: bars in the middle, figures and ticks along the near edge, words on the far one."""
    h, w = round(width * SCALE), round(length * SCALE)
    im = np.full((h, w, 3), paper, np.uint8)
    px = lambda mm: round(mm * SCALE)  # noqa: E731
    for x in range(bar, length, 2 * bar):
        cv2.rectangle(im, (px(x), px(22)), (px(min(x + bar, length)) - 1, px(width - 30)), ink, -1)
    cv2.line(im, (0, px(width - 27)), (w, px(width - 27)), (20, 20, 20), 3)
    for n, x in enumerate(np.arange(step, length, step)):
        long = (n + first) % 5 == 0
        cv2.line(im, (px(x), h), (px(x), h - px(9 if long else 5)), (20, 20, 20), 2)
        if long:
            text = str(n + first)
            (tw, _), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, 1.1, 3)
            cv2.putText(im, text, (px(x) - tw // 2, h - px(11)), cv2.FONT_HERSHEY_SIMPLEX, 1.1, (20, 20, 20), 3, cv2.LINE_AA)
    cv2.putText(im, words, (px(20), px(16)), cv2.FONT_HERSHEY_SIMPLEX, 1.4, (30, 30, 160), 4, cv2.LINE_AA)
    cv2.circle(im, (px(length - 60), px(11)), px(7), (30, 120, 30), -1)
    cv2.circle(im, (px(length - 130), px(11)), px(5), (30, 120, 30), 4)
    return im


def board_on_disk(folder: Path, picture, name="test board") -> Board:
    path = folder / f"{name.replace(' ', '-')}.png"
    cv2.imwrite(str(path), picture)
    h, w = picture.shape[:2]
    return Board(name, w / SCALE, h / SCALE, path, SCALE, (-0.5, h - 0.5))


def rays_of(lens: LensModel) -> np.ndarray:
    """(h, w, 2) undistorted x/z, y/z of every pixel, by OpenCV (not by the code under test)."""
    u, v = np.meshgrid(np.arange(lens.width_px, dtype=np.float64), np.arange(lens.height_px, dtype=np.float64))
    points = np.stack([u, v], -1).reshape(-1, 1, 2)
    undo = cv2.fisheye.undistortPoints if lens.model == "fisheye" else cv2.undistortPoints
    return undo(points, lens.K, np.array(lens.dist)).reshape(lens.height_px, lens.width_px, 2)


def looking(length, width, *, height=520.0, tilt_deg=12.0, turn_deg=8.0, spin_deg=0.0, aside=(0.0, 0.0)):
    """(R, t) of a camera over the middle of a board, ``height`` mm up, tilted about x, turned about y, spun about its axis."""
    down = np.diag([1.0, -1.0, -1.0])
    turn = lambda axis, deg: cv2.Rodrigues(np.radians(deg) * np.eye(3)[axis])[0]  # noqa: E731
    R = turn(2, spin_deg) @ turn(0, tilt_deg) @ turn(1, turn_deg) @ down
    target = np.array([length / 2 + aside[0], width / 2 + aside[1], 0.0])
    return R, np.array([0, 0, height]) - R @ target


def render(picture, lens: LensModel, R, t, *, seed=0, noise=2.0, blur_px=0.0, cover=None, deck=None):
    """Film the picture on a noisy deck. cover: function (x_mm, y_mm) -> mask of what hides the board."""
    rng = np.random.default_rng(seed)
    flat = rays_of(lens)
    rays = np.concatenate([flat, np.ones((*flat.shape[:2], 1))], -1) @ R
    centre = -R.T @ t
    with np.errstate(divide="ignore", invalid="ignore"):
        far = -centre[2] / rays[..., 2]
    far = np.where(np.isfinite(far) & (far > 0), far, 1e7)
    x, y = centre[0] + rays[..., 0] * far, centre[1] + rays[..., 1] * far
    h, w = picture.shape[:2]
    small = cv2.GaussianBlur(picture, (0, 0), 1.2)
    mx, my = (x * SCALE - 0.5).astype(np.float32), (h - 0.5 - y * SCALE).astype(np.float32)
    board = cv2.remap(
        small, np.clip(mx, -10, w + 10), np.clip(my, -10, h + 10), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    texture = cv2.GaussianBlur(rng.normal(0, 1, (256, 256)).astype(np.float32), (0, 0), 2.0)
    texture = np.clip(110 + 120 * texture, 0, 255) if deck is None else deck
    ground = cv2.remap(texture.astype(np.float32), (x % 250).astype(np.float32), (y % 250).astype(np.float32), cv2.INTER_LINEAR)
    on = (x >= 0) & (x <= w / SCALE) & (y >= 0) & (y <= h / SCALE)
    out = np.where(on[..., None], board.astype(np.float32), ground[..., None])
    if cover is not None:
        hidden = cover(x, y)
        out[hidden] = (70 + 25 * np.sin(x / 9) * np.cos(y / 7))[hidden][:, None]
    out = out * 0.85 + 12
    if blur_px:
        out = cv2.GaussianBlur(out, (0, 0), blur_px)
    return np.clip(out + rng.normal(0, noise, out.shape), 0, 255).astype(np.uint8)


def fish(x0, x1, y, half):
    """A spindle that lies along x."""
    return lambda x, y_: ((x - (x0 + x1) / 2) / ((x1 - x0) / 2)) ** 2 + ((y_ - y) / half) ** 2 < 1


WIDE = LensModel("fisheye", 960, 540, 560.0, 560.0, 476.0, 272.0, (0.02, -0.01, 0.0, 0.0))
NARROW = LensModel("pinhole", 960, 540, 760.0, 760.0, 483.0, 268.0, (-0.09, 0.03, 0.0003, -0.0002, 0.0))

"""What a small net sees on the board: fish, and hands or tools over it.

The outline (``outline``) asks what the empty board does not explain; a fish of the board's own colour, an arm across it, a
stain at its tail or a hard shadow beside it can lead it astray. A small convolutional net (U-shaped, Ronneberger et al. 2015;
0.3 million weights) that knows the looks of fish gives a second view of the same picture. It was trained on drawn
scenes only: random boards, light, stains, fish and hands (tests/bench/parts_scenes.py and train_parts.py).

It sees a pixel of one to three millimetres, so it proposes and doubts; it never measures.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.masks import disc
from reelnotes.measure.nets import trained
from reelnotes.measure.rectify import redrawn
from reelnotes.measure.stack import Picture, Stack, greatest
from reelnotes.records.boards import Board

WIDTH, HEIGHT = 384, 192  # pixels that the board and MARGIN_MM around it are fitted into: what the net was trained on
MARGIN_MM = 25.0
_CELL = 32  # the net halves its picture five times
_GREY, _SPREAD = 110.0, 64.0  # grey level and spread that the net takes as 0 and 1
# One look now and then joins a stain or the board behind it to a tail, and another does not: several are averaged. Each is at
# its own size (times the size trained on, which boards of other shapes vary as well), and every second one mirrored across.
_LOOKS = ((0.9, False), (1.0, True), (1.1, False), (1.2, True))
_SURELY, _RIM_MM = 0.8, 4.0  # likeness; from the rim of what is as likely (judgement, no source)
_LEAST_GAIN, _MOST_GAIN = 0.1, 4.0  # of the light that the empty board is shown in; these and the above as in training


@dataclass(frozen=True, eq=False)
class Parts:
    """How likely each pixel of the stack's raster shows these, (h, w) float32 0..1.

    fish  a fish (of several, all)
    over  a hand, an arm or a tool, over the fish or beside it
    maybe_over  the same, as likely as any single look has it: what may hide something
    """

    fish: NDArray[np.float32]
    over: NDArray[np.float32]
    maybe_over: NDArray[np.float32]


def well_inside(parts: Parts, px_per_mm: float) -> NDArray[np.bool_]:
    """(h, w) True well inside what surely is fish or hand: a rim of shade about it, which to the net is fish as well, is not."""
    sure = (np.maximum(parts.fish, parts.over) > _SURELY).astype(np.uint8)
    return cv2.erode(sure, disc(_RIM_MM * px_per_mm), borderValue=1) > 0


def see_parts(stack: Stack, model: BoardModel) -> Parts:
    """Ask the net about a stack of frames; where no frame reaches, nothing is likely."""
    looks = [_look(stack, model, size, mirrored) for size, mirrored in _LOOKS]
    fish, over = zip(*looks, strict=True)
    return Parts(sum(fish) / len(looks), sum(over) / len(looks), np.maximum.reduce(over))


def _look(stack: Stack, model: BoardModel, size: float, mirrored: bool) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """One look of the net, at the board ``size`` times as large as usual: fish, and what is over it, on the stack's raster."""
    raster = Raster.over(model.board, size / pixel_mm(model.board), MARGIN_MM)
    seen = redrawn(stack.image, stack.raster, raster)
    inside = redrawn(stack.seen.astype(np.float32), stack.raster, raster) > 0.5
    seen[~inside] = 0.0
    plain = model.picture_on(raster).astype(np.float32)
    plain[~model.on_board(raster)] = 0.0
    views = _views(seen, plain, inside)
    logits = _answer(np.ascontiguousarray(views[:, ::-1]))[:, ::-1] if mirrored else _answer(views)
    odds = np.exp(logits - logits.max(axis=0))
    likely = cv2.merge(list(odds[1:] * (inside / odds.sum(axis=0))))
    fish, over = cv2.split(redrawn(likely, raster, stack.raster))
    return fish.astype(np.float32, copy=False), over.astype(np.float32, copy=False)


def pixel_mm(board: Board) -> float:
    """The side of what the net sees as one pixel."""
    return max((board.length_mm + 2 * MARGIN_MM) / WIDTH, (board.width_mm + 2 * MARGIN_MM) / HEIGHT)


def _views(seen: Picture, plain: Picture, inside: NDArray[np.bool_]) -> NDArray[np.float32]:
    """(8, h, w): the frame and the empty board in its light, where the frame reaches, where the board is."""
    on = (greatest(plain) > 0) & inside
    if on.any():
        gain = np.median(seen[on], axis=0) / np.maximum(np.median(plain[on], axis=0), 4.0)
        plain = plain * np.clip(gain, _LEAST_GAIN, _MOST_GAIN)
    views = np.empty((8, *inside.shape), np.float32)
    for i, channel in enumerate((*cv2.split(seen), *cv2.split(np.minimum(plain, 255.0)))):
        views[i] = (channel - _GREY) * (1.0 / _SPREAD)
    views[6], views[7] = inside, on
    return views


def _answer(views: NDArray[np.float32]) -> NDArray[np.float32]:
    """(3, h, w) logits of board, fish, hands. Beyond the picture the net is shown what it was shown in training: nothing."""
    _, h, w = views.shape
    nothing = -_GREY / _SPREAD
    wide = np.zeros((8, -(-h // _CELL) * _CELL, -(-w // _CELL) * _CELL), np.float32)
    wide[:6] = nothing
    wide[:, :h, :w] = views
    net = trained("parts")
    net.setInput(wide[None])
    four = np.asarray(net.forward())[0]  # (12, h / 2, w / 2): the kinds of the first of four pixels first
    small = four.shape[1:]
    pixels = four.reshape(2, 2, 3, *small).transpose(2, 3, 0, 4, 1).reshape(3, 2 * small[0], 2 * small[1])
    return pixels[:, :h, :w].astype(np.float32)

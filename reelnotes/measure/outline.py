"""The fish against the board: what of the picture the empty board does not explain, and which piece of it is the fish.

No colour is assumed of the fish. A pixel speaks for "something lies here" by how far it is from what the
board would show there, in units of what noise, a small misfit of the print and uneven light could do.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_match import BoardMatch, colour_doubt, match_board
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.light import printed
from reelnotes.measure.stack import Mask, Picture, Stack, greatest, least, summed

SMALLEST_FISH_MM = 60.0
_LEVELS = (1.0, 1.5, 2.3, 3.5)  # times what is a little strange


@dataclass(frozen=True, eq=False)
class Blob:
    """One connected piece that is not board: its mask on the raster, and its box in board millimetres."""

    mask: Mask
    x_low_mm: float
    x_high_mm: float
    y_low_mm: float
    y_high_mm: float
    area_mm2: float
    touches_sides: float  # how much of its outline (mm) lies on the board's long edges
    elongation: float  # length over width of the smallest turned box
    strength: float  # median strangeness

    @property
    def length_mm(self) -> float:
        """Extent along the board."""
        return self.x_high_mm - self.x_low_mm


@dataclass(frozen=True, eq=False)
class Outline:
    """What lies on the board, coarsely.

    score  (h, w) float32: distance from the empty board in units of what may be by chance
    layers the pieces, largest first, at rising levels of strangeness: stains drop out of the later ones
    firm   (h, w) what no light on the board explains
    """

    match: BoardMatch
    score: NDArray[np.float32]
    on_board: Mask
    layers: tuple[tuple[Blob, ...], ...]
    firm: Mask


def find_outline(stack: Stack, model: BoardModel, hidden: Mask | None = None) -> Outline:
    """Match the board's picture to the stack and collect the pieces that it does not explain.

    hidden  (h, w) True where the board is known to be hidden: what is seen there tells nothing of the light upon it
    """
    scale = stack.raster.px_per_mm
    on_board = model.on_board(stack.raster) & stack.seen
    # The outermost millimetre or two is edge, lip and shadow of the stop's foot, and says nothing.
    rim = max(1, round(1.5 * scale))
    on_board = cv2.erode(on_board.astype(np.uint8), np.ones((2 * rim + 1, 2 * rim + 1), np.uint8), borderValue=0) > 0
    picture = model.picture_on(stack.raster)
    match = match_board(stack.image, picture, on_board, on_board if hidden is None else on_board & ~hidden, scale)
    doubt = stack.noise + colour_doubt(match, picture)
    score = strangeness(stack.image, match.expected, doubt, on_board)
    plain_score = strangeness(stack.image, match.smooth, doubt, on_board)
    layers = []
    for level in _LEVELS:
        mask = _grown(score, match.trust, level)
        mask |= _not_shadow(_grown(plain_score, match.trust, level) & ~mask, stack, match, on_board)
        layers.append(tuple(_blobs(_tidied(mask & on_board, on_board, scale), score, stack, model)))
    return Outline(match, score, on_board, tuple(layers), _tidied(_grown(score, match.trust, 1.5) & on_board, on_board, scale))


def strangeness(image: Picture, expected: Picture, doubt: NDArray[np.float32], where: Mask) -> NDArray[np.float32]:
    """(h, w) residual over its tolerance: noise, the inks' doubt, half a pixel of the print's misfit, a tenth of the light."""
    off = np.sqrt(summed((image - expected) ** 2) / 3.0)
    level = summed(expected) / 3.0
    blurred = cv2.GaussianBlur(expected, (0, 0), 0.8)
    across, along = (cv2.Sobel(blurred, cv2.CV_32F, *order, scale=0.125) for order in ((1, 0), (0, 1)))
    slope = greatest(cv2.magnitude(across, along).astype(np.float32, copy=False))
    burnt = least(image) > 248.0  # a glint shows nothing, neither board nor fish
    tolerance = 3.0 + 0.07 * level + 0.8 * cv2.dilate(slope, np.ones((3, 3), np.uint8)) + 0.7 * doubt
    smooth = cv2.GaussianBlur(off, (0, 0), 0.7)
    return np.where(where & ~burnt, smooth / tolerance, 0.0).astype(np.float32)


def _grown(score: NDArray[np.float32], trust: NDArray[np.float32], level: float) -> Mask:
    """Hysteresis: pixels a little strange that hang together with very strange ones.

    What is a little strange depends on how well the board is explained where it lies bare.
    """
    bare = score[trust > 0.8]
    weak = float(np.clip(3.0 * np.percentile(bare, 90), 0.5, 1.0)) if len(bare) else 1.0
    count, labels = cv2.connectedComponents((score > weak * level).astype(np.uint8), connectivity=8)
    keep = np.zeros(count, bool)
    keep[np.unique(labels[score > 2.0 * level])] = True
    keep[0] = False
    return keep[labels]


def _not_shadow(pieces: Mask, stack: Stack, match: BoardMatch, on_board: Mask) -> Mask:
    """Pieces that only a light with hard edges explains: a shadow where they run along the board's edges or the print
    shows in them, else fish."""
    scale = stack.raster.px_per_mm
    inner = cv2.erode(on_board.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=2, borderValue=0) > 0
    count, labels = cv2.connectedComponents(pieces.astype(np.uint8), connectivity=4)
    touching = np.bincount(labels[on_board & ~inner], minlength=count) / 2.0 / scale
    keep = touching < 15.0
    keep[0] = False
    return keep[labels] & ~printed(pieces, stack.image, match.expected, 200.0 * scale**2)


def _tidied(mask: Mask, on_board: Mask, px_per_mm: float) -> Mask:
    """Small gaps closed, holes filled, specks and thin threads removed.

    A hole that runs along the board's edge is no flank of a pale fish but board within the rim of a shadow: it stays.
    """
    close = max(1, round(2.5 * px_per_mm))
    ring = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * close + 1, 2 * close + 1))
    framed = cv2.copyMakeBorder(mask.astype(np.uint8), close, close, close, close, cv2.BORDER_CONSTANT)
    closed = cv2.morphologyEx(framed, cv2.MORPH_CLOSE, ring)[close:-close, close:-close]
    outer, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros_like(closed)
    cv2.drawContours(filled, outer, -1, 1, cv2.FILLED)
    filled[_along_edges((filled > 0) & (closed == 0), on_board, px_per_mm)] = 0
    thin = max(1, round(1.0 * px_per_mm))
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * thin + 1, 2 * thin + 1))
    return cv2.morphologyEx(filled, cv2.MORPH_OPEN, brush) > 0


def _along_edges(holes: Mask, on_board: Mask, px_per_mm: float) -> Mask:
    """The holes that come within 6 mm of the board's edges over 40 mm or more."""
    near = 2 * max(1, round(6.0 * px_per_mm)) + 1
    rim = on_board & (cv2.erode(on_board.astype(np.uint8), np.ones((near, near), np.uint8), borderValue=0) == 0)
    count, labels = cv2.connectedComponents(holes.astype(np.uint8), connectivity=4)
    long = np.zeros(count, bool)
    for i in np.unique(labels[rim & holes]):
        long[i] = (rim & (labels == i)).any(axis=0).sum() > 40.0 * px_per_mm
    long[0] = False
    return long[labels]


def _blobs(mask: Mask, score: NDArray[np.float32], stack: Stack, model: BoardModel) -> list[Blob]:
    scale, board = stack.raster.px_per_mm, model.board
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    found = []
    for i in range(1, count):
        area = stats[i, cv2.CC_STAT_AREA] / scale**2
        if area < 150.0:
            continue
        left, top, wide, high = stats[i, :4]
        box = np.s_[top : top + high, left : left + wide]
        piece = labels[box] == i
        first, last = stack.raster.to_mm(np.array([[left, top + high - 1], [left + wide - 1, top]]))
        y = stack.raster.to_mm(np.stack([np.zeros(high), np.arange(top, top + high)], axis=-1))[:, 1]
        at_sides = (y < 1.5 + 2.0 / scale) | (y > board.width_mm - 1.5 - 2.0 / scale)
        sides = float(piece[at_sides].sum()) / scale
        mask = np.zeros(labels.shape, bool)
        mask[box] = piece
        strength = float(np.median(score[box][piece]))
        found.append(Blob(mask, first[0], last[0], first[1], last[1], area, sides, _elongation(piece), strength))
    return sorted(found, key=lambda blob: -blob.area_mm2)


def _elongation(piece: Mask) -> float:
    """Length over width of the smallest turned box around a mask without empty rows; each row's ends are all that it needs."""
    rows, high = np.arange(len(piece)), len(piece[0]) - 1
    ends = np.concatenate([piece.argmax(axis=1), high - piece[:, ::-1].argmax(axis=1)])
    sides = cv2.minAreaRect(np.stack([ends, np.tile(rows, 2)], axis=-1).astype(np.float32))[1]
    return max(sides) / max(min(sides), 1.0)

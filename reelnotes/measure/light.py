"""Light with hard edges: sun and shade on one board.

A slowly varying gain cannot follow the edge of a shadow, and leaves a false strip along it, or the whole
side of the lesser light. Here the light is let grow: a pixel takes the gain of trusted board pixels near by
*of about its own brightness*, so that sun speaks to sun and shade to shade (``light_grid``). A light that has
no trusted pixel yet is begun where the print comes out right under it, in a piece that reaches the board's edges.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.light_grid import lights_of_like
from reelnotes.measure.stack import Mask, Picture, summed

_ROUNDS = 4  # in which trusted light spreads to its like
_WIDTHS, _LIGHTS = (0.3, 0.2), 5  # how far, in powers of two, pixels of one light lie about their mean; how many are looked for
_INK = 14.0  # levels by which two inks must differ in a piece, root mean square about their mean
_HALF = 14.0  # residual (of 255) at which a pixel counts half
Weight = NDArray[np.float32]
_Pieces = tuple[NDArray[np.int32], NDArray[np.int32]]


def grow_light(
    image: Picture, plain: Picture, gain: Picture, trust: Weight, where: Mask, px_per_mm: float
) -> tuple[Picture, Weight]:
    """Let trusted light spread to its like: (gain, trust) anew, both (h, w, ...) on the same raster.

    plain  the board in the camera's colours under a light of one
    """
    # The light is smooth: it is let grow on every fourth pixel, and only its last round is worked out for all.
    image_2, plain_2, gain_2, trust_2 = (np.ascontiguousarray(a[::2, ::2]) for a in (image, plain, gain, trust))
    ratio_2 = _brightness(image_2, plain_2)
    for _ in range(_ROUNDS - 1):
        lights = lights_of_like(image_2, plain_2, trust_2, ratio_2, 3.5 * px_per_mm)
        gain_2 = lights.let_grow(gain_2, ratio_2)
        trust_2 = (_trusted(image_2, plain_2, gain_2) * where[::2, ::2]).astype(np.float32)
    lights = lights_of_like(image_2, plain_2, trust_2, ratio_2, 3.5 * px_per_mm)
    ratio = _brightness(image, plain)
    gain = cv2.resize(gain_2, trust.shape[::-1], interpolation=cv2.INTER_LINEAR).astype(np.float32)
    gain = lights.let_grow(gain, ratio)
    trust = (_trusted(image, plain, gain) * where).astype(np.float32)
    return _across_edges(image, plain, gain, trust, ratio, where, px_per_mm)


def _across_edges(
    image: Picture, plain: Picture, gain: Picture, trust: Weight, ratio: Weight, where: Mask, px_per_mm: float
) -> tuple[Picture, Weight]:
    """The soft edge of a shadow: between two lights that are trusted within a few millimetres, any mix of them is light too."""
    size = 2 * max(2, round(9 * px_per_mm)) + 1
    box = np.ones((size, size), np.uint8)
    brightest = cv2.dilate(np.where(trust > 0.5, ratio, 0.0).astype(np.float32), box)
    darkest = cv2.erode(np.where(trust > 0.5, ratio, 9.0).astype(np.float32), box)
    between = (trust < 0.5) & where & (darkest < 0.8 * brightest) & (ratio > 0.95 * darkest) & (ratio < 1.05 * brightest)
    around = cv2.GaussianBlur(gain, (0, 0), 4 * px_per_mm).astype(np.float32, copy=False)
    tint = (around / np.maximum(summed(around)[..., None] / 3.0, 1e-3)).astype(np.float32, copy=False)
    mixed = (tint * (ratio / np.maximum(_brightness(plain * tint, plain), 1e-3))[..., None]).astype(np.float32)
    fits = between & (_trusted(image, plain, mixed) > 0.25)
    return np.where(fits[..., None], mixed, gain).astype(np.float32), np.where(fits, 0.6, trust).astype(np.float32)


def begin_lights(image: Picture, plain: Picture, trust: Weight, where: Mask, px_per_mm: float) -> tuple[Picture, Mask]:
    """Pieces of board under another light than the trusted one: (their gain, where).

    A piece qualifies when one light explains it closely and either it covers more than 3 % of the board and runs along the
    board's edges for 30 mm or more, or the print shows in it: two inks, each as bright and as coloured as that one light
    makes it. Shadows do either, a fish at the stop does neither.
    """
    gain, begun = np.ones_like(image), np.zeros(where.shape, bool)
    border = where & (cv2.erode(where.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=2, borderValue=0) == 0)
    unlit = where & (cv2.GaussianBlur(trust, (0, 0), 2 * px_per_mm) < 0.3)
    seen, board = image[unlit], plain[unlit]
    products, squares = seen * board, board * board
    looks = _Looks(seen, board, products, squares)
    for width in _WIDTHS:
        free = ~begun[unlit]
        for _ in range(_LIGHTS):
            if free.sum() < 0.01 * where.sum():
                break
            near = looks.commonest(free, width)
            own = _one_gain(products[near], squares[near])
            fits = free & (agreement(seen[:, None], (board * own)[:, None], _HALF)[:, 0] > 0.5)
            lit = np.zeros(where.shape, bool)
            lit[unlit] = fits
            pieces = _pieces(lit)
            piece = _reaching(lit, pieces, border, 0.03 * float(where.sum()), 30.0 * px_per_mm)
            piece |= _printed(lit, pieces, image, plain, 400.0 * px_per_mm**2, own)
            gain[piece] = own
            begun |= piece
            free &= ~(near | fits)
    return gain, begun


class _Looks:
    """How bright and how red pixels (n, 3) are against the board's, and which of that is the commonest."""

    def __init__(self, seen: Weight, board: Weight, products: Weight, squares: Weight) -> None:
        level = np.log2(np.clip(products.sum(axis=1) / np.maximum(squares.sum(axis=1), 1.0), 0.02, 8.0))
        # A light changes all inks' hue alike: how much redder than the board everything is tells shade from a fish as dark.
        redder = np.log2((seen[:, 2] + 4.0) * (board[:, 0] + 4.0) / ((seen[:, 0] + 4.0) * (board[:, 2] + 4.0)))
        self.level, self.redder = np.clip(level, -3.9, 1.9), np.clip(redder, -1.9, 1.9)
        self.cell = ((self.level + 4.0) / 0.15).astype(int) * 20 + ((self.redder + 2.0) / 0.2).astype(int)  # of 40 x 20

    def commonest(self, free: Mask, width: float) -> Mask:
        """The pixels of ``free``, which must hold some, within ``width`` of its commonest brightness and hue."""
        counts = np.bincount(self.cell[free], minlength=800).reshape(40, 20).astype(np.float32)
        top = np.unravel_index(np.argmax(cv2.blur(counts, (3, 3))), counts.shape)
        level, redder = -4.0 + 0.15 * (top[0] + 0.5), -2.0 + 0.2 * (top[1] + 0.5)
        near = free & (np.abs(self.level - level) < width) & (np.abs(self.redder - redder) < width)
        return near if near.any() else free


def _brightness(image: Picture, plain: Picture) -> Weight:
    return (summed(image * plain) / np.maximum(summed(plain * plain), 1.0)).astype(np.float32)


def agreement(image: Picture, expected: Picture, half: float) -> Weight:
    """(h, w) 0..1: Tukey's biweight of the residual, about a half at ``half`` levels, in proportion less where it is dark.

    It falls to nothing, so that a large piece of almost the board's colour cannot pull the light over to itself.
    """
    seen = np.minimum(expected, 255.0)
    off = image - seen
    bound = 1.9 * half * np.clip(summed(seen) / 330.0, 0.35, 1.0)
    return (np.clip(1.0 - summed(off * off) / (bound * bound), 0.0, None) ** 2).astype(np.float32)


def _trusted(image: Picture, plain: Picture, gain: Picture) -> Weight:
    return agreement(image, plain * gain, _HALF)


def _one_gain(products: Weight, squares: Weight) -> Weight:
    """(3,) the one light, from (n, 3) seen times board and board squared."""
    above, below = products.sum(axis=0), squares.sum(axis=0)
    grey = above.sum() / max(float(below.sum()), 1.0)
    return ((above + 0.05 * below.sum() * grey) / (below + 0.05 * below.sum())).astype(np.float32)


def _pieces(fits: Mask) -> _Pieces:
    """Labels of what hangs together over small gaps, and OpenCV's statistics of each."""
    closed = cv2.morphologyEx(fits.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    _, labels, stats, _ = cv2.connectedComponentsWithStats(closed, connectivity=4)
    return labels.astype(np.int32, copy=False), stats.astype(np.int32, copy=False)


def _reaching(fits: Mask, pieces: _Pieces, border: Mask, area_px: float, contact_px: float) -> Mask:
    """The pieces that cover enough and run along the border for long enough."""
    labels, stats = pieces
    touching = np.bincount(labels[border], minlength=len(stats)) / 2.0  # the border is two pixels deep
    good = (stats[:, cv2.CC_STAT_AREA] > area_px) & (touching > contact_px)
    good[0] = False
    return good[labels] & fits


def printed(fits: Mask, image: Picture, expected: Picture, area_px: float) -> Mask:
    """The pieces of ``fits`` in which the print shows: it varies there, and what is seen varies with it, by as much."""
    return _printed(fits, _pieces(fits), image, expected, area_px, np.ones(3, np.float32))


def _printed(fits: Mask, pieces: _Pieces, image: Picture, plain: Picture, area_px: float, light: Weight) -> Mask:
    """The same of ``pieces`` of it; expected is the board under one light, (3,)."""
    labels, stats = pieces
    shows = np.zeros(len(stats), bool)
    for i in np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] > area_px) + 1:
        x, y, wide, high = stats[i, :4]
        box = np.s_[y : y + high, x : x + wide]
        inside = (labels[box] == i) & fits[box]
        if not inside.any():
            continue
        print_ = plain[box][inside] * light
        off = image[box][inside] - print_
        spread, left = float(print_.var(axis=0).sum()), float(off.var(axis=0).sum())
        shows[i] = spread > _INK**2 and left < 0.25 * spread
    return shows[labels] & fits

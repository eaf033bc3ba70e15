"""Light with hard edges: sun and shade on one board.

A slowly varying gain cannot follow the edge of a shadow, and leaves a false strip along it, or the whole
side of the lesser light. Here the light is let grow: a pixel takes the gain of trusted board pixels near by
*of about its own brightness*, so that sun speaks to sun and shade to shade (``light_grid``). A light that has
no trusted pixel yet is begun where the print comes out right under it, in a piece that reaches the board's edges.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.light_grid import lights_of_like
from reelnotes.measure.stack import Mask, Picture, summed

_ROUNDS = 4  # in which trusted light spreads to its like
_NEAR_MM = 7.0  # how far (standard deviation) a pixel's like may be
_WIDTHS, _LIGHTS = (0.3, 0.2), 5  # how far, in powers of two, pixels of one light lie about their mean; how many are looked for
_INK = 14.0  # levels by which two inks must differ in a piece, root mean square about their mean
_HALF = 14.0  # residual (of 255) at which a pixel counts half
Weight = NDArray[np.float32]
_Pieces = tuple[NDArray[np.int32], NDArray[np.int32]]


@dataclass(frozen=True, eq=False)
class Lit:
    """A board under its light, on one raster.

    image  (h, w, 3) as seen; plain: the board in the camera's colours under a light of one
    gain   (h, w, 3) the light of each place, a factor
    trust  (h, w) 0..1: how well a pixel agrees with the board under it
    where  (h, w) True where the board's surface should be in sight
    """

    image: Picture
    plain: Picture
    gain: Picture
    trust: Weight
    where: Mask


def grow_light(lit: Lit, some: tuple[slice, slice], px_per_mm: float) -> tuple[Picture, Weight]:
    """Let trusted light spread to its like: (gain, trust) anew.

    some  rows and columns, evenly spread: the light is smooth, and is let grow on them; only its last round is worked out for all
    """
    image, plain, gain, trust = (np.ascontiguousarray(a[some]) for a in (lit.image, lit.plain, lit.gain, lit.trust))
    few = Lit(image, plain, gain, trust, lit.where[some])
    size = lit.where.shape[::-1]
    scale = px_per_mm * few.where.shape[1] / size[0]
    ratio = _brightness(few.image, few.plain)
    for _ in range(_ROUNDS - 1):
        gain = lights_of_like(few.image, few.plain, few.trust, ratio, _NEAR_MM * scale).let_grow(few.gain, ratio)
        few = replace(few, gain=gain, trust=_trusted(few.image, few.plain, gain) * few.where)
    lights = lights_of_like(few.image, few.plain, few.trust, ratio, _NEAR_MM * scale)
    ratio = _brightness(lit.image, lit.plain)
    gain = cv2.resize(few.gain, size, interpolation=cv2.INTER_LINEAR).astype(np.float32, copy=False)
    gain = lights.let_grow(gain, ratio)
    every = replace(lit, gain=gain, trust=_trusted(lit.image, lit.plain, gain) * lit.where)
    return _across_edges(every, ratio, few.where.shape[0], scale)


def _across_edges(lit: Lit, ratio: Weight, few: int, px_per_mm: float) -> tuple[Picture, Weight]:
    """The soft edge of a shadow: between two lights that are trusted within a few millimetres, any mix of them is light too.

    few, px_per_mm  rows, and pixels to a millimetre, of a smaller raster on which lights near by are looked for
    """
    size = lit.where.shape[::-1]
    small = max(1, round(size[0] * few / size[1])), few
    box = np.ones((2 * max(2, round(9 * px_per_mm)) + 1,) * 2, np.uint8)
    known = lit.trust > 0.5
    ends = []
    for absent, spread in ((0.0, cv2.dilate), (9.0, cv2.erode)):
        some = cv2.resize(np.where(known, ratio, np.float32(absent)), small, interpolation=cv2.INTER_NEAREST)
        ends.append(cv2.resize(spread(some, box), size, interpolation=cv2.INTER_NEAREST))
    brightest, darkest = ends
    between = ~known & lit.where & (darkest < 0.8 * brightest) & (ratio > 0.95 * darkest) & (ratio < 1.05 * brightest)
    if not between.any():
        return lit.gain, lit.trust
    around = cv2.GaussianBlur(cv2.resize(lit.gain, small, interpolation=cv2.INTER_AREA), (0, 0), 4 * px_per_mm)
    around = cv2.resize(around, size, interpolation=cv2.INTER_LINEAR)
    near: Picture = around[between][:, None].astype(np.float32, copy=False)
    image, plain, at = lit.image[between][:, None], lit.plain[between][:, None], ratio[between][:, None]
    tint = (near / np.maximum(summed(near)[..., None] / 3.0, 1e-3)).astype(np.float32, copy=False)
    mixed = (tint * (at / np.maximum(_brightness(plain * tint, plain), 1e-3))[..., None]).astype(np.float32, copy=False)
    fits = _trusted(image, plain, mixed)[:, 0] > 0.25
    gain, trust, soft = lit.gain.copy(), lit.trust.copy(), np.zeros_like(between)
    soft[between] = fits
    gain[soft], trust[soft] = mixed[fits, 0], 0.6
    return gain, trust


def begin_lights(image: Picture, plain: Picture, trust: Weight, where: Mask, px_per_mm: float) -> tuple[Picture, Mask]:
    """Pieces of board under another light than the trusted one: (their gain, where).

    A piece qualifies when one light explains it closely and either it covers more than 3 % of the board and runs along the
    board's edges for 30 mm or more, or the print shows in it: two inks, each as bright and as coloured as that one light
    makes it. Shadows do either, a fish at the stop does neither.
    """
    border = where & (cv2.erode(where.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=0) == 0)
    unlit = where & (cv2.GaussianBlur(trust, (0, 0), 2 * px_per_mm) < 0.3)
    gain, begun, area = np.ones_like(image), np.zeros(where.shape, bool), float(where.sum())
    box = _around(unlit)
    # What is written into a part of gain and begun is written into them.
    _begin(image[box], plain[box], gain[box], begun[box], unlit[box], border[box], area, px_per_mm)
    return gain, begun


def _around(mask: Mask) -> tuple[slice, slice]:
    """The rows and columns of a mask, and two more on all sides, over which gaps are closed."""
    rows, columns = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
    if not len(rows):
        return np.s_[:0, :0]
    return np.s_[max(rows[0] - 2, 0) : rows[-1] + 3, max(columns[0] - 2, 0) : columns[-1] + 3]


def _begin(
    image: Picture, plain: Picture, gain: Picture, begun: Mask, unlit: Mask, border: Mask, area: float, px_per_mm: float
) -> None:
    """Write the lights begun into ``gain``, and where into ``begun``.

    unlit, border  what no trusted light reaches, and the board's edges; area: of the board, pixels
    """
    seen, board = image[unlit], plain[unlit]
    products, squares = seen * board, board * board
    looks = _Looks(seen, board, products, squares)
    for width in _WIDTHS:
        free = ~begun[unlit]
        for _ in range(_LIGHTS):
            if free.sum() < 0.01 * area:
                break
            near = looks.commonest(free, width)
            own = _one_gain(products[near], squares[near])
            fits = np.zeros_like(free)
            fits[free] = agreement(seen[free][:, None], (board[free] * own)[:, None], _HALF)[:, 0] > 0.5
            lit = np.zeros(unlit.shape, bool)
            lit[unlit] = fits
            pieces = _pieces(lit)
            piece = _reaching(lit, pieces, border, 0.03 * area, 30.0 * px_per_mm)
            piece |= _printed(lit, pieces, image, plain, 400.0 * px_per_mm**2, own)
            gain[piece] = own
            begun |= piece
            free &= ~(near | fits)


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

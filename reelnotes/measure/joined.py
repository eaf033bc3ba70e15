"""What may be joined to a fish in one piece: an arm, a stain, the veil of a glint; and the piece without it.

These are second thoughts, for a piece whose end looks like no tail. Each yields the piece as it would be without one
such thing; whether its end is a tail then, the tail's own shape decides.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.masks import disc, grown, opened
from reelnotes.measure.outline import Outline
from reelnotes.measure.stack import Mask, Stack, greatest, least
from reelnotes.records.boards import Board

_EDGE_MM = 6.0  # an arm is seen where it comes in over the board's edge
_ARM_MM = 15.0  # and is at least this wide there
_WIDEST_ARM_MM = 130.0  # and at most this, aslant: what lies along an edge for longer is something else, a second fish say
_COLOURS = 6  # kinds that a piece's pixels are parted into, so that an arm's are found by those at the board's edge
_BRIDGED = 0.4  # of the gap between two parts that an arm must cover for them to be one fish
_LEAST_LEFT = 0.8  # of the length: stains and veils that are longer are not told from a tail
_BURNT = 245.0  # a channel this high tells nothing
# CIELAB units (a, b) by which blood stands out from a fish; tails of their own colour reach 18. Tails with tips more strongly
# coloured than that come as check. Judgement, no source.
OTHER_HUE = 22.0
_DARK_COUNTS = 0.5  # lightness changes over a hand more than its hue does


@dataclass(frozen=True, eq=False)
class Parted:
    """A piece without what was joined to it.

    mask     (h, w) what is left; what an arm cut asunder is bridged under it
    covered  (h, w) where an arm lies: nothing can be told of the fish there (a stain or a veil covers nothing)
    """

    mask: Mask
    covered: Mask


def parted(mask: Mask, outline: Outline, stack: Stack, board: Board) -> Iterator[Parted]:
    """The piece ``mask`` without arms, without a stain behind its tail, without the veil of a glint,
    without what has another hue: what applies of these."""
    for made in (_without_arms(mask, stack, board), _without_stain(mask, outline, stack), _without_veil(mask, outline, stack),
                 _without_other_hue(mask, stack)):  # fmt: skip
        if made is not None and made.mask.any():
            yield made


def _without_arms(mask: Mask, stack: Stack, board: Board) -> Parted | None:
    """Hands belong to arms, arms come in over the board's edges: what has the colours seen there and hangs together with it."""
    scale = stack.raster.px_per_mm
    contact = mask & _rim(stack, board)
    inner = contact & (cv2.erode(mask.astype(np.uint8), disc(2.5 * scale), borderValue=1) > 0)
    if inner.sum() < _ARM_MM * _EDGE_MM * scale**2 * 0.5:
        return None
    kinds = _colour_kinds(mask, stack)
    counts = np.bincount(kinds[inner], minlength=_COLOURS + 1)
    arm = np.isin(kinds, np.flatnonzero(counts > 0.06 * counts.sum())) & mask
    arm = opened(arm, 1.5 * scale)
    arm = _hanging_together(arm, inner & ~_longer(inner & arm, _WIDEST_ARM_MM * scale))
    if not arm.any() or arm.sum() > 0.9 * mask.sum():
        return None
    covered = grown(arm, 2.0 * scale)
    return Parted(bridged(_solid(mask & ~covered, scale), covered), covered)


def bridged(parts: Mask, covered: Mask) -> Mask:
    """The parts of a fish on either side of an arm, and their hull under it: those in line with the one nearest to the stop
    and parted from it by the arm in good part (the rest of a pale hand may pass for board)."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(parts.astype(np.uint8), connectivity=8)
    if count < 2:
        return parts
    order = sorted(range(1, count), key=lambda i: int(stats[i, cv2.CC_STAT_LEFT]))
    whole: Mask = np.asarray(labels == _head(order, np.asarray(stats, np.int32)))
    for i in order:
        part: Mask = np.asarray(labels == i)
        if whole[part].all() or not _in_line(whole, part):
            continue
        between = _hull(np.argwhere(whole)[:, ::-1], np.argwhere(part)[:, ::-1], parts.shape) & ~whole & ~part
        if not between.any() or covered[between].mean() > _BRIDGED:
            whole = whole | part | (between & covered)
    return whole


def _head(order: list[int], stats: NDArray[np.int32]) -> int:
    """The part to begin with: the one that starts nearest to the stop, or the next if that is larger and lies beside it."""
    first = order[0]
    if len(order) == 1:
        return first
    beside = stats[order[1], cv2.CC_STAT_LEFT] < stats[first, cv2.CC_STAT_LEFT] + stats[first, cv2.CC_STAT_WIDTH]
    larger = stats[order[1], cv2.CC_STAT_AREA] > stats[first, cv2.CC_STAT_AREA]
    return order[1] if beside and larger else first


def _in_line(a: Mask, b: Mask) -> bool:
    """Whether two parts share some of the board's breadth."""
    rows, more = (np.flatnonzero(m.any(axis=1)) for m in (a, b))
    return bool(more[-1] >= rows[0] and more[0] <= rows[-1])


def _hull(a: NDArray[np.intp], b: NDArray[np.intp], shape: tuple[int, ...]) -> Mask:
    """What lies between two parts, (n, 2) column, row: the hull of the first's rear end and the second's front end."""
    rear = a[a[:, 0] >= a[:, 0].max() - 4]
    front = b[b[:, 0] <= b[:, 0].min() + 4]
    filled = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(filled, cv2.convexHull(np.concatenate([rear, front]).astype(np.int32)), 1)
    return filled > 0


def _colour_kinds(mask: Mask, stack: Stack) -> NDArray[np.int32]:
    """(h, w) 1.._COLOURS: which of a few colours (k-means in CIELAB) a pixel of the piece has; 0 outside."""
    lab = cv2.cvtColor((stack.image / 255.0).astype(np.float32), cv2.COLOR_BGR2LAB)
    pixels = (lab[mask] * [_DARK_COUNTS, 1.0, 1.0]).astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 30, 0.5)
    cv2.setRNGSeed(1)  # the same clip gives the same answer
    few = min(_COLOURS, len(pixels))
    _, labels, _ = cv2.kmeans(pixels, few, np.zeros(0, np.int32), stop, 3, cv2.KMEANS_PP_CENTERS)
    kinds = np.zeros(mask.shape, np.int32)
    kinds[mask] = labels.ravel() + 1
    return kinds


def _without_stain(mask: Mask, outline: Outline, stack: Stack) -> Parted | None:
    """A stain lets the board through, a tail does not: the piece without its hindmost part, if that is of the less strange of
    two kinds (Otsu 1979)."""
    scale = stack.raster.px_per_mm
    rear = _rear(mask)
    if rear.sum() < 50:
        return None
    # Along the print nothing is strange, for the print may be misplaced: such lines across the tail are bridged.
    score = cv2.morphologyEx(np.clip(outline.score, 0.0, 12.0), cv2.MORPH_CLOSE, disc(3.0 * scale))
    level, _ = cv2.threshold((score[rear] * 20).astype(np.uint8).reshape(-1, 1), 0, 255, cv2.THRESH_OTSU)
    weak = opened(rear & (score <= level / 20.0), 1.2 * scale)
    last = np.zeros_like(mask)
    last[:, np.flatnonzero(mask.any(axis=0))[-1] - max(3, round(4 * scale)) :] = True
    stain = _hanging_together(weak, weak & last)
    return _not_short(mask, _solid(mask & ~stain, scale)) if stain.any() else None


def _without_veil(mask: Mask, outline: Outline, stack: Stack) -> Parted | None:
    """Around a glint its veil lies on the board: lighter than the board in every colour, by nearly the same in each."""
    scale = stack.raster.px_per_mm
    burnt = outline.on_board & (least(stack.image) > _BURNT)
    if burnt.sum() < 50.0 * scale**2:
        return None
    near = grown(burnt, 30.0 * scale)
    more = stack.image - outline.match.smooth
    low, most = least(more), greatest(more)
    lit = near & mask & (low > 0.0) & ((most - low < 0.6 * most) | (greatest(stack.image) > _BURNT))
    lit = opened(lit, 1.0 * scale)
    if lit.sum() < 20.0 * scale**2:
        return None
    return _not_short(mask, _solid(mask & ~lit, scale))


def _without_other_hue(mask: Mask, stack: Stack) -> Parted | None:
    """Blood is of another hue than the fish: the piece without what, in its rear, is far from the middle hue of its body."""
    scale = stack.raster.px_per_mm
    rear = _rear(mask)
    smooth = cv2.GaussianBlur(np.clip(stack.image, 0.0, 255.0) / 255.0, (0, 0), 1.0).astype(np.float32)
    hue = cv2.cvtColor(smooth, cv2.COLOR_BGR2LAB)[..., 1:]
    off = np.linalg.norm(hue - np.median(hue[mask & ~rear], axis=0), axis=-1)
    other = opened(rear & (off > OTHER_HUE), 1.5 * scale)
    if other.sum() < 20.0 * scale**2:
        return None
    stain = grown(other, 1.5 * scale)  # its rim is thinner
    return _not_short(mask, _solid(mask & ~stain, scale))


def _rear(mask: Mask) -> Mask:
    """The hindmost two fifths of a piece."""
    columns = np.flatnonzero(mask.any(axis=0))
    rear = mask.copy()
    rear[:, : int(columns[0] + 0.6 * len(columns))] = False
    return rear


def _not_short(before: Mask, after: Mask) -> Parted | None:
    """None where so much of the length is gone that it may have been the tail."""
    columns, left = (np.flatnonzero(m.any(axis=0)) for m in (before, after))
    if not len(left) or left[-1] - columns[0] < _LEAST_LEFT * len(columns):
        return None
    return Parted(after, np.zeros_like(after))


def _rim(stack: Stack, board: Board) -> Mask:
    """Within _EDGE_MM of the board's two long edges and its far end."""
    raster = stack.raster
    x = raster.x_mm(np.arange(raster.width_px))
    y = raster.y_mm(np.arange(raster.height_px))
    across = (y < _EDGE_MM) | (y > board.width_mm - _EDGE_MM)
    return np.asarray(across[:, None] | (x > board.length_mm - _EDGE_MM)[None, :])


def _longer(pieces: Mask, most_px: float) -> Mask:
    """The pieces that are wider or higher than ``most_px``."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(pieces.astype(np.uint8), connectivity=8)
    long = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) > most_px
    long[0] = False
    return long[labels] if count > 1 else np.zeros_like(pieces)


def _hanging_together(pieces: Mask, seeds: Mask) -> Mask:
    """The pieces that hold a seed."""
    count, labels = cv2.connectedComponents(pieces.astype(np.uint8), connectivity=8)
    keep = np.zeros(count, bool)
    keep[np.unique(labels[seeds & pieces])] = True
    keep[0] = False
    return keep[labels]


def _solid(mask: Mask, px_per_mm: float) -> Mask:
    """Threads and specks off: parts of a square centimetre or more."""
    firm = opened(mask, 1.2 * px_per_mm)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(firm.astype(np.uint8), connectivity=8)
    keep = stats[:, cv2.CC_STAT_AREA] > 100.0 * px_per_mm**2
    keep[0] = False
    return keep[labels] if count > 1 else np.zeros_like(mask)

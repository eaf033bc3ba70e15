"""The fish as the parts net sees it: its piece of the picture, and whether a measured fish agrees with it.

The net's view is coarse, but it knows a tail from a stain, a shadow or a hand. Where the outline alone leads to no
whole tail, its piece is tried; where the outline leads to one, the two must agree on where the fish begins and ends.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish_piece import STOP_ZONE_MM, FishPiece, ends_seen
from reelnotes.measure.joined import bridged
from reelnotes.measure.landmarks import Tail
from reelnotes.measure.lens_model import Floats
from reelnotes.measure.masks import closed, grown, opened
from reelnotes.measure.outline import SMALLEST_FISH_MM
from reelnotes.measure.parallax import grounded
from reelnotes.measure.parts import Parts, pixel_mm
from reelnotes.measure.stack import Mask, Stack
from reelnotes.records.boards import Board
from reelnotes.records.estimates import Estimate
from reelnotes.records.problems import Refusal

ELSEWHERE = "a second look sees the tail end elsewhere"
SHORT = "a second look sees the nose short of the stop"
# All judgement, no source; set with drawn clips in view.
_LIKELY = 0.5  # from which a pixel is taken for what the net says it is
_ABREAST = 0.3  # of the length, that another fish lies beside the first
_LEAST_DEPTH = 0.06  # of the length, on average: thinner things are no fish
_NEAR_MM = 4.0  # what the outline holds this near to the net's fish is fish too: the net's pixels are coarse
_APART_PX, _APART = 3.0, 0.025  # pixels of the net, and share of the length, by which two views of one end may differ
_FAR = 0.2  # of the length, between two views of one end: one of them is no view of it
_NOSE_GAP_MM = 12.0  # by which the net may see the fish begin behind a measured nose
_CUT_OFF_MM = 10.0  # beyond the stop: what is seen to reach farther may be cut off by the raster's end
_HIDDEN_GAP_MM = 20.0  # between nose and stop, as far as the net's pixels and the nose's height tell
_HAND_MM = 40.0  # to either side of the tail's tip
_BEFORE_FORK_MM, _BEHIND_TIP_MM, _ABREAST_MM = 8.0, 20.0, 5.0
_FAINT_HAND = 0.25  # likeness over the tail's end: 0.48 and more under a hand, 0.08 at most on 90 drawn clips of bare tails
# Of the length: lobes of tails on drawn clips hang over for 0.10 of it at most, one fish that curls off for 0.26.
_REAR, _OVERHANG = 0.3, 0.17
_BEYOND_MM = (2.0, 8.0)  # the board's edge
_FOOT_MM, _HEAD_MM, _SURELY = 3.0, 10.0, 0.9  # from the stop; half of a head's depth; likeness in every column
_FRONT = 0.2  # of the length, from where the piece begins
_SELDOM = 0.005  # a colour box that holds less of a hand says nothing


def seen_pieces(parts: Parts, stack: Stack, board: Board, outlined: Mask | None) -> list[FishPiece]:
    """The fish at the stop by its look alone, bridged under hands; none where there is none or its ends are not in sight.

    Two where a fish half as sure ends elsewhere: a pale tail's lobes may be seen faintly, and so may a stain behind it.
    outlined  what the outline takes for the fish: near the net's fish its sharper edge is kept
    """
    found: list[FishPiece] = []
    for likely in (_LIKELY, 0.5 * _LIKELY):
        piece = _piece(parts, likely, stack, board, outlined)
        if piece is not None and all(abs(piece.x_high - other.x_high) > _apart(other.x_high, board) for other in found):
            found.append(piece)
    return found


def out_of_sight(parts: Parts, stack: Stack, board: Board, tip_mm: float) -> Refusal | None:
    """A Refusal where the net sees a fish at the stop go on well beyond ``tip_mm`` to where its end is not to be seen: in what
    the outline takes for a tail there, it sees none."""
    _, _, mask = _at_stop_of(parts, _LIKELY, stack)
    if mask is None:
        return None
    high = ends_of(mask, stack.raster)[1]
    return ends_seen(mask, stack, board, high) if high > tip_mm + _apart(high, board) else None


def _at_stop_of(parts: Parts, likely: float, stack: Stack) -> tuple[Mask, Mask, Mask | None]:
    """What is fish, what lies over it, and the piece of fish at the stop."""
    covered = parts.over > _LIKELY
    fish_all = _without_fingers(_firm((parts.fish > likely) & ~covered, stack.raster.px_per_mm), covered, stack)
    return fish_all, covered, _at_stop(fish_all, covered, stack.raster)


def _piece(parts: Parts, likely: float, stack: Stack, board: Board, outlined: Mask | None) -> FishPiece | None:
    scale = stack.raster.px_per_mm
    fish_all, covered, mask = _at_stop_of(parts, likely, stack)
    if mask is None:
        return None
    if outlined is not None:
        near = grown(mask, _NEAR_MM * scale)
        mask = mask | (outlined & near & ~covered)
    low, high = ends_of(mask, stack.raster)
    if ends_seen(mask, stack, board, high) is not None:
        return None
    rows = np.nonzero(mask[:, : max(1, int(stack.raster.column(low + 0.12 * (high - low))))])[0]
    nose_y = float(stack.raster.y_mm(np.median(rows) if len(rows) else mask.shape[0] / 2))
    doubts = ("more than one fish may lie on the board",) if _another(fish_all, mask, high - low, stack.raster) else ()
    return FishPiece(mask, low, high, nose_y, doubts, covered if covered.any() else None)


def disagreement(seen: Sequence[FishPiece], nose_mm: float, tip_mm: float, board: Board) -> str:
    """ "" where the net's fish begins and ends where a measured one does, as far as its pixels tell; else a reason to doubt.

    nose_mm, tip_mm  as they appear on the board's surface
    """
    if not seen:
        return "a second look finds no whole fish there"
    apart = _apart(tip_mm, board)
    same = [piece for piece in seen if abs(piece.x_high - tip_mm) <= apart]
    if not same:
        return ELSEWHERE
    if min(piece.x_low for piece in same) - max(nose_mm, 0.0) > max(_NOSE_GAP_MM, apart):
        return SHORT
    return ""


def far_from(seen: Sequence[FishPiece], tip_mm: float) -> bool:
    """Whether the net sees the fish end so far from ``tip_mm`` that no length is to be told from either."""
    return all(abs(piece.x_high - tip_mm) > _FAR * max(piece.x_high, tip_mm) for piece in seen)


def nose_seen_short(seen: Sequence[FishPiece], tip_mm: float, nose: Estimate, camera_mm: Floats, board: Board) -> str:
    """A reason to doubt that the nose touches the stop, though glare or shade at its foot hides what gap there may be: "" where
    the net sees the nose of the fish with this tip hang over the stop, as far as a nose as high as this does.

    camera_mm  (3,) the camera's centre in board axes
    """
    same = [piece for piece in seen if abs(piece.x_high - tip_mm) <= _apart(tip_mm, board)]
    low = min((piece.x_low for piece in same), default=-np.inf)
    if low < -_CUT_OFF_MM:
        return ""
    at = grounded(low, nose, (camera_mm[0], camera_mm[2]))
    return SHORT if at.x_mm > max(_HIDDEN_GAP_MM, _APART_PX * pixel_mm(board), 2.5 * at.u_mm) else ""


def head_seen(parts: Parts, piece: FishPiece, raster: Raster) -> bool:
    """Whether the net, and surely, sees fish all the way from the stop to where a piece begins: a head of the board's colour.

    Where a nose lies short of the stop it sees the board there just as surely, and the gap stays.
    """
    u = raster.column([_FOOT_MM, max(piece.x_low, 2 * _FOOT_MM)])
    # Where the front of a piece is missing, its middle says little of the nose's: anything abreast of the body may be the head.
    front = piece.mask[:, : int(u[1] + _FRONT * (piece.x_high - piece.x_low) * raster.px_per_mm)]
    rows = np.flatnonzero(front.any(axis=1))
    if not len(rows):
        return False
    strip = parts.fish[rows[0] : rows[-1] + 1, max(int(u[0]), 0) : int(u[1]) + 1]
    if not strip.size:
        return False
    head = cv2.blur(strip, (1, max(1, round(2 * _HEAD_MM * raster.px_per_mm)))).max(axis=0)
    return bool(head.min() > _SURELY)


def hand_at(seen: Sequence[FishPiece], tip_mm: float, raster: Raster) -> bool:
    """Whether the net sees a hand or a tool on the board within a few centimetres of where a tail is said to end."""
    ends = raster.column([tip_mm - _HAND_MM, tip_mm + _HAND_MM])
    about = slice(max(int(ends[0]), 0), max(int(ends[1]), 1))
    return any(p.covered is not None and p.covered[:, about].sum() > (10.0 * raster.px_per_mm) ** 2 for p in seen)


def hand_over(parts: Parts, tail: Tail, raster: Raster) -> bool:
    """Whether the net sees a hand or a tool, be it faintly, upon the end of a tail: where the fork is and just behind the tip, or
    all of it just behind the tip, where a hand that hides the tail makes what shows of the fish end."""
    rows = raster.row([tail.high_y + _ABREAST_MM, tail.low_y - _ABREAST_MM])
    for first_mm in (min(tail.fork_x, tail.tip_x) - _BEFORE_FORK_MM, tail.tip_x):
        columns = raster.column([first_mm, tail.tip_x + _BEHIND_TIP_MM])
        end = parts.maybe_over[max(int(rows[0]), 0) : int(rows[1]) + 1, max(int(columns[0]), 0) : int(columns[1]) + 1]
        if end.size and end.mean() > _FAINT_HAND:
            return True
    return False


def hangs_over(parts: Parts, low_mm: float, tip_mm: float, raster: Raster, board: Board) -> bool:
    """Whether the net sees a fish that seems to end at ``tip_mm`` go on over the board's long edge along much of its rear.

    Then its tail may be beyond the board, and what seems its end is where the edge cuts it off. A broad tail hangs over by its
    lobes only.
    """
    reach = _REAR * (tip_mm - low_mm)
    columns = raster.column([tip_mm - reach, tip_mm + 0.1 * reach])
    over = []
    for edge, way in ((board.width_mm, 1.0), (0.0, -1.0)):
        first, last = sorted(raster.row([edge + way * beyond for beyond in _BEYOND_MM]))
        strip = parts.fish[max(int(first), 0) : int(last) + 1, max(int(columns[0]), 0) : int(columns[1]) + 1]
        over.append(float((strip > _LIKELY).any(axis=0).sum()) / raster.px_per_mm if strip.size else 0.0)
    return max(over) > _OVERHANG * (tip_mm - low_mm)


def _apart(length_mm: float, board: Board) -> float:
    """How far two views of one end may differ."""
    return max(_APART_PX * pixel_mm(board), _APART * length_mm)


def ends_of(mask: Mask, raster: Raster) -> tuple[float, float]:
    """(low, high) mm along the board of a piece's first and last column, needles of a pixel or two left out."""
    columns = np.flatnonzero(mask.sum(axis=0) >= max(2.0, 1.0 * raster.px_per_mm))
    if not len(columns):
        columns = np.flatnonzero(mask.any(axis=0))
    return float(raster.x_mm(columns[0] - 0.5)), float(raster.x_mm(columns[-1] + 0.5))


def _at_stop(fish: Mask, covered: Mask, raster: Raster) -> Mask | None:
    """The largest long piece that begins near the stop, with what lies beyond a hand across it."""
    fish = bridged(fish, covered)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(fish.astype(np.uint8), connectivity=8)
    for i in sorted(range(1, count), key=lambda i: -int(stats[i, cv2.CC_STAT_AREA])):
        piece: Mask = np.asarray(labels == i)
        low, high = ends_of(piece, raster)
        area_mm2 = float(stats[i, cv2.CC_STAT_AREA]) / raster.px_per_mm**2
        if high - low >= SMALLEST_FISH_MM and low < STOP_ZONE_MM and area_mm2 > _LEAST_DEPTH * (high - low) ** 2:
            return piece
    return None


def _without_fingers(fish: Mask, covered: Mask, stack: Stack) -> Mask:
    """The fish without pieces that touch a hand and have its colours rather than the largest piece's: seen alone, the tip of a
    finger passes for a tail."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(fish.astype(np.uint8), connectivity=8)
    near = grown(covered, _NEAR_MM * stack.raster.px_per_mm)
    if count < 3 or not covered.any():
        return fish
    main = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    kinds = _colour_kinds(stack)
    hand, body = (_frequencies(kinds[where]) for where in (covered, labels == main))
    kept = fish.copy()
    for i in range(1, count):
        piece: Mask = np.asarray(labels == i)
        if i != main and (piece & near).any() and hand[kinds[piece]].mean() > 10.0 * body[kinds[piece]].mean() + _SELDOM:
            kept[piece] = False
    return kept


def _colour_kinds(stack: Stack) -> NDArray[np.intp]:
    """(h, w) which of 8 x 16 x 16 boxes of CIELAB a pixel lies in, after a little smoothing."""
    smooth = cv2.GaussianBlur(np.clip(stack.image, 0.0, 255.0) / 255.0, (0, 0), 1.0).astype(np.float32)
    lab = cv2.cvtColor(smooth, cv2.COLOR_BGR2LAB)
    box = [np.clip(lab[..., 0] / 12.5, 0, 7), np.clip(lab[..., 1] / 8 + 8, 0, 15), np.clip(lab[..., 2] / 8 + 8, 0, 15)]
    light, a, b = (c.astype(np.intp) for c in box)
    return np.asarray((light * 16 + a) * 16 + b, np.intp)


def _frequencies(kinds: NDArray[np.intp]) -> NDArray[np.float64]:
    return np.bincount(kinds, minlength=8 * 16 * 16) / max(len(kinds), 1)


def _another(fish: Mask, main: Mask, length_mm: float, raster: Raster) -> bool:
    """Whether there is another long piece of fish abreast of the main one; what lies behind its tail does no harm."""
    begin, end = ends_of(main, raster)
    count, labels, _, _ = cv2.connectedComponentsWithStats(fish.astype(np.uint8), connectivity=8)
    for i in range(1, count):
        piece: Mask = np.asarray(labels == i)
        if (piece & main).any():
            continue
        low, high = ends_of(piece, raster)
        area_mm2 = float(piece.sum()) / raster.px_per_mm**2
        abreast_mm = min(high, end) - max(low, begin)
        if high - low > 0.35 * length_mm and abreast_mm > _ABREAST * length_mm and area_mm2 > _LEAST_DEPTH * (high - low) ** 2:
            return True
    return False


def _firm(mask: Mask, px_per_mm: float) -> Mask:
    """Specks left out and small holes filled."""
    return opened(closed(mask, 2.0 * px_per_mm), 1.0 * px_per_mm)

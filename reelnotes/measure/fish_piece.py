"""Which of the things on the board is the fish, and what about it forbids or casts doubt on a length."""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.joined import parted
from reelnotes.measure.landmarks import Tail
from reelnotes.measure.masks import grown
from reelnotes.measure.outline import SMALLEST_FISH_MM, Blob, Outline
from reelnotes.measure.stack import Mask, Stack
from reelnotes.records.boards import Board
from reelnotes.records.problems import Refusal

STOP_ZONE_MM = 80.0  # what begins within this of the stop lies at it
NO_FISH = "no fish lies on the board"
NOT_AT_STOP = "no fish lies at the stop"
PAST_END = "the tail reaches the end of the board or past it"
_MOST_OF_TAIL = 0.75  # of its breadth
AT_EDGE = "the outline of the tail runs into the board's edge"
OVER_TAIL = "something lies over the tail or right beside it"
_BESIDE_MM = 25.0  # of the piece: what hides some of it comes as near, if part of a hand has the colour of the board (judgement)


@dataclass(frozen=True, eq=False)
class FishPiece:
    """The fish's piece of the picture.

    mask          (h, w) on the stack's raster
    x_low, x_high extent along the board as it appears, mm
    nose_y        where the nose is across the board, mm
    doubts        reasons to check
    covered       (h, w) where a hand or an arm lies over it; None for nowhere
    aside         (h, w) what was joined to it and is told apart; None for nothing
    """

    mask: Mask
    x_low: float
    x_high: float
    nose_y: float
    doubts: tuple[str, ...]
    covered: Mask | None = None
    aside: Mask | None = None


def fish_pieces(outline: Outline, stack: Stack, board: Board) -> list[FishPiece] | Refusal:
    """The largest long piece near the stop, as each level of strangeness shows it, with and without what lies
    behind it in line, where these differ at the tail.

    A Refusal when there is none, or when its ends are not to be seen at any level.
    """
    pieces: list[FishPiece] = []
    refusal: Refusal | None = None
    unseen: Refusal | None = None
    cut: list[Mask] = []  # pieces of the widest levels with an end out of sight
    for number, blobs in enumerate(outline.layers):
        long = [b for b in blobs if b.length_mm >= SMALLEST_FISH_MM and b.area_mm2 >= 0.06 * b.length_mm**2]
        near = [b for b in long if b.x_low_mm < STOP_ZONE_MM]
        chained = [] if near else _chained(blobs, stack)
        near = near or chained
        if not near:
            refusal = refusal if refusal is not None else Refusal(NOT_AT_STOP if long else NO_FISH)
            continue
        for mask, x_high in {near[0].x_high_mm: (near[0].mask, near[0].x_high_mm), **_with_rest(near[0], blobs)}.values():
            bad_end = ends_seen(mask, stack, board, x_high)
            if bad_end is not None:
                unseen = unseen if unseen is not None else bad_end
                cut += [mask] if number < 2 else []
            elif all(abs(x_high - other.x_high) > 2.0 for other in pieces):
                nose = _nose(near[0], mask, blobs, stack.raster, board)
                nose_y = _nose_y(mask, stack.raster, nose, x_high)
                doubts = ["the fish has so much of the board's colour that its outline is pieced together"] if chained else []
                nose = 0.0 if chained else nose
                pieces.append(FishPiece(mask, nose, x_high, nose_y, (*doubts, *_two_fish(near[0], long, x_high))))
    pieces = [piece for piece in pieces if not any(_fragment_of(piece, mask, stack.raster) for mask in cut)]
    if pieces:
        return pieces
    reasons = [r for r in (unseen, refusal) if r is not None]  # a refusal is falsy: "or" would pass over it
    return reasons[0] if reasons else Refusal(NO_FISH)


def parted_pieces(outline: Outline, stack: Stack, board: Board) -> list[FishPiece]:
    """Second thoughts: the piece at the stop without what may be joined to it (see ``joined``); those whose ends are seen."""
    pieces: list[FishPiece] = []
    for blobs in outline.layers[:3]:
        long = [b for b in blobs if b.length_mm >= SMALLEST_FISH_MM]
        near = [b for b in long if b.x_low_mm < STOP_ZONE_MM]
        for part in parted(near[0].mask, outline, stack, board) if near else ():
            columns = np.flatnonzero(part.mask.any(axis=0))
            x_high = float(stack.raster.x_mm(columns[-1]))
            if x_high < SMALLEST_FISH_MM or ends_seen(part.mask, stack, board, x_high) is not None:
                continue
            if _unlike(part.mask, [p.mask for p in pieces]):
                nose = _nose(near[0], part.mask, blobs, stack.raster, board)
                nose_y = _nose_y(part.mask, stack.raster, nose, x_high)
                aside = near[0].mask & ~part.mask
                pieces.append(FishPiece(part.mask, nose, x_high, nose_y, _two_fish(near[0], long, x_high), part.covered, aside))
    return pieces


def _unlike(mask: Mask, others: list[Mask]) -> bool:
    """Whether a mask differs from all others by more than its rim."""
    return all(float((mask ^ other).sum()) > 0.03 * float(mask.sum()) for other in others)


def _fragment_of(piece: FishPiece, whole: Mask, raster: Raster) -> bool:
    """Whether much of a piece that was seen more widely goes on behind this one."""
    behind = int(raster.column(piece.x_high + 5.0))
    return float(whole[:, behind:].sum()) > 0.15 * float(piece.mask.sum())


def _chained(blobs: tuple[Blob, ...], stack: Stack) -> list[Blob]:
    """A fish of just the board's colour shows only where the print under it changes: pieces in one line, not far apart,
    are joined by their hulls. [] when they do not add up to a fish."""
    chain: list[Blob] = []
    for blob in sorted(blobs, key=lambda b: b.x_low_mm):
        if blob.touches_sides > 5.0 or blob.area_mm2 < 300.0:
            continue
        if not chain:
            if blob.x_low_mm < 1.5 * STOP_ZONE_MM:
                chain.append(blob)
            continue
        last = chain[-1]
        overlap = min(last.y_high_mm, blob.y_high_mm) - max(last.y_low_mm, blob.y_low_mm)
        small = min(last.y_high_mm - last.y_low_mm, blob.y_high_mm - blob.y_low_mm)
        if blob.x_low_mm - last.x_high_mm < 60.0 and overlap > 0.6 * small:
            chain.append(blob)
    if len(chain) < 2:
        return []
    joined = np.zeros(chain[0].mask.shape, np.uint8)
    for before, after in pairwise(chain):
        ends = np.concatenate([_end_pixels(before.mask, last=True), _end_pixels(after.mask, last=False)])
        cv2.fillConvexPoly(joined, cv2.convexHull(ends.astype(np.int32)), 1)
    mask = (joined > 0) | np.any([b.mask for b in chain], axis=0)
    area = float(mask.sum()) / stack.raster.px_per_mm**2
    y_low, y_high = min(b.y_low_mm for b in chain), max(b.y_high_mm for b in chain)
    whole = Blob(mask, chain[0].x_low_mm, chain[-1].x_high_mm, y_low, y_high, area, 0.0, 3.0, chain[0].strength)
    return [whole] if whole.length_mm >= SMALLEST_FISH_MM else []


def _end_pixels(mask: Mask, *, last: bool) -> NDArray[np.intp]:
    """(n, 2) column, row of the pixels in the piece's first or last four columns."""
    columns = np.flatnonzero(mask.any(axis=0))
    edge = columns[-4:] if last else columns[:4]
    v, u = np.nonzero(mask[:, edge])
    return np.stack([edge[u], v], axis=-1)


def _nose(main: Blob, mask: Mask, blobs: tuple[Blob, ...], raster: Raster, board: Board) -> float:
    """Where the piece begins, mm along the board.

    A pale head may be seen by its eye and mouth alone: small pieces before the body and in line with it belong to it.
    The stop's shade, a strip right across the board, is no nose;
    a piece that runs up to the strip is taken as running up to the stop."""
    columns = np.flatnonzero(mask.any(axis=0))
    wide = mask[:, columns].sum(axis=0) > 0.75 * board.width_mm * raster.px_per_mm
    strip = int(np.argmin(wide)) if not wide.all() else 0
    low = float(raster.x_mm(columns[0]))
    if strip == 0 or low > 10.0:
        inner = [b for b in blobs if b.touches_sides < 5.0]
        ahead = [b.x_low_mm for b in inner if b.y_low_mm > main.y_low_mm and b.y_high_mm < main.y_high_mm]
        return min([low, *ahead])
    rest = mask.copy()
    rest[:, : columns[strip]] = False
    rows = np.flatnonzero(rest[:, columns[len(columns) // 4 :]].any(axis=1))
    along = rest[rows[0] : rows[-1] + 1].sum(axis=0) > 3.0 * raster.px_per_mm  # anything in line with the body is its head
    first = int(np.flatnonzero(along)[0]) if along.any() else int(columns[strip])
    gap = (first - columns[strip]) / raster.px_per_mm
    return low if gap < 4.0 else float(raster.x_mm(first))


def _nose_y(mask: Mask, raster: Raster, nose: float, x_high: float) -> float:
    """The middle of the head, a little behind the nose."""
    begin, end = raster.column([nose + 0.04 * (x_high - nose), nose + 0.12 * (x_high - nose)])
    rows = np.nonzero(mask[:, int(begin) : int(end) + 1])[0]
    return float(raster.y_mm(np.median(rows) if len(rows) else raster.height_px / 2))


def _with_rest(main: Blob, blobs: tuple[Blob, ...]) -> dict[float, tuple[Mask, float]]:
    """The piece with what carries it on: a peduncle that looks like the board cuts a tail off."""
    mask, x_high = main.mask.copy(), main.x_high_mm
    middle = 0.5 * (main.y_low_mm + main.y_high_mm)
    for blob in sorted(blobs, key=lambda b: b.x_low_mm):
        behind = -20.0 < blob.x_low_mm - x_high < 15.0
        aligned = blob.y_low_mm < middle + 15.0 and blob.y_high_mm > middle - 15.0
        firm = blob.strength > 0.4 * main.strength and blob.touches_sides == 0  # a stain is seldom so strange as the fish
        if blob is not main and behind and aligned and firm and blob.x_high_mm > x_high:
            mask |= blob.mask
            x_high = blob.x_high_mm
    return {x_high: (mask, x_high)} if x_high > main.x_high_mm else {}


def past_end(x_mm: float, board: Board) -> bool:
    """Whether a tail that seems to end there may go on beyond the board."""
    return x_mm > board.length_mm - 4.0


def ends_seen(mask: Mask, stack: Stack, board: Board, x_high: float) -> Refusal | None:
    """None where both ends of a piece lie on the board and in the picture; else a Refusal that says which does not."""
    if past_end(x_high, board):
        return Refusal(PAST_END)
    columns = np.flatnonzero(mask.any(axis=0))
    unseen = ~stack.seen
    first, last = int(columns[0]), int(columns[-1])
    spare = max(2, round(4 * stack.raster.px_per_mm))
    rows = np.flatnonzero(mask[:, max(last - 3 * spare, 0) : last + 1].any(axis=1))
    if unseen[rows[0] : rows[-1] + 1, last : last + spare].any():
        return Refusal("the tail lies outside the picture")
    rows = np.flatnonzero(mask[:, first : first + 3 * spare].any(axis=1))
    if unseen[rows[0] : rows[-1] + 1, max(first - spare, 0) : first + 1].any():
        return Refusal("the stop and the nose lie outside the picture")
    return None


def _two_fish(main: Blob, long: list[Blob], x_high: float) -> tuple[str, ...]:
    """A reason to doubt where another long piece lies along the board beside the main one, as no arm and no edge's strip does."""
    length = x_high - main.x_low_mm
    for b in long:
        across = b.y_high_mm - b.y_low_mm
        beside = min(b.y_high_mm, main.y_high_mm) - max(b.y_low_mm, main.y_low_mm) < 0.3 * across
        like_it = b.area_mm2 > 0.25 * main.area_mm2 and b.strength > 0.6 * main.strength and b.length_mm > 0.4 * length
        along = b.elongation > 2.0 and 1.8 * across < b.length_mm < 8.0 * across and b.x_low_mm < main.x_low_mm + 0.5 * length
        if b is not main and beside and like_it and along:
            return ("more than one fish may lie on the board",)
    return ()


def by_the_tail(outline: Outline, stack: Stack, piece: FishPiece, tail: Tail) -> str:
    """What lies at the tail that is not the tail: "" when nothing, else a reason.

    Hands and tools come from beyond the board's long edges: a piece that runs from an edge up to the tail, and comes near the
    fish, is taken for one.
    """
    raster = stack.raster
    scale = raster.px_per_mm
    from_u, to_u = raster.column([tail.tip_x - 0.3 * (tail.tip_x - piece.x_low), tail.tip_x + 40.0])
    columns = slice(max(int(from_u), 0), max(int(to_u), 1))
    covered = piece.covered if piece.covered is not None else np.zeros_like(outline.firm)
    if _covered_at(covered, piece.mask, raster, tail):
        return OVER_TAIL
    known = covered | piece.aside if piece.aside is not None else covered
    strange = (outline.firm & ~known)[:, columns]
    against = grown(piece.mask[:, columns], _BESIDE_MM * scale)
    board = outline.on_board[:, columns]
    rows = np.flatnonzero(board.any(axis=1))
    top, bottom = raster.row([tail.high_y + 6.0, tail.low_y - 6.0])
    for side in ((rows[0], top), (rows[-1], bottom)):
        low, high = sorted(round(float(v)) for v in side)
        band, touched = (part[max(low, 0) : high + 1] for part in (strange, against))
        if high - low < 2.0 * scale or not len(band):
            return AT_EDGE
        _, labels = cv2.connectedComponents(band.astype(np.uint8), connectivity=8)
        through = set(np.unique(labels[: max(2, round(2 * scale))])) & set(np.unique(labels[-1:])) - {0}
        through &= set(np.unique(labels[touched]))
        if any((labels == i).sum() / scale**2 > 150.0 for i in through):
            return OVER_TAIL
    return ""


def _covered_at(covered: Mask, mask: Mask, raster: Raster, tail: Tail) -> bool:
    """Whether an arm comes within 4 mm of the tail's rear edge, lobe to lobe."""
    rear = mask & ~np.roll(mask, -1, axis=1)
    u = int(raster.column(min(tail.fork_x, tail.tip_x - 8.0) - 3.0))
    v = raster.row([tail.high_y, tail.low_y])
    rear[:, : max(u, 0)] = False
    rear[: max(int(v[0]), 0)] = rear[int(v[1]) + 1 :] = False
    around = 2 * max(1, round(4 * raster.px_per_mm)) + 1
    return bool((cv2.dilate(rear.astype(np.uint8), np.ones((around, around), np.uint8)) > 0)[covered].any())


def carried_on(outline: Outline, raster: Raster, piece: FishPiece, tail: Tail) -> float:
    """Share of the tail's breadth behind whose end, within a centimetre, there is more that is not board.

    What was told apart from the piece does not count, unless it goes on behind nearly all of the tail: then it may be the tail.
    """
    u = raster.column([tail.tip_x + 2.0, tail.tip_x + 15.0])
    v = raster.row([tail.high_y, tail.low_y])
    inner = [blob.mask for blob in outline.layers[0] if blob.touches_sides < 12.0]  # hands and shadows are told elsewhere
    if not inner:
        return 0.0
    behind = slice(max(int(v[0]), 0), int(v[1]) + 1), slice(max(int(u[0]), 0), max(int(u[1]), 1))
    strange = np.any(inner, axis=0)[behind]
    if not strange.size:
        return 0.0
    all_of_it = float(strange.any(axis=1).mean())
    if piece.aside is None or all_of_it > _MOST_OF_TAIL:
        return all_of_it
    return float((strange & ~piece.aside[behind]).any(axis=1).mean())

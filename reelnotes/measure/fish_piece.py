"""Which of the things on the board is the fish, and what about it forbids or casts doubt on a length."""

from dataclasses import dataclass

import numpy as np

from reelnotes.measure.outline import SMALLEST_FISH_MM, Blob, Outline
from reelnotes.measure.stack import Mask, Stack
from reelnotes.records.boards import Board
from reelnotes.records.problems import Refusal

STOP_ZONE_MM = 80.0


@dataclass(frozen=True, eq=False)
class FishPiece:
    """The fish's piece of the picture.

    mask          (h, w) on the stack's raster
    x_low, x_high extent along the board as it appears, mm
    depth_mm      greatest breadth of the body, a robust figure
    bend_deg      angle between the front half's and the rear half's middle line
    doubts        reasons to check
    """

    mask: Mask
    x_low: float
    x_high: float
    depth_mm: float
    bend_deg: float
    doubts: tuple[str, ...]


def choose_fish(outline: Outline, stack: Stack, board: Board) -> FishPiece | Refusal:
    """The largest long piece near the stop; a Refusal when there is none, or when its ends are not to be seen."""
    long = [b for b in outline.blobs if b.length_mm >= SMALLEST_FISH_MM and b.area_mm2 >= 0.06 * b.length_mm**2]
    near = [b for b in long if b.x_low_mm < STOP_ZONE_MM]
    if not near:
        return Refusal("no fish lies at the stop" if long else "no fish lies on the board")
    main = near[0]
    mask, x_high = _with_rest(main, outline.blobs)
    low_px, high_px = stack.raster.to_px(np.array([[main.x_low_mm, 0.0], [x_high, 0.0]]))[:, 0]
    refusal = _ends_seen(mask, stack, board, x_high, int(low_px), int(high_px))
    if refusal is not None:
        return refusal
    depth, bend = _body(mask, stack)
    return FishPiece(mask, main.x_low_mm, x_high, depth, bend, tuple(_doubts(main, near, x_high, bend)))


def _with_rest(main: Blob, blobs: tuple[Blob, ...]) -> tuple[Mask, float]:
    """The piece with what carries it on: a peduncle that looks like the board cuts a tail off."""
    mask, x_high = main.mask.copy(), main.x_high_mm
    middle = 0.5 * (main.y_low_mm + main.y_high_mm)
    for blob in sorted(blobs, key=lambda b: b.x_low_mm):
        behind = -20.0 < blob.x_low_mm - x_high < 15.0
        aligned = blob.y_low_mm < middle + 15.0 and blob.y_high_mm > middle - 15.0
        if blob is not main and behind and aligned and blob.x_high_mm > x_high and blob.touches_sides == 0:
            mask |= blob.mask
            x_high = blob.x_high_mm
    return mask, x_high


def _ends_seen(mask: Mask, stack: Stack, board: Board, x_high: float, low_u: int, high_u: int) -> Refusal | None:
    if x_high > board.length_mm - 4.0:
        return Refusal("the tail reaches the end of the board or past it")
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


def _body(mask: Mask, stack: Stack) -> tuple[float, float]:
    """(depth in mm, bend in degrees) from the breadth and the middle line of the piece along the board."""
    columns = np.flatnonzero(mask.any(axis=0))
    breadth = mask[:, columns].sum(axis=0) / stack.raster.px_per_mm
    depth = float(np.percentile(breadth, 85))
    rows = np.arange(mask.shape[0])[:, None]
    middle = (mask[:, columns] * rows).sum(axis=0) / mask[:, columns].sum(axis=0)
    n = len(columns)
    front, rear = slice(int(0.1 * n), int(0.5 * n)), slice(int(0.5 * n), int(0.9 * n))
    if n < 20:
        return depth, 0.0
    slopes = [np.polyfit(columns[part], middle[part], 1)[0] for part in (front, rear)]
    return depth, float(abs(np.degrees(np.arctan(slopes[1]) - np.arctan(slopes[0]))))


def _doubts(main: Blob, near: list[Blob], x_high: float, bend: float) -> list[str]:
    doubts = []
    length = x_high - main.x_low_mm
    if bend > 20.0:
        doubts.append(f"the fish is curled: its middle line turns by {bend:.0f}°")
    others = [b for b in near[1:] if b.area_mm2 > 0.25 * main.area_mm2 and b.elongation > 1.8 and b.length_mm > 0.4 * length]
    if others:
        doubts.append("more than one fish may lie on the board")
    return doubts

"""How faintly a tail's tip stands out from the board about it, and so how far its end may be missed.

Where a lobe thins out, its colour fades into the board's. Noise, a stain or a light that was not expected then ends it early or
late: by the part of the tip's taper over which the tail differs from the board by less than these do.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.landmarks import Share, Tail
from reelnotes.measure.masks import disc
from reelnotes.measure.stack import Stack

# All judgement, no source.
_BOARD_OFF = 2.0  # levels by which a board differs from what is expected of it, noise apart
_ASIDE_MM, _INSIDE_MM = 6.0, (0.5, 10.0)  # across and along from the tip: the tail's end
_ABOUT_MM, _CLEAR_MM = 10.0, 2.0  # about the tip, and from any fish: the board
_FIRM, _BARE = 0.7, 0.1  # share of fish
_LEAST_PX = 6


def faintness(share: Share, stack: Stack, tail: Tail) -> float:
    """0..1: what may be noise or the board's own unevenness, as a part of what parts the tail's end from the board about it.

    1 where they are alike, or too little is seen of either. share: (h, w) of fish, on the stack's raster
    """
    raster = stack.raster
    u, v = np.meshgrid(np.arange(raster.width_px), np.arange(raster.height_px))
    mm = raster.to_mm(np.stack([u, v], axis=-1))
    before, aside = tail.tip_x - mm[..., 0], mm[..., 1] - tail.tip_y
    inside = (share > _FIRM) & (np.abs(aside) < _ASIDE_MM) & (before > _INSIDE_MM[0]) & (before < _INSIDE_MM[1])
    fish = cv2.dilate((share > _BARE).astype(np.uint8), disc(_CLEAR_MM * raster.px_per_mm)) > 0
    board = ~fish & stack.seen & (np.hypot(before, aside) < _ABOUT_MM)
    behind, beside = board & (before < 0.0) & (np.abs(aside) < _ASIDE_MM), board & (before >= 0.0)
    if inside.sum() < _LEAST_PX or max(beside.sum(), behind.sum()) < _LEAST_PX:
        return 1.0
    own = _colour(stack, inside)
    # Print behind the tip may have other colours than the board beside it: what is most like the tail hides its end.
    apart = [levels_apart(own, _colour(stack, part)) for part in (beside, behind) if part.sum() >= _LEAST_PX]
    off = np.hypot(_BOARD_OFF, np.median(stack.noise[board]))
    return float(min(1.0, off / max(min(apart), 1e-3)))


def _colour(stack: Stack, where: NDArray[np.bool_]) -> NDArray[np.float32]:
    return np.median(stack.image[where], axis=0).astype(np.float32, copy=False)


def levels_apart(one: NDArray[np.float32], other: NDArray[np.float32]) -> float:
    """Levels between two colours, (3,) BGR: root mean square over the channels."""
    return float(np.sqrt(np.mean((one - other) ** 2)))

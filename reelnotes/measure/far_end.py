"""Whether the board ends where it should: another board, or the same mirrored, may share all print but that of its far end."""

import numpy as np

from reelnotes.measure.outline import Outline
from reelnotes.measure.stack import Stack
from reelnotes.records.boards import Board

# All judgement, no source: on 228 drawn clips a mirrored board had 0.86 and more, a hand over the far end 0.70 at most.
_FROM_MM, _TO_MM = 30.0, 3.0  # before the board's end
_WIDE_MM = 8.0  # a strip as broad as this
_STRANGE = 2.0  # times what may be by chance
_ACROSS = 0.8  # share of the board's breadth, in every column of the strip
_IN_SIGHT = 0.5  # of the breadth, for a column to say anything


def strange_end(outline: Outline, stack: Stack, board: Board) -> bool:
    """Whether, just before the board's far end, a strip that is not this board's runs across nearly all of its breadth."""
    raster = stack.raster
    ends = raster.column([board.length_mm - _FROM_MM, board.length_mm - _TO_MM])
    columns = slice(max(int(ends[0]), 0), max(int(ends[1]) + 1, 0))
    on_board = outline.on_board[:, columns]
    seen = on_board.sum(axis=0)
    strange = ((outline.score[:, columns] > _STRANGE) & on_board).sum(axis=0) > _ACROSS * np.maximum(seen, 1)
    strange &= seen > _IN_SIGHT * board.width_mm * raster.px_per_mm
    wide = max(1, round(_WIDE_MM * raster.px_per_mm))
    return bool((np.convolve(strange, np.ones(wide), "valid") >= wide).any()) if len(strange) >= wide else False

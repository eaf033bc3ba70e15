"""A nose short of the stop, where the stop's own shade hides the gap.

The shade is a strip right across the board, and a fish that begins behind it hangs together with it in one piece. But bare board
in shade looks the same all along the strip, abreast of the fish as well as beside it; a nose in it would not.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.fish_piece import FishPiece
from reelnotes.measure.outline import Outline
from reelnotes.measure.stack import Stack
from reelnotes.records.boards import Board

# All judgement, no source. Colours are told by the natural logarithm of their share of the lit board's, the farthest channel.
_ACROSS = 0.75  # of the board's breadth, that the strip covers
_FROM_MM, _LEAST_GAP_MM = 3.0, 8.0
_ABREAST_MM, _BESIDE_MM = 25.0, 15.0  # from the nose's line, where a nose may lie; and how much of the strip must lie farther off
_NOSE_MM = 6.0  # a nose is looked for by pieces so broad
_FLOOR = 4.0  # levels, so that the dark is not all noise
_BARE, _FISH, _TOLD = 0.15, 0.25, 0.35  # less: the same; more: another thing; the fish must differ by so much to be told at all


def shaded_gap(piece: FishPiece, outline: Outline, stack: Stack, board: Board) -> float:
    """How far from the stop the nose lies, mm, where only the stop's shade joins the two; 0.0 where that is not so, or where the
    fish is too like the shaded board to tell."""
    raster, scale = stack.raster, stack.raster.px_per_mm
    first = int(raster.column(_FROM_MM))
    breadth = piece.mask[:, first:].sum(axis=0)
    strip = int(np.argmin(breadth > _ACROSS * board.width_mm * scale))
    if strip < (_LEAST_GAP_MM - _FROM_MM) * scale:
        return 0.0
    rows = np.flatnonzero(outline.on_board.any(axis=1))
    off = np.abs(rows - raster.row(piece.nose_y))
    near, beside = rows[off < _ABREAST_MM * scale], rows[off > (_ABREAST_MM + 3.0) * scale]
    if len(beside) < _BESIDE_MM * scale or not len(near):
        return 0.0
    length = piece.x_high - piece.x_low
    columns = slice(first, first + strip + max(1, round(0.12 * length * scale)))
    tone = _tone(stack, outline)
    shade = np.median(tone[beside][:, columns], axis=0)
    window = max(1, round(_NOSE_MM * scale))
    smooth = cv2.blur(tone[near][:, columns], (3, window))
    unlike = np.abs(smooth - shade).max(axis=-1).max(axis=0)
    behind = slice(columns.stop - max(1, round(0.06 * length * scale)), columns.stop)
    if behind.stop > raster.width_px:
        return 0.0  # a strip along most of the board is none of the stop's
    fish = np.median(stack.image[near][:, behind], axis=(0, 1))
    plain = np.median(outline.match.smooth[near][:, first : first + strip], axis=(0, 1))
    fish = np.log((fish + _FLOOR) / (plain + _FLOOR))  # as it would look on the strip's print, in the light and in the shade
    told = min(np.abs(fish).max(), np.abs(fish - np.median(shade[:strip], axis=0)).max())
    begins = int(np.argmax(unlike > _FISH)) if (unlike > _FISH).any() else 0
    gap_mm = _FROM_MM + begins / scale
    bare = unlike[: max(1, begins - round(2.0 * scale))]
    if told < _TOLD or gap_mm < _LEAST_GAP_MM or float(np.median(bare)) > _BARE:
        return 0.0
    return gap_mm


def _tone(stack: Stack, outline: Outline) -> NDArray[np.float32]:
    """(h, w, 3) logarithm of what is seen as a share of the board under an even light."""
    return np.log((stack.image + _FLOOR) / (outline.match.smooth + _FLOOR)).astype(np.float32)

"""Whether the print has this board's inks: another board of the same layout is told by its colours.

A board is found by the shape of its print, and bars of the same size on another board have the same shape. How bright or what
colour the light is says nothing of the inks, nor how much a haze over them weakens all of the print. But where print that is
strong in one channel of the board's picture is all but missing in the frames, while the other channels show it, the inks are
others.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_match import BoardMatch
from reelnotes.measure.stack import Mask, Picture, Stack

OTHER_INKS = "the board has this one's layout, but not its colours: it is another board, or its print has faded"
_ABOUT_MM = 8.0  # contrast is told against what lies within so much
_BLUR_PX = 1.0
_TRUSTED = 0.5
_STRONG = 0.06  # contrast (standard deviation over mean) of print that would show
# Of the middle channel's share of the contrast. Judgement: on some 130 clips on their own board the least was 0.68 (of all three
# channels' middle one), and another board of the same bars had 0.21.
_MISSING = 0.4
_LEAST_MM2 = 1000.0  # of board, to say anything


def other_inks(stack: Stack, picture: NDArray[np.uint8], match: BoardMatch, on_board: Mask) -> bool:
    """Whether the print lacks the contrast in some channel that the board's picture (BGR, on the stack's raster) has."""
    scale = stack.raster.px_per_mm
    bare = np.ascontiguousarray(on_board & (match.trust > _TRUSTED)).astype(np.uint8)
    bare = cv2.erode(bare, np.ones((3, 3), np.uint8), borderValue=0).astype(np.uint8)
    if bare.sum() < _LEAST_MM2 * scale**2:
        return False
    seen, drawn = (_contrast(part, bare, _ABOUT_MM * scale) for part in (stack.image, picture.astype(np.float32)))
    power = (drawn**2).sum(axis=0)
    shown = (seen * drawn).sum(axis=0) / np.maximum(power, 1e-9)  # seen, regressed on what is drawn, channel by channel
    strong = np.sqrt(power / len(drawn)) > _STRONG
    if strong.sum() < 2:  # one colour by itself may have faded; where the drawn print is weak, its share says little
        return bool(strong.any() and shown[strong].min() < _MISSING * np.median(shown))
    return bool(shown[strong].min() < _MISSING * np.median(shown[strong]))


def _contrast(image: Picture, bare: NDArray[np.uint8], sigma_px: float) -> NDArray[np.float32]:
    """(n, 3) difference from the bare board round about, as a share of it, at the bare pixels."""
    weight = bare.astype(np.float32)
    soft = cv2.GaussianBlur(image, (0, 0), _BLUR_PX)
    bare_about = cv2.GaussianBlur(weight, (0, 0), sigma_px) + 1e-3
    about = cv2.GaussianBlur(soft * weight[..., None], (0, 0), sigma_px) / bare_about[..., None]
    return np.asarray((soft / np.maximum(about, 4.0) - 1.0)[bare > 0], np.float32)

"""Masks grown, shrunk and smoothed by a round brush (mathematical morphology: Serra 1982)."""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Mask


def grown(mask: Mask, radius_px: float) -> Mask:
    """What lies within ``radius_px`` of the mask."""
    return cv2.dilate(mask.astype(np.uint8), disc(radius_px)) > 0


def opened(mask: Mask, radius_px: float) -> Mask:
    """The mask without what is thinner than the brush."""
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, disc(radius_px)) > 0


def closed(mask: Mask, radius_px: float) -> Mask:
    """The mask with gaps filled that are narrower than the brush."""
    return cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, disc(radius_px)) > 0


def disc(radius_px: float) -> NDArray[np.uint8]:
    """The round brush, (2 r + 1, 2 r + 1) for a whole r of 1 or more; of what OpenCV's morphology works on."""
    r = max(1, round(radius_px))
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1)).astype(np.uint8)

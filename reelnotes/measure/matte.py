"""How much of each pixel is fish: 0 where the board is seen whole, 1 where it is hidden, between along a blurred edge.

The sum of this share across a lobe is the lobe's width, blurred or not, which is what makes a tail's tip
measurable below the size of a pixel (the alpha of natural image matting; Porter and Duff 1984 for the term).
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Mask, Picture


def share_of_fish(image: Picture, expected: Picture, mask: Mask, reach_px: float) -> NDArray[np.float32]:
    """(h, w) float32 share, about -0.3..1.3 (noise is not cut off, so that sums stay true).

    image, expected  (h, w, 3) as seen, and as the empty board would look
    mask             where the fish surely is, roughly
    reach_px         how far a fish colour may be carried to the pixels around it
    """
    off = image - expected
    strength = (off**2).sum(axis=-1)
    weight = np.where(mask, strength, 0.0).astype(np.float32)
    weight *= weight  # the purest pixels of a neighbourhood tell its colour
    weight /= max(float(weight.max()), 1e-9)
    near = cv2.GaussianBlur(np.dstack([image * weight[..., None], weight]), (0, 0), reach_px)
    wide = cv2.GaussianBlur(np.dstack([image * weight[..., None], weight]), (0, 0), 4 * reach_px)
    mixed = near + 1e-3 * wide + 1e-12
    fish = mixed[..., :3] / mixed[..., 3:]
    across = fish - expected
    square = (across**2).sum(axis=-1)
    share = (off * across).sum(axis=-1) / np.maximum(square, 60.0)
    return np.clip(share, -0.3, 1.3).astype(np.float32)

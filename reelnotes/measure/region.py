"""A rough look at a frame: where in it might a measuring board lie, with all that a fish, a hand or shade covers of it?

Features on grass, gravel or a patterned deck are the deck's; most of what could be paired with the board's print lies outside
the board. So a small convolutional net (U-shaped, Ronneberger et al. 2015; 0.4 million weights) looks at a small picture of
the frame first. It was trained on drawn scenes only: random boards, decks, fish, hands, light and lenses
(tests/bench/glance_frames.py draws them, train_region.py trains). It says where to search, and proves nothing.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.nets import trained

_SEEN_PX = (224, 128)  # what the net was trained on; a picture's shape is not kept, for 4:3 and 16:9 differ too little to matter
_GREY, _SPREAD = 110.0, 64.0  # grey level and spread that the net takes as 0 and 1, as in training


def board_region(image: NDArray[np.uint8]) -> NDArray[np.float32]:
    """How likely each place of a picture lies within a board's outline, 0..1.

    image  (h, w, 3) BGR of any size, landscape or portrait
    Returns (64, 112), or (112, 64) for a portrait picture: each place is an equal part of the picture's width and height.
    """
    upright = image.shape[0] <= image.shape[1]
    wide = image if upright else cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE)
    # By way of twice the size: one step from a large picture to a small one would pass over thin print.
    if wide.shape[1] > 4 * _SEEN_PX[0]:
        wide = cv2.resize(wide, (2 * _SEEN_PX[0], 2 * _SEEN_PX[1]), interpolation=cv2.INTER_AREA)
    small = cv2.resize(wide, _SEEN_PX, interpolation=cv2.INTER_AREA)
    net = trained("region")
    net.setInput(cv2.dnn.blobFromImage(small, 1.0 / _SPREAD, mean=(_GREY, _GREY, _GREY)))
    logits = np.asarray(net.forward())[0, 0]
    likely = (1.0 / (1.0 + np.exp(-np.clip(logits, -30.0, 30.0)))).astype(np.float32)
    return likely if upright else np.ascontiguousarray(cv2.rotate(likely, cv2.ROTATE_90_COUNTERCLOCKWISE), np.float32)

"""A glance at a frame: could it be filmed down on a measuring board at all?

Most clips of a fishing day show water, sky, a jacket, a boat. Searching one of their frames for a board's print costs
a hundred times what decoding it costs, so a very small convolutional net (15 600 weights, six convolutions) looks first. It
was trained on drawn scenes only: random boards, decks, fish, hands, light and lenses against drawn water, shores, boats,
people, screens, boxes and textures (tests/bench/train_glance.py draws them, trains it and reports on it).

It is no proof of a board: only the print itself is. It errs on the side of a search: `UNLIKELY` was set on drawn scenes
that it was not trained on, where one frame in a thousand with half a board or more in sight falls below it, even as a
poor camera shows them (dark, blurred, noisy, hard coded): a lost board costs a length, a needless search but a second.
A bare deck from above, with tackle or fish on it, is let through as often as not.
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.nets import trained
from reelnotes.media.decode import squeezed

UNLIKELY = 0.03  # a likeness below this: take the frame to show no board
SEEN_PX = (160, 90)  # what the net sees; a picture's shape is not kept, for 4:3 and 16:9 differ too little to matter
_GREY, _SPREAD = 128.0, 64.0  # grey level and spread that the net takes as 0 and 1


def board_likeness(image: NDArray[np.uint8]) -> float:
    """How much a picture looks like one filmed down on a measuring board, 0..1; see `UNLIKELY`.

    image  (h, w, 3) BGR of any size, landscape or portrait
    """
    blob = cv2.dnn.blobFromImage(_thumbnail(image), 1.0 / _SPREAD, mean=(_GREY, _GREY, _GREY))
    net = trained("glance")
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)  # waking a second thread takes longer than the net
    try:
        net.setInput(blob)
        logit = float(net.forward().ravel()[0])
    finally:
        cv2.setNumThreads(threads)
    return float(1.0 / (1.0 + np.exp(-np.clip(logit, -40.0, 40.0))))


def _thumbnail(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """160 x 90, a portrait picture turned on its side."""
    if image.shape[0] > image.shape[1]:
        image = cv2.rotate(image, cv2.ROTATE_90_CLOCKWISE).astype(np.uint8, copy=False)
    return squeezed(image, SEEN_PX)

"""Wide blurs, cheaply: what is smooth over many pixels needs few."""

import cv2
import numpy as np
from numpy.typing import NDArray

_WIDTH = 2.5  # standard deviations in pixels of the small picture: enough to draw the bell smoothly
# Averaging over a pixel of the small picture and drawing straight lines between their middles blur by themselves, by these
# variances in such pixels.
_BY_ITSELF = 1.0 / 12.0 + 1.0 / 6.0


def smoothed(values: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """(h, w[, n]) blurred by a Gaussian of this standard deviation, on a smaller picture where that does."""
    h, w = values.shape[:2]
    step = max(1, int(sigma_px / _WIDTH))
    if step == 1 or min(h, w) < 4 * step:
        return cv2.GaussianBlur(values, (0, 0), sigma_px).astype(np.float32, copy=False)
    few = cv2.resize(values, (max(4, w // step), max(4, h // step)), interpolation=cv2.INTER_AREA)
    few = cv2.GaussianBlur(few, (0, 0), float(np.sqrt((sigma_px / step) ** 2 - _BY_ITSELF)))
    return cv2.resize(few, (w, h), interpolation=cv2.INTER_LINEAR).astype(np.float32, copy=False)

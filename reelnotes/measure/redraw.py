"""A picture of the board's plane on one raster, drawn on another."""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster

_COARSER = 1.2  # times fewer pixels to a millimetre, from which fine print would alias if it were not smoothed away first


def redrawn(values: NDArray[np.float32], source: Raster, target: Raster, *, border_goes_on: bool = False) -> NDArray[np.float32]:
    """A picture (h, w[, n]) on one raster drawn on another of the same height, smoothed where that one is coarser.

    border_goes_on  beyond the source all is as at its border; False: 0
    """
    ratio = source.px_per_mm / target.px_per_mm
    if ratio > _COARSER:
        values = cv2.GaussianBlur(values, (0, 0), 0.4 * ratio).astype(np.float32, copy=False)
    # Rasters lie along the board, so that one is a stretch and a shift of the other.
    to_source = np.array([[ratio, 0.0, float(source.column(target.x0_mm))], [0.0, ratio, float(source.row(target.y0_mm))]])
    border = cv2.BORDER_REPLICATE if border_goes_on else cv2.BORDER_CONSTANT
    size, how = (target.width_px, target.height_px), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(values, to_source, size, flags=how, borderMode=border).astype(np.float32, copy=False)

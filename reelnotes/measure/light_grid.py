"""The light of like pixels near by, kept apart by brightness: a bilateral grid.

The idea of the bilateral filter (Tomasi and Manduchi 1998) on a coarse grid of places and brightness levels (Chen, Paris and
Durand 2007): pixels are collected into it, it is smoothed, and any pixel reads its own place and brightness from it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array

from reelnotes.measure.stack import Picture, summed

_LEVEL = 0.2  # step between brightness levels, in powers of two
_WIDTH = 1.5  # cells to a standard deviation of the smoothing: as few as draw it smoothly
# Collecting into cells and reading between their middles smooth by themselves, by these variances in cells.
_BY_ITSELF = 1.0 / 12.0 + 1.0 / 6.0
_ENOUGH = 0.06  # weight of trusted pixels to a pixel, from which their light is taken whole
Weight = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Lights:
    """The light of trusted pixels near by, for each brightness: a bilateral grid.

    above   (levels * h, w, 4) smoothed sums of weight * (seen x board, weight), to a pixel; one level of brightness below the
            other, the lowest first
    below   (levels * h, w, 3) the same of weight * board squared
    low     the lowest level, of _LEVEL powers of two each
    high    rows of a level
    """

    above: Picture
    below: Picture
    low: float
    high: int

    def let_grow(self, gain: Picture, ratio: Weight) -> Picture:
        """``gain`` with the light of like pixels put in where there are enough of them near by; on any raster of the board."""
        h, w = ratio.shape
        rows, columns, levels = self.high, self.above.shape[1], len(self.above) // self.high
        asked = _level(ratio) - np.float32(self.low)
        level = np.clip(asked, 0.0, np.float32(levels - 1.0))
        u = np.clip((np.arange(w, dtype=np.float32) + 0.5) * (columns / w) - 0.5, 0, columns - 1).astype(np.float32)
        v = np.clip((np.arange(h, dtype=np.float32) + 0.5) * (rows / h) - 0.5, 0, rows - 1).astype(np.float32)[:, None]
        u = np.repeat(u[None], h, axis=0)
        under = np.minimum(np.floor(level), np.float32(max(levels - 2.0, 0.0)))
        row = v + under * np.float32(rows)
        share = (level - under)[..., None]
        sums = []
        for grid in (self.above, self.below):
            lower = cv2.remap(grid, u, row, cv2.INTER_LINEAR)
            if levels > 1:
                lower += share * (cv2.remap(grid, u, row + np.float32(rows), cv2.INTER_LINEAR) - lower)
            sums.append(lower.astype(np.float32, copy=False))
        known = np.clip(1.0 - np.abs(asked - level), 0.0, 1.0)  # nothing brighter or darker was collected
        use = np.clip(known * sums[0][..., 3] * np.float32(1.0 / _ENOUGH), 0.0, 1.0)[..., None]
        return (gain + use * (_light_of(np.ascontiguousarray(sums[0][..., :3]), sums[1]) - gain)).astype(np.float32, copy=False)


def _level(ratio: Weight) -> Weight:
    return np.log2(np.clip(ratio, 0.03, 8.0)) * np.float32(1.0 / _LEVEL)


def lights_of_like(image: Picture, plain: Picture, trust: Weight, ratio: Weight, sigma_px: float) -> Lights:
    """Collect the light of trusted pixels, smoothed over ``sigma_px`` and held apart by brightness."""
    h, w = trust.shape
    step = max(1, round(sigma_px / _WIDTH))
    rows, columns = max(8, h // step), max(8, w // step)
    level = _level(ratio)
    low, high = np.floor(np.percentile(level, 0.5)), np.ceil(np.percentile(level, 99.5))
    known = trust > 0.0
    trusted, board = trust[known][:, None], plain[known]
    parts = np.concatenate([image[known] * board * trusted, board * board * trusted, trusted], axis=1)
    place = ((np.arange(h) * rows // h)[:, None] * columns + np.arange(w) * columns // w)[known].astype(np.int32)
    sums = _collected(level[known] - low, place, parts, int(high - low) + 1, rows * columns)
    sums *= rows * columns / (h * w)  # to a pixel
    sigma = float(np.sqrt(max((sigma_px / step) ** 2 - _BY_ITSELF, 0.1)))
    grids = sums.reshape(-1, rows, columns, 7)
    for like in grids:
        if like.any():  # else no trusted pixel is of about this brightness
            like[:] = cv2.GaussianBlur(like, (0, 0), sigma)
    above, below = np.ascontiguousarray(grids[..., [0, 1, 2, 6]]), np.ascontiguousarray(grids[..., 3:6])
    return Lights(above.reshape(-1, columns, 4), below.reshape(-1, columns, 3), float(low), rows)


def _collected(level: Weight, place: NDArray[np.intp], parts: Weight, levels: int, cells: int) -> Weight:
    """(levels, cells, m) sums of pixels' ``parts`` (n, m), each parted between the two levels that it lies between.

    level  (n,) above the lowest, in whole levels and parts of them; what lies beyond the lowest or the highest counts less
    place  (n,) cell
    """
    under = np.floor(level)
    above = (level - under).astype(np.float32)
    first = under.astype(np.int32)
    sums = np.zeros((levels * cells, parts.shape[1]), np.float32)
    for at, share in ((first, 1.0 - above), (first + 1, above)):
        weights = np.where((at >= 0) & (at < levels), share, np.float32(0.0))
        index = np.clip(at, 0, levels - 1) * np.int32(cells) + place
        # A matrix with one number to a pixel, in the row of its cell: what it is multiplied with is summed by cells.
        pixels = np.arange(len(index) + 1, dtype=np.int32)
        sums += csc_array((weights, index, pixels), shape=(levels * cells, len(index))) @ parts
    return sums.reshape(levels, cells, -1)


def _light_of(above: Picture, below: Picture) -> Picture:
    """(h, w, 3) the light, from sums of seen x board and of board squared: least squares.

    Where the board is dark in a channel, that channel's light is drawn to the grey light of all.
    """
    all_below = summed(below)[..., None] / 3.0
    grey = (summed(above)[..., None] / 3.0 + 1e-3) / (all_below + 1e-3)
    return np.asarray((above + 0.1 * all_below * grey + 1e-4) / (below + 0.1 * all_below + 1e-4), np.float32)

"""The light of like pixels near by, kept apart by brightness: a bilateral grid.

The idea of the bilateral filter (Tomasi and Manduchi 1998) on a coarse grid of places and brightness levels (Chen, Paris and
Durand 2007): pixels are collected into it, it is smoothed, and any pixel reads its own place and brightness from it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Picture, summed

_LEVEL = 0.2  # step between brightness levels, in powers of two
Weight = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Lights:
    """The light of trusted pixels near by, for each brightness: a bilateral grid.

    grid    (levels * h, w, 4) and the same again: smoothed sums of weight * (seen x board, weight), of weight * board squared;
            one level of brightness below the other, the lowest first
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
        asked = _level(ratio) - self.low
        level = np.clip(asked, 0.0, levels - 1.0)
        u = np.clip((np.arange(w, dtype=np.float32) + 0.5) * (columns / w) - 0.5, 0, columns - 1)
        v = np.clip((np.arange(h, dtype=np.float32) + 0.5) * (rows / h) - 0.5, 0, rows - 1)
        u, v = np.broadcast_to(u[None, :], (h, w)).astype(np.float32), v[:, None]
        under = np.minimum(np.floor(level), levels - 2.0) if levels > 1 else np.zeros_like(level)
        share = (level - under)[..., None]
        sums = []
        for grid in (self.above, self.below):
            lower = cv2.remap(grid, u, (v + under * rows).astype(np.float32), cv2.INTER_LINEAR)
            upper = cv2.remap(grid, u, (v + (under + 1.0) * rows).astype(np.float32), cv2.INTER_LINEAR) if levels > 1 else lower
            sums.append(lower + share * (upper - lower))
        above, below, support = sums[0][..., :3], sums[1], sums[0][..., 3:]
        all_below = summed(below)[..., None] / 3.0
        grey = (summed(np.ascontiguousarray(above))[..., None] / 3.0 + 1e-3) / (all_below + 1e-3)
        own = (above + 0.1 * all_below * grey + 1e-4) / (below + 0.1 * all_below + 1e-4)
        known = np.clip(1.0 - np.abs(asked - level), 0.0, 1.0)[..., None]  # nothing brighter or darker was collected
        use = np.clip(known * support / 0.06, 0.0, 1.0)
        return (use * own + (1.0 - use) * gain).astype(np.float32)


def _level(ratio: Weight) -> Weight:
    return (np.log2(np.clip(ratio, 0.03, 8.0)) / _LEVEL).astype(np.float32)


def lights_of_like(image: Picture, plain: Picture, trust: Weight, ratio: Weight, sigma_px: float) -> Lights:
    """Collect the light of trusted pixels, smoothed over ``sigma_px`` and held apart by brightness."""
    h, w = trust.shape
    step = max(1, round(sigma_px / 2.0))
    size, sigma = (max(8, w // step), max(8, h // step)), sigma_px / step
    level = _level(ratio)
    low, high = np.floor(np.percentile(level, 0.5)), np.ceil(np.percentile(level, 99.5))
    above = [*cv2.split(image * plain * trust[..., None]), trust]
    below = cv2.split(plain * plain * trust[..., None])
    grids: tuple[list[Picture], list[Picture]] = ([], [])
    lit = np.unique(np.floor(level[trust > 0.0]))
    for centre in np.arange(low, high + 1.0):
        if not np.isin([centre - 1.0, centre], lit).any():  # no trusted pixel is of about this brightness
            for planes, grid in zip((above, below), grids, strict=True):
                grid.append(np.zeros((size[1], size[0], len(planes)), np.float32))
            continue
        like = np.clip(1.0 - np.abs(level - centre), 0.0, 1.0)
        for planes, grid in zip((above, below), grids, strict=True):
            small = cv2.merge([cv2.resize(plane * like, size, interpolation=cv2.INTER_AREA) for plane in planes])
            grid.append(cv2.GaussianBlur(small, (0, 0), sigma).astype(np.float32))
    return Lights(np.concatenate(grids[0]), np.concatenate(grids[1]), float(low), size[1])

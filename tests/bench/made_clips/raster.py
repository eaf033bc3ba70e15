"""Point-sampled rasteriser for meshes of small quads, all in numpy: exact at every sample, no lines grown by half a pixel."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]
_SIZES = np.array([1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96, 128, 256, 512])
_CHUNK = 400_000  # samples tried at once


def rank_image(px: Array, quads: NDArray[np.int64], shape: tuple[int, int]) -> NDArray[np.int32]:
    """(h, w) index of the last quad in the list that covers each sample, -1 where none does: sort far to near beforehand.

    px (v, 2) in samples, integers at the samples' centres.
    """
    h, w = shape
    corners = px.astype(np.float32)[quads]  # (q, 4, 2)
    low = np.ceil(corners.min(axis=1)).astype(np.int64)
    high = np.floor(corners.max(axis=1)).astype(np.int64)
    low, high = np.maximum(low, 0), np.minimum(high, [w - 1, h - 1])
    span = high - low + 1
    live = np.flatnonzero((span > 0).all(axis=1))
    out = np.full(h * w, -1, np.int32)
    if not len(live):
        return out.reshape(h, w)
    kinds = np.searchsorted(_SIZES, np.minimum(span[live], _SIZES[-1]))
    group = kinds[:, 0] * len(_SIZES) + kinds[:, 1]
    for g in np.unique(group):
        kw, kh = int(_SIZES[g // len(_SIZES)]), int(_SIZES[g % len(_SIZES)])
        members = live[group == g]
        gy, gx = np.divmod(np.arange(kw * kh), kw)
        each = max(1, _CHUNK // (kw * kh))
        for k in range(0, len(members), each):
            _cover(out, corners, low, high, members[k : k + each], gx, gy, w)
    return out.reshape(h, w)


def _cover(
    out: NDArray[np.int32], corners: NDArray[np.float32], low: Array, high: Array, some: Array, gx: Array, gy: Array, w: int
) -> None:
    """Write the numbers of ``some`` quads (ascending) into the flat image where they cover it and nothing nearer does."""
    x, y = low[some, 0:1] + gx, low[some, 1:2] + gy
    base = low[some].astype(np.float32)
    c = corners[some] - base[:, None]
    fx, fy = gx.astype(np.float32)[None], gy.astype(np.float32)[None]
    all_left = np.ones(x.shape, bool)
    all_right = np.ones(x.shape, bool)
    for a in range(4):
        p, q = c[:, a], c[:, (a + 1) % 4]
        d = q - p
        side = d[:, :1] * (fy - p[:, 1:]) - d[:, 1:] * (fx - p[:, :1])
        all_left &= side >= 0
        all_right &= side <= 0
    hit = (all_left | all_right) & (x <= high[some, 0:1]) & (y <= high[some, 1:2])
    which, _ = np.nonzero(hit)
    at = (y * w + x)[hit]
    number = some[which].astype(np.int32)
    # "which" ascends, so of several quads at one sample the last, which is the nearest, stays.
    nearer = number > out[at]
    out[at[nearer]] = number[nearer]

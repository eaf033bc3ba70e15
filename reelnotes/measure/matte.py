"""How much of each pixel is fish: 0 where the board is seen whole, 1 where it is hidden, between along a blurred edge.

The sum of this share across a lobe is the lobe's width, blurred or not, which is what makes a tail's tip
measurable below the size of a pixel (the alpha of natural image matting; Porter and Duff 1984 for the term).
"""

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Mask, Picture, summed

_SHADE_PRIOR = 1100.0  # how unwilling a pixel is to be called shade, in squared levels: ten levels for a shade of a third
# Print is bridged over this part of a fish colour's reach, where it tells less than this part of what tells around it.
# Judgement, no source.
_PRINT_REACH, _TELLS_ENOUGH = 0.5, 0.3


def share_of_fish(
    image: Picture, expected: Picture, mask: Mask, core: Mask, reach_px: float, *, shaded: bool = True
) -> NDArray[np.float32]:
    """(h, w) float32 share, about -0.3..1.3 (noise is not cut off, so that sums stay true).

    image, expected  (h, w, 3) as seen, and as the empty board would look
    mask, core       where the fish is, roughly, and well inside it
    reach_px         how far a fish colour may be carried to the pixels around it
    shaded           False: no shade is thought of, and what is darker than the board counts as fish

    A pixel is taken as a mix of fish, lit board, and board in the fish's own shade: least squares in the two
    unknowns. Where the fish has the board's hue, shade cannot be told from fish, and the shade's prior lets fish win.
    """
    off = image - expected
    fish = _fish_colour(image, off, mask, core, reach_px)
    p, q = fish - expected, -expected
    pp, qq, pq = (summed(x * y) for x, y in ((p, p), (q, q), (p, q)))
    dp, dq = summed(off * p), summed(off * q)
    pp = np.maximum(pp, 60.0)
    qq = qq + _SHADE_PRIOR
    det = np.maximum(pp * qq - pq * pq, 1e-3)
    shade = np.clip((dq * pp - dp * pq) / det, 0.0, 0.7) if shaded else np.zeros_like(det)
    share = np.clip((dp - shade * pq) / pp, -0.3, 1.3)
    return _carried_over_print(share.astype(np.float32), summed(p**2), reach_px)


def _carried_over_print(share: NDArray[np.float32], tells: NDArray[np.float32], reach_px: float) -> NDArray[np.float32]:
    """The share where print has the fish's own colour, and so tells nothing, from what tells more around it (a normalised
    convolution: Knutsson and Westin 1993).

    tells  (h, w) squared levels between the fish's colour and the board's
    """
    around = _smoothed(np.dstack([share * tells, tells]), _PRINT_REACH * reach_px)
    told = around[..., 0] / np.maximum(around[..., 1], 1e-3)
    own = np.clip(tells / np.maximum(_TELLS_ENOUGH * around[..., 1], 1e-3), 0.0, 1.0)
    return (own * share + (1.0 - own) * told).astype(np.float32)


def _fish_colour(image: Picture, off: Picture, mask: Mask, core: Mask, reach_px: float) -> Picture:
    """The fish's colour at and around it: that of the purest pixels near by, inside it where there is an inside."""
    strength = summed(off**2)
    strength /= max(float(strength.max()), 1e-9)
    weight = (np.where(core, 1.0, np.where(mask, 0.01, 0.0)) * strength**2 + 1e-9 * mask).astype(np.float32)
    stack = np.dstack([image * weight[..., None], weight])
    mixed = _smoothed(stack, reach_px) + 1e-3 * _smoothed(stack, 4 * reach_px) + 1e-14
    return (mixed[..., :3] / mixed[..., 3:]).astype(np.float32)


def _smoothed(values: NDArray[np.float32], sigma_px: float) -> NDArray[np.float32]:
    """(h, w, n) blurred; what is smooth over sigma needs few pixels, and large blurs are dear."""
    h, w = values.shape[:2]
    step = max(1, int(sigma_px / 12))
    few = cv2.resize(values, (max(4, w // step), max(4, h // step)), interpolation=cv2.INTER_AREA)
    return cv2.resize(cv2.GaussianBlur(few, (0, 0), sigma_px / step), (w, h), interpolation=cv2.INTER_LINEAR).astype(np.float32)

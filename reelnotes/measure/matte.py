"""How much of each pixel is fish: 0 where the board is seen whole, 1 where it is hidden, between along a blurred edge.

The sum of this share across a lobe is the lobe's width, blurred or not, which is what makes a tail's tip
measurable below the size of a pixel (the alpha of natural image matting; Porter and Duff 1984 for the term).
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.smooth import smoothed
from reelnotes.measure.stack import Mask, Picture, summed

Weights = NDArray[np.float32]

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
    return mixed(image, expected, mask, core, reach_px).share(shaded=shaded)


@dataclass(frozen=True, eq=False)
class Mix:
    """What both readings of a picture, with shade and without, ask of it: products of these, (h, w) each, over the channels.

    d  seen less the lit board; p: the fish's colour less the lit board; q: no light less the lit board
    """

    pp: Weights
    qq: Weights
    pq: Weights
    dp: Weights
    dq: Weights
    reach_px: float

    @cached_property
    def _tells_around(self) -> Weights:
        return smoothed(self.pp, _PRINT_REACH * self.reach_px)

    def share(self, *, shaded: bool) -> Weights:
        """The share of fish: see :func:`share_of_fish`."""
        pp = np.maximum(self.pp, 60.0)
        if not shaded:
            return self._carried_over_print(np.clip(self.dp / pp, -0.3, 1.3))
        qq = self.qq + _SHADE_PRIOR
        det = np.maximum(pp * qq - self.pq * self.pq, 1e-3)
        shade = np.clip((self.dq * pp - self.dp * self.pq) / det, 0.0, 0.7)
        return self._carried_over_print(np.clip((self.dp - shade * self.pq) / pp, -0.3, 1.3))

    def _carried_over_print(self, share: Weights) -> Weights:
        """The share where print has the fish's own colour, and so tells nothing, from what tells more around it (a normalised
        convolution: Knutsson and Westin 1993)."""
        around = self._tells_around
        told = smoothed(share * self.pp, _PRINT_REACH * self.reach_px) / np.maximum(around, 1e-3)
        own = np.clip(self.pp / np.maximum(_TELLS_ENOUGH * around, 1e-3), 0.0, 1.0)
        return (told + own * (share - told)).astype(np.float32, copy=False)


def mixed(image: Picture, expected: Picture, mask: Mask, core: Mask, reach_px: float) -> Mix:
    """What :func:`share_of_fish` needs of these."""
    off = image - expected
    p = _fish_colour(image, off, mask, core, reach_px) - expected
    products = (summed(x * y) for x, y in ((p, p), (expected, expected), (p, expected), (off, p), (off, expected)))
    pp, qq, pe, dp, de = products
    return Mix(pp, qq, -pe, dp, -de, reach_px)


def _fish_colour(image: Picture, off: Picture, mask: Mask, core: Mask, reach_px: float) -> Picture:
    """The fish's colour at and around it: that of the purest pixels near by, inside it where there is an inside."""
    strength = summed(off * off)
    strength /= max(float(strength.max()), 1e-9)
    weight = (np.where(core, 1.0, np.where(mask, 0.01, 0.0)) * strength**2 + 1e-9 * mask).astype(np.float32)
    stack = cv2.merge([*cv2.split(image * weight[..., None]), weight]).astype(np.float32, copy=False)
    mixed = smoothed(stack, reach_px) + 1e-3 * smoothed(stack, 4 * reach_px) + 1e-14
    return (mixed[..., :3] / mixed[..., 3:]).astype(np.float32, copy=False)

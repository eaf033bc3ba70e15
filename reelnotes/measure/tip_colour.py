"""Whether a tail's tip has the tail's own colour: else what hangs on to it may be a stain, or a shadow on a pale board.

Tails darken towards their ends, or take on another hue there; but none of those seen so far pales. Board in shade behind a
darker tail does, and so does a pale stain.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.joined import OTHER_HUE
from reelnotes.measure.landmarks import Share, Tail
from reelnotes.measure.stack import Mask, Picture, summed

# All judgement, no source.
_FIRM = 0.8  # share of fish: what is half board tells of the board
_TIP_MM, _TIP = 6.0, 0.03  # and share of the length: the tip
_END_MM = 5.0  # the tip's very end
_REST = (1.3, 4.0)  # times as far before it: the tail
_LEAST_PX, _LEAST_REST_PX = 6, 20
_LEAST_LIGHT = 0.05
# CIELAB units (L). On 150 drawn clips the tips of tails rightly measured were paler than the tail by 5 at most, unless the tail
# was of the board's own colour (19) or lay half in the shade of a hand (13, 10 when that was allowed for); shade taken for tail
# was paler by 10 to 24, a stain by 17.
_PALER, _MUCH_PALER = 8.0, 13.0
_SHADED = 0.7  # share of the tip that looks like board in a shadow if it is one


@dataclass(frozen=True, slots=True)
class TipColour:
    """How a tail's tip differs from the tail.

    tail_light  the tail's lightness, CIELAB's L
    paler       the tip's less the tail's
    by_itself   the same with the board's light allowed for
    hue_apart   how far the tip's hue lies from the tail's, and from the tail's darkened, in units of a and b
    off_board   how far the tip's lightness lies from the empty board's
    shaded      share of the tip's very end that looks as the board would under less light
    """

    tail_light: float = 0.0
    paler: float = 0.0
    by_itself: float = 0.0
    hue_apart: float = 0.0
    off_board: float = 0.0
    shaded: float = 0.0

    @property
    def other_hue(self) -> bool:
        """Whether the tip has another hue than the tail."""
        return self.hue_apart > OTHER_HUE

    @property
    def in_shade(self) -> bool:
        """Whether the tip is paler than the tail, and looks like board in a shadow."""
        return min(self.paler, self.by_itself) > _PALER and self.shaded > _SHADED

    @property
    def odd(self) -> str:
        """What about the tip's colour casts doubt on it; "" for nothing."""
        if self.other_hue:
            return "the tail's tip has another hue than the tail: a stain may be joined to it"
        if self.in_shade or (min(self.paler, self.by_itself) > _MUCH_PALER and self.off_board > _PALER):
            return "the tail's tip is paler than the tail: a shadow or a stain may be joined to it"
        return ""


def tip_colour(share: Share, image: Picture, expected: Picture, light: Picture, raster: Raster, tail: Tail) -> TipColour:
    """Compare the tip with the tail before it; where too little is seen of either, they do not differ.

    share   (h, w) of fish, on ``raster`` as all of these
    image   (h, w, 3) BGR as seen; expected: the empty board, 0..255; light: upon the board, a factor
    """
    u, v = np.meshgrid(np.arange(raster.width_px), np.arange(raster.height_px))
    mm = raster.to_mm(np.stack([u, v], axis=-1))
    before, aside = tail.tip_x - mm[..., 0], np.abs(mm[..., 1] - tail.tip_y)
    size, firm = max(_TIP_MM, _TIP * tail.tip_x), share > _FIRM
    tip, rest = firm & (before < size) & (aside < size), firm & (before > _REST[0] * size) & (before < _REST[1] * size)
    if tip.sum() < _LEAST_PX or rest.sum() < _LEAST_REST_PX:
        return TipColour()
    even = light.mean(axis=-1, keepdims=True)
    even = image * np.median(even[rest]) / np.maximum(even, _LEAST_LIGHT)  # as in the light that is on the tail
    own, here, lit_own, lit = (np.median(_lab(seen[where]), axis=0) for seen in (image, even) for where in (rest, tip))
    end = tip & (before < _END_MM) & (aside < _END_MM)
    return TipColour(
        float(own[0]), float(here[0] - own[0]), float(lit[0] - lit_own[0]), hue_apart(own, here),
        float(abs(here[0] - np.median(_lab(expected[tip]), axis=0)[0])),
        float(board_in_shade(image, expected)[end if end.any() else tip].mean()),
    )  # fmt: skip


def hue_apart(tail: NDArray[np.float32], tip: NDArray[np.float32]) -> float:
    """How far a tip's a and b lie from the nearest that the tail's own colour takes on its way to black, where the tip is the
    darker: a strongly coloured tail's dark margin is nearly grey, as all dark colours are. (3,) CIELAB both."""
    own, seen = tail[1:].astype(np.float64), tip[1:].astype(np.float64)
    left = float(np.clip(own @ seen / max(float(own @ own), 1e-9), 0.0, 1.0)) if tip[0] < tail[0] else 1.0
    return float(np.hypot(*(seen - left * own)))


def without_pale(share: Share, image: Picture, colour: TipColour) -> Share:
    """The share of fish where what is paler than the tail, as much as its tip is, counts as none."""
    lightness = _lab(image.reshape(-1, 3))[:, 0].reshape(share.shape)
    own = np.clip(1.0 - (lightness - colour.tail_light) / max(colour.paler, 1e-3), 0.0, 1.0)
    return (share * own).astype(np.float32)


def board_in_shade(image: Picture, expected: Picture) -> Mask:
    """(h, w) where what is seen is what the board would show under less light of the same hue."""
    less = (summed(image * expected) / np.maximum(summed(expected * expected), 1.0)).astype(np.float32, copy=False)
    left = np.sqrt(summed((image - less[..., None] * expected) ** 2) / 3.0)
    return np.asarray((less > 0.3) & (less < 0.9) & (left < 4.0 + 0.05 * summed(expected) / 3.0))


def _lab(colours: NDArray[np.float32]) -> NDArray[np.float32]:
    """(n, 3) BGR 0..255 -> (n, 3) CIELAB."""
    unit = (np.clip(colours, 0.0, 255.0) / 255.0).astype(np.float32)
    return cv2.cvtColor(unit[None], cv2.COLOR_BGR2LAB)[0].astype(np.float32, copy=False)

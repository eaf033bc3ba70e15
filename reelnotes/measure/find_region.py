"""A board sought where a rough look at the frame sees one (``region``): by the features there, and by the place's own outline.

On a busy deck most features are the deck's, and the strongest few hundred all are. Within the board's place the board's own
print is left, drawn as large as the frame has it. Where no print is large enough for features, the outline of the place
is: it is amodal, so a fish from edge to edge does not part it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure import find_outline, find_print
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Features, Proposal
from reelnotes.measure.guided import guided
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.refine import likeness
from reelnotes.measure.region import board_region

_LIKELY = 0.5
_FINER = 4  # the net's places are drawn this much finer, so that an outline runs between them
_LEAST = 0.0015  # of the picture, for a place to be a board's
_BESIDE = 0.3  # of the largest part, from which another belongs to it
_AROUND = 0.06  # of the place's breadth and height, by which it is searched beyond its rim
_LONGEST_PX = 1280  # the place is drawn no larger than this
_ROUGH = 6  # poses from the outline alone


@dataclass(frozen=True, eq=False)
class Place:
    """Where in a picture a board might lie.

    mask   (h, w) uint8 0 or 1, the whole picture, each pixel an equal part of it
    left, top, right, bottom   the picture's pixels around it, with a rim
    """

    mask: NDArray[np.uint8]
    left: int
    top: int
    right: int
    bottom: int


def place_of_board(image: NDArray[np.uint8]) -> Place | None:
    """The likeliest place of a board in a BGR picture; None where none is likely."""
    likely = board_region(image)
    size = (likely.shape[1] * _FINER, likely.shape[0] * _FINER)
    mask = (cv2.resize(likely, size, interpolation=cv2.INTER_LINEAR) > _LIKELY).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    if count < 2:
        return None
    areas = stats[1:, cv2.CC_STAT_AREA]
    if areas.max() < _LEAST * mask.size:
        return None
    mask = np.isin(labels, 1 + np.flatnonzero(areas >= _BESIDE * areas.max())).astype(np.uint8)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    high, wide = image.shape[0] / mask.shape[0], image.shape[1] / mask.shape[1]
    left, right, top, bottom = columns[0] * wide, (columns[-1] + 1) * wide, rows[0] * high, (rows[-1] + 1) * high
    across, down = _AROUND * (right - left) + 2 * wide, _AROUND * (bottom - top) + 2 * high
    return Place(mask, max(0, int(left - across)), max(0, int(top - down)),
                 min(image.shape[1], int(right + across) + 1), min(image.shape[0], int(bottom + down) + 1))  # fmt: skip


@dataclass(frozen=True, eq=False)
class CloseView:
    """A place drawn by itself: features of its print, by the boards' ink, and the lens that they are seen through."""

    features: Mapping[tuple[float, ...], Features]
    lens: LensModel


def close_view(image: NDArray[np.uint8], place: Place, models: Sequence[BoardModel], lens: LensModel) -> CloseView:
    """Draw the features of a place for the boards' inks, once for all that asks them."""
    part, part_lens, within = _part(image, place, lens)
    return CloseView(find_print.features_by_ink(part, models, within), part_lens)


def propose(view: CloseView, models: Sequence[BoardModel]) -> list[Proposal]:
    """Poses that the features within a place agree on, the most agreeing first."""
    return find_print.propose(view.features, models, view.lens)


def propose_by_outline(
    image: NDArray[np.uint8], place: Place, view: CloseView, models: Sequence[BoardModel], lens: LensModel
) -> list[Proposal]:
    """Poses in which a board would fill the place: first those that features near their places bear out, then those as they are
    under which the picture is most like the board."""
    four = find_outline.outline_of(_firm(place.mask), image.shape, lens)
    if four is None:
        return []
    rough = find_outline.propose([four], models)
    tried = (guided(view.features[find_print.ink_of(one.model)], one, view.lens) for one in rough)
    sure = [made for made in tried if made is not None]
    alike = sorted(rough, key=lambda p: -likeness(image, p.model, lens, p.R, p.t))
    return [*sorted(sure, key=lambda p: -p.support), *alike[:_ROUGH]]


def _firm(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A patch without its thin outgrowths: a board is four times as long as wide, or not much more."""
    wide = max(3, round(0.3 * float(np.sqrt(mask.sum() / 4.0))) | 1)
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (wide, wide))
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, brush).astype(np.uint8)
    return opened if opened.any() else mask


def _part(image: NDArray[np.uint8], place: Place, lens: LensModel) -> tuple[NDArray[np.uint8], LensModel, NDArray[np.uint8]]:
    """The picture of a place, the lens for it, and where in it the place is (with its rim)."""
    part = image[place.top : place.bottom, place.left : place.right]
    gain = min(1.0, _LONGEST_PX / max(part.shape[:2]))
    width, height = (max(1, round(n * gain)) for n in part.shape[1::-1])
    drawn = cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA).astype(np.uint8) if gain < 1.0 else part
    part_lens = lens.of_part((place.left, place.top), (part.shape[1], part.shape[0]), (width, height))
    rows, columns = np.nonzero(place.mask)
    rim = 2 * (round(_AROUND * float(min(np.ptp(rows), np.ptp(columns)))) + _FINER) + 1
    grown = cv2.dilate(place.mask, np.ones((rim, rim), np.uint8))
    whole = cv2.resize(grown, image.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    cut = whole[place.top : place.bottom, place.left : place.right]
    within = cv2.resize(cut, (width, height), interpolation=cv2.INTER_NEAREST)
    return np.ascontiguousarray(drawn), part_lens, within.astype(np.uint8)

"""Which board lies in this picture, and where: proposals from squares, from the place that a net sees, from print and from
outlines, judged by the print itself."""

import logging
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure import find_markers, find_outline, find_print, find_region
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Proposal
from reelnotes.measure.find_strips import by_strips
from reelnotes.measure.guided import grown, guided
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.pose_fit import LensFreedom, fit_frames
from reelnotes.measure.proof import borne_out, contradicted, proved, proved_in_the_open
from reelnotes.measure.refine import Alignment, settle

log = logging.getLogger(__name__)

_SURE = 0.50  # a score at which no other proposal needs to be looked at
# On another board not half as many features come together (52 on drawn clips): their reach along the board counts, too.
_VERY_MANY = 120
# Numbered squares that agree on one pose: another board would need the same numbers in the same places. The print has only to
# bear them out, wherever a fish leaves it in sight.
_SQUARES = 4
_SAME = 0.01  # of the board's length: proposals whose corners lie closer are one, for settling mends far more
_OUTLINES, _GUIDED = 32, 3  # rough poses from outlines that are looked into, and guided ones that are settled
_TRIED, _LEAST_OF_BEST = 5, 0.25  # of the poses that features propose: so many, and that share of the most support
_GROWN = 3  # of the poses grown from them, that are settled
_NOT_FAR_BELOW = 0.5  # of a proved pose's support, from which another may be the better one
_LENS_TOLD, _BETTER = 0.55, 1.05  # strength at which a lens solved from one frame is sure; times stronger, to be the better one
_SEARCH_SIDES = (640, 1280)  # large features first: on a busy deck the small ones are all the deck's
_ByInk = Mapping[tuple[float, ...], find_print.Features]
_Drawn = dict[tuple[int, ...], dict[tuple[float, ...], find_print.Features]]  # features by a picture's shape, then by ink


def guessed_lens(width_px: int, height_px: int) -> LensModel:
    """A lens in the middle of what cameras have, for a start: about 85 degrees across, bent like neither a pure
    fisheye nor a pinhole."""
    side = max(width_px, height_px)
    return LensModel("fisheye", width_px, height_px, 0.62 * side, 0.62 * side, (width_px - 1) / 2, (height_px - 1) / 2,
                     (0.15, 0.03, 0.0, 0.0), focal_sigma=0.25)  # fmt: skip


GUESS_FREEDOM = LensFreedom(log_focal=0.25, radial=(0.15, 0.03))


def find_board(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, *,
    whole: bool = True, outlines: bool = True,
) -> Alignment | None:  # fmt: skip
    """The board that the print proves, aligned to about a pixel; None when none is proved. As :func:`search`."""
    return search(image, models, lens, freedom, whole=whole, outlines=outlines).found


@dataclass(frozen=True, eq=False)
class Search:
    """The board found in a frame, if one is, and the greatest strength of any pose that held together, proved or not."""

    found: Alignment | None
    nearest: float


def search(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, *, whole: bool, outlines: bool
) -> Search:
    """The board that the print proves, and how near anything came to it. BGR picture.

    whole: whether to search all of the picture, should the likeliest place in it hold no board; outlines: and four-sided
    patches, should that find none either.
    """
    ways = [_by_markers(image, models, lens, freedom), _by_place(image, models, lens, freedom, by_shape=whole)]
    drawn: _Drawn = {}
    if whole:
        ways.append(_by_print(image, models, lens, freedom, drawn))
    if outlines:  # they say least, and cost most
        ways.append(_by_outline(image, models, lens, freedom, drawn))
    nearest = 0.0
    for way in ways:
        made = _best_of(image, way, lens, freedom)
        nearest = max(nearest, made.nearest)
        if made.found is not None:
            return replace(made, found=_under_another_lens(image, made.found, lens, freedom))
    return Search(None, nearest)


def _under_another_lens(image: NDArray[np.uint8], found: Alignment, start: LensModel, freedom: LensFreedom) -> Alignment:
    """The board once more from other lenses, where the lens is not known and much of the print does not agree: the best of all.

    The print beside a long fish fits a lens bent as none is, which puts the print at the stop some bars off. From the print that
    agrees, seen through a usual lens, the rest is found in place.
    """
    if not freedom.log_focal or found.strength > _LENS_TOLD:
        return found
    best = found
    for lens in (start, replace(start, dist=(0.0,) * len(start.dist))):
        fit = fit_frames([found.seen], lens, [found.R], [found.t])
        made = settle(image, found.model, lens, fit.R[0], fit.t[0], freedom, near=True) if fit is not None else None
        if made is not None and made.strength > _BETTER * best.strength and not contradicted(image, made):
            best = made
    return best


def _best_of(image: NDArray[np.uint8], proposals: Iterable[Proposal], lens: LensModel, freedom: LensFreedom) -> Search:
    best: Alignment | None = None
    support, nearest = 0, 0.0
    for proposal in proposals:
        if best is not None and proposal.support < _NOT_FAR_BELOW * support:
            break
        made = settle(image, proposal.model, proposal.lens or lens, proposal.R, proposal.t, freedom,
                      near=proposal.lens is not None, held=proposal.held)  # fmt: skip
        nearest = max(nearest, made.strength if made is not None else 0.0)
        if made is None or not (_stands(made, proposal) or proved_in_the_open(image, made)):
            continue
        if (best is None or made.strength > best.strength) and not contradicted(image, made):
            best, support = made, proposal.support
        if best is made and proposal.squares >= _SQUARES:
            break
        if best is not None and best.strength > _SURE and best.reach > 0.85:
            break
    return Search(best, nearest)


def _stands(made: Alignment, proposal: Proposal) -> bool:
    """Whether a settled proposal is a board that is there."""
    if proposal.squares >= _SQUARES:
        return borne_out(made)
    if proposal.gathered:
        return proved(made, proposal.gathered, proposal.spread) if proposal.gathered >= _VERY_MANY else proved(made)
    return proved(made, proposal.support)


def _by_place(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, *, by_shape: bool
) -> Iterator[Proposal]:
    """Where a rough look sees a board: by features there, then by the place's own shape."""
    place = find_region.place_of_board(image)
    if place is not None:
        view = find_region.close_view(image, place, models, lens)
        yield from _as_they_grow(_likeliest(find_region.propose(view, models)), view.features, view.lens, lens, freedom)
        if by_shape:
            found = find_region.propose_by_outline(image, place, view, models, lens)
            yield from _unlike(found)
            yield from _by_strips(image, found, lens, freedom)


def _by_print(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, drawn: _Drawn
) -> Iterator[Proposal]:
    """By features of the whole picture, which are left in ``drawn``."""
    last = None
    for side in _SEARCH_SIDES:
        small, small_lens = _reduced(image, lens, side)
        if last == small.shape:
            continue
        last = small.shape
        drawn[small.shape] = find_print.features_by_ink(small, models)
        by_ink = drawn[small.shape]
        few = _likeliest(find_print.propose(by_ink, models, small_lens))
        yield from _as_they_grow(few, by_ink, small_lens, lens, freedom)


def _likeliest(proposals: list[Proposal]) -> list[Proposal]:
    """The few of them that many features support; the most first, as they come."""
    most = max((p.support for p in proposals), default=0)
    return list(islice(_unlike([p for p in proposals if p.support >= _LEAST_OF_BEST * most]), _TRIED))


def _as_they_grow(
    few: Sequence[Proposal], by_ink: _ByInk, view: LensModel, lens: LensModel, freedom: LensFreedom
) -> Iterator[Proposal]:
    """A few proposals grown over all of the board, the most agreeing first; then as they were.

    by_ink, view: features, and the lens that they are seen through; lens: of the whole picture
    """
    made = (grown(by_ink[find_print.ink_of(one.model)], one, view, freedom) for one in few)
    sure = sorted((one for one in made if one is not None), key=lambda p: -p.gathered)
    for one in islice(_unlike(sure), _GROWN):
        seen = one.lens or view
        gain = seen.fx / view.fx
        yield replace(one, lens=replace(lens, fx=lens.fx * gain, fy=lens.fy * gain, dist=seen.dist))
    yield from few


def _by_outline(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, drawn: _Drawn
) -> Iterator[Proposal]:
    """Where the patches' outlines put a board and features near their places there agree, the most agreeing first."""
    small, small_lens = _reduced(image, lens, _SEARCH_SIDES[-1])
    by_ink = drawn.setdefault(small.shape, {})
    found: list[Proposal] = []
    for rough in find_outline.propose(find_outline.outlines(image, lens), models)[:_OUTLINES]:
        ink = find_print.ink_of(rough.model)
        if ink not in by_ink:
            by_ink[ink] = find_print.features(rough.model.grey_bytes(small), 2000)
        made = guided(by_ink[ink], rough, small_lens)
        if made is not None:
            found.append(made)
    found = list(islice(_unlike(sorted(found, key=lambda p: -p.support)), _GUIDED))
    yield from found
    yield from _by_strips(image, found, lens, freedom)


def _by_strips(
    image: NDArray[np.uint8], guided_: Sequence[Proposal], lens: LensModel, freedom: LensFreedom
) -> Iterator[Proposal]:
    """Once more from the outlines near which features agreed, should they have been a ruler's, a tick or two off their places."""
    made = (by_strips(image, one, lens, freedom) for one in islice((p for p in guided_ if p.support), _GUIDED))
    yield from (one for one in made if one is not None)


def _unlike(proposals: list[Proposal]) -> Iterator[Proposal]:
    """Without those that say the same as one before: unique figures and all print together often do."""
    kept: list[Proposal] = []
    for new in proposals:
        if not any(old.model is new.model and np.abs(_corners(old) - _corners(new)).max() < _SAME for old in kept):
            kept.append(new)
            yield new


def _corners(proposal: Proposal) -> NDArray[np.float64]:
    """(4, 3) the board's corners in the camera, in board lengths."""
    mm, length = proposal.model.corners_mm, proposal.model.board.length_mm
    return np.asarray((mm @ proposal.R[:, :2].T + proposal.t) / length)


def _by_markers(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom
) -> Iterator[Proposal]:
    names = {m.dictionary for model in models for m in model.markers}
    if not names:
        return
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).astype(np.uint8)
    seen = {name: find_markers.squares(grey, name) for name in names}
    found = [p for model in models if model.markers and (p := find_markers.propose(seen, model, lens, freedom)) is not None]
    yield from sorted(found, key=lambda p: -p.support)


def _reduced(image: NDArray[np.uint8], lens: LensModel, limit: int) -> tuple[NDArray[np.uint8], LensModel]:
    """A picture no longer or higher than ``limit`` pixels, and its lens."""
    side = max(image.shape[:2])
    if side <= limit:
        return image, lens
    height, width = (round(n * limit / side) for n in image.shape[:2])
    small = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA).astype(np.uint8)
    return small, lens.of_part((0, 0), (image.shape[1], image.shape[0]), (width, height))

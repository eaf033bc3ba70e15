"""Which board lies in this picture, and where: proposals from squares and from print, judged by the print itself."""

import logging
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure import find_markers, find_outline, find_print
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Proposal
from reelnotes.measure.guided import guided
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.pose_fit import LensFreedom
from reelnotes.measure.refine import Alignment, contradicted, settle

log = logging.getLogger(__name__)

_SURE = 0.50  # a score at which no other proposal needs to be looked at
STILL_HELD = 0.25
_HELD = 0.37  # the least score that counts as this board
_SQUARES = 4  # numbered squares that agree on one pose: another board would need the same numbers in the same places
_STILL_REACH = 0.6
_REACH = 0.90  # of the length that could be seen, agreeing print must span this much
_SAME = 0.01  # of the board's length: proposals whose corners lie closer are one, for settling mends far more
_OUTLINES, _GUIDED = 32, 3  # rough poses from outlines that are looked into, and guided ones that are settled
_SEARCH_SIDES = (640, 1280)  # large features first: on a busy deck the small ones are all the deck's


def guessed_lens(width_px: int, height_px: int) -> LensModel:
    """A lens in the middle of what cameras have, for a start: about 85 degrees across, bent like neither a pure
    fisheye nor a pinhole."""
    side = max(width_px, height_px)
    return LensModel("fisheye", width_px, height_px, 0.62 * side, 0.62 * side, (width_px - 1) / 2, (height_px - 1) / 2,
                     (0.15, 0.03, 0.0, 0.0), focal_sigma=0.25)  # fmt: skip


GUESS_FREEDOM = LensFreedom(log_focal=0.25, radial=(0.15, 0.03))


def find_board(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom, *, outlines: bool = True
) -> Alignment | None:
    """The board that the print proves, aligned to about a pixel; None when none is proved. BGR picture.

    outlines: whether to try four-sided patches too, should print and squares propose nothing that holds.
    """
    found = _best_of(image, _proposals(image, models, lens, freedom), lens, freedom)
    if found is None and outlines:  # they say least, and cost most
        found = _best_of(image, _by_outline(image, models, lens), lens, freedom)
    return found


def _best_of(
    image: NDArray[np.uint8], proposals: Iterable[Proposal], lens: LensModel, freedom: LensFreedom
) -> Alignment | None:
    best: Alignment | None = None
    for proposal in proposals:
        made = settle(image, proposal.model, proposal.lens or lens, proposal.R, proposal.t, freedom,
                      near=proposal.lens is not None)  # fmt: skip
        # Squares known by their numbers prove a board as frames seen before do: burnt-out print is missed less.
        if made is None or not proved(made, _HELD if proposal.squares < _SQUARES else STILL_HELD):
            continue
        if (best is None or made.strength > best.strength) and not contradicted(image, made):
            best = made
        if best is not None and best.strength > _SURE and best.reach > 0.85:
            break
    return best


def proved(made: Alignment, held: float = _HELD) -> bool:
    """Whether the print agrees over enough of what of the board can be seen to call it this board.

    held: least score; lower where another frame of the clip has proved the board already.
    """
    x = made.agreement.mm[made.agreement.seen, 0]
    if len(x) < 12 or len(x) < 0.2 * len(made.agreement.mm):
        return False
    could = float(np.ptp(x)) / made.model.board.length_mm
    spread = _REACH if held >= _HELD else _STILL_REACH
    return made.score >= held and made.reach >= spread * could and made.reach > 0.25


def _proposals(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom
) -> Iterator[Proposal]:
    yield from _by_markers(image, models, lens, freedom)
    last = None
    for side in _SEARCH_SIDES:
        small, small_lens = _reduced(image, lens, side)
        if last == small.shape:
            continue
        last = small.shape
        yield from _unlike(find_print.propose(small, models, small_lens))


def _by_outline(image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel) -> list[Proposal]:
    """Where the patches' outlines put a board and features near their places there agree, the most agreeing first."""
    small, small_lens = _reduced(image, lens, _SEARCH_SIDES[-1])
    by_ink: dict[tuple[float, ...], find_print.Features] = {}
    found: list[Proposal] = []
    for rough in find_outline.propose(find_outline.outlines(image, lens), models)[:_OUTLINES]:
        ink = tuple(np.round(5 * rough.model.ink) / 5)
        if ink not in by_ink:
            by_ink[ink] = find_print.features(np.clip(rough.model.grey(small), 0, 255).astype(np.uint8), 2000)
        made = guided(by_ink[ink], rough, small_lens)
        if made is not None:
            found.append(made)
    return list(_unlike(sorted(found, key=lambda p: -p.support)))[:_GUIDED]


def _unlike(proposals: list[Proposal]) -> Iterator[Proposal]:
    """Without those that say the same as one before: unique figures and all print together often do."""
    kept: list[Proposal] = []
    for new in proposals:
        if not any(old.model is new.model and np.abs(_corners(old) - _corners(new)).max() < _SAME for old in kept):
            kept.append(new)
            yield new


def _corners(proposal: Proposal) -> NDArray[np.float64]:
    """(4, 3) the board's corners in the camera, in board lengths."""
    length, width = proposal.model.board.length_mm, proposal.model.board.width_mm
    mm = np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])
    return np.asarray((mm @ proposal.R[:, :2].T + proposal.t) / length)


def _by_markers(
    image: NDArray[np.uint8], models: Sequence[BoardModel], lens: LensModel, freedom: LensFreedom
) -> list[Proposal]:
    names = {m.dictionary for model in models for m in model.markers}
    if not names:
        return []
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY).astype(np.uint8)
    seen = {name: find_markers.squares(grey, name) for name in names}
    found = [p for model in models if model.markers and (p := find_markers.propose(seen, model, lens, freedom)) is not None]
    return sorted(found, key=lambda p: -p.support)


def _reduced(image: NDArray[np.uint8], lens: LensModel, limit: int) -> tuple[NDArray[np.uint8], LensModel]:
    side = max(image.shape[:2])
    if side <= limit:
        return image, lens
    height, width = (round(n * limit / side) for n in image.shape[:2])
    gx, gy = width / image.shape[1], height / image.shape[0]
    small = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA).astype(np.uint8)
    return small, replace(lens, width_px=width, height_px=height, fx=lens.fx * gx, fy=lens.fy * gy,
                          cx=(lens.cx + 0.5) * gx - 0.5, cy=(lens.cy + 0.5) * gy - 0.5)  # fmt: skip

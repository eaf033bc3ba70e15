"""Whether the print that lies open is this board's: another board may share its ruler, but not its figures, words and rings.

A fish and a hand hide print, glare burns it out, blur and noise weaken it. None of these leaves bare board where strong print
should be: another board does, and so does a pose that is a figure off.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats
from reelnotes.measure.match_print import Agreement, Template, match, template
from reelnotes.measure.parts import Parts
from reelnotes.measure.posed import PosedFrame
from reelnotes.measure.rectify import warp
from reelnotes.measure.refine import native_scale, scales

ANOTHER = "print that should lie open on the board is not there: it may be another board, or soiled"
_COVERED, _ABOUT_MM = 0.2, 20.0  # likeness of fish or hand, on average over so broad a square, from which print may be hidden
_BURNT, _BURNT_SHARE = 245, 0.25  # the least level of a burnt-out pixel, and the share of them from which a piece shows nothing
_STRONG = 18.0  # grey levels (standard deviation) of print that shows as long as anything does
_UNLIKE, _FLAT = 0.35, 0.45  # correlation, and share of the contrast that other print keeps: below both it is bare
# Judgement, no source. On some 340 drawn frames of right boards 0.64 and more of the open print agreed, but on five of them; on 7
# other boards, taken for the right ones, 0.38 to 0.73, and where 0.6 and more, strong print was missing. Where nine tenths agree,
# what is missing may be smeared over.
_LEAST_AGREES, _MOST_AGREES, _MISSING, _PIECES = 0.62, 0.85, 2, 30


def covered(parts: Parts, raster: Raster, mm: Floats) -> NDArray[np.bool_]:
    """(n,) whether a fish or a hand lies over places on the board, (n, 2), or may."""
    about = cv2.blur(np.maximum(parts.fish, parts.over), (max(3, round(_ABOUT_MM * raster.px_per_mm)),) * 2)
    column, row = np.round(raster.to_px(mm)).astype(int).T
    return np.asarray(about[row, column] > _COVERED)


def print_amiss(frame: PosedFrame, model: BoardModel, parts: Parts, raster: Raster) -> str:
    """Why the open print may not be this board's; "" where it is, or too little of it is open. raster: of ``parts``."""
    px_per_mm = scales(model, native_scale(model, frame.lens, frame.R, frame.t))[-1]
    _, agreement = match(frame.image, model, frame.lens, frame.R, frame.t, px_per_mm, search_px=2, near=True)
    look = _look(frame, model, template(model, px_per_mm, 1.0))
    open_ = agreement.seen & ~look.burnt & ~covered(parts, raster, agreement.mm)
    if open_.sum() < _PIECES:
        return ""
    agrees = agreement.share(agreement.agrees & open_, open_)
    missing = agrees < _MOST_AGREES and _missing(agreement, look, open_) >= _MISSING
    return ANOTHER if agrees < _LEAST_AGREES or missing else ""


@dataclass(frozen=True, eq=False)
class _Look:
    """Of each piece of print (n,): how many grey levels it has in the board's picture, how many as a share of that and of the
    light it has in the frame, and whether it is burnt out there."""

    drawn: Floats
    shown: Floats
    burnt: NDArray[np.bool_]


def _look(frame: PosedFrame, model: BoardModel, tmpl: Template) -> _Look:
    seen, _ = warp(frame.image, frame.lens, frame.R, frame.t, tmpl.raster)
    grey = cv2.GaussianBlur(model.grey(seen), (0, 0), 1.0).astype(np.float32)
    size = (2 * tmpl.half + 1,) * 2

    def of_pieces(picture: NDArray[np.float32]) -> Floats:
        return cv2.blur(picture, size)[tmpl.centre[:, 1], tmpl.centre[:, 0]].astype(np.float64)

    light = of_pieces(grey)
    spread = np.sqrt(np.maximum(of_pieces(grey * grey) - light**2, 0.0))
    patch = tmpl.patch.reshape(len(tmpl.patch), -1).astype(np.float64)
    drawn, paper = patch.std(axis=1), np.maximum(patch.mean(axis=1), 20.0)
    burnt = of_pieces((seen.min(axis=2) > _BURNT).astype(np.float32)) > _BURNT_SHARE
    return _Look(drawn, spread / drawn / np.maximum(light / paper, 1e-3), burnt)


def _missing(agreement: Agreement, look: _Look, open_: NDArray[np.bool_]) -> int:
    """How many open pieces of strong print show bare board."""
    strong = open_ & (look.drawn > _STRONG)
    there = agreement.agrees & strong
    if not there.any():
        return 0
    kept = float(np.median(look.shown[there]))
    return int((strong & (agreement.ncc < _UNLIKE) & (look.shown < _FLAT * kept)).sum())

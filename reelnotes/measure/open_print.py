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
OTHER_PAPER = "the board is of another colour than this one's picture, and not all of its print is there: it may be another board"
_COVERED, _ABOUT_MM = 0.2, 20.0  # likeness of fish or hand, on average over so broad a square, from which print may be hidden
_BURNT, _BURNT_SHARE = 245, 0.25  # the least level of a burnt-out pixel, and the share of them from which a piece shows nothing
_STRONG = 18.0  # grey levels (standard deviation) of print that shows as long as anything does
_UNLIKE, _FLAT = 0.35, 0.45  # correlation, and share of the contrast that other print keeps: below both it is bare
# Judgement, no source. On some 340 drawn frames of right boards 0.64 and more of the open print agreed, but on five of them; on 7
# of 10 other boards, taken for the right ones, 0.38 to 0.73, and where 0.6 and more, strong print was missing; on the other three
# 0.80 to 0.88. Where nine tenths agree, what is missing may be smeared over.
_PALE = 60.0  # levels of the least channel, from which a colour says what light it is seen in
# Powers of two by which green may gain on red and blue, or lose: light goes from blue to amber, and hardly to green. On some 60
# drawn clips of right boards 0.21 at most; on three other boards that shared most of their print 0.38 to 0.52. Judgement.
_GREENER = 0.35
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
    if agrees < _LEAST_AGREES:
        return ANOTHER
    if agrees > _MOST_AGREES:
        return ""
    if _missing(agreement, look, open_) >= _MISSING:
        return ANOTHER
    tells = open_ & np.isfinite(look.greener)
    return OTHER_PAPER if tells.sum() >= _PIECES and abs(float(np.median(look.greener[tells]))) > _GREENER else ""


@dataclass(frozen=True, eq=False)
class _Look:
    """Of each piece of print (n,): how many grey levels it has in the board's picture, how many as a share of that and of the
    light it has in the frame, whether it is burnt out there, and by how many powers of two green has gained there on red and blue
    (NaN where the picture is too dark or coloured to tell)."""

    drawn: Floats
    shown: Floats
    burnt: NDArray[np.bool_]
    greener: Floats


def _look(frame: PosedFrame, model: BoardModel, tmpl: Template) -> _Look:
    seen, _ = warp(frame.image, frame.lens, frame.R, frame.t, tmpl.raster)
    grey = cv2.GaussianBlur(model.grey(seen), (0, 0), 1.0).astype(np.float32)
    size = (2 * tmpl.half + 1,) * 2

    def of_pieces(picture: NDArray[np.float32]) -> Floats:
        return cv2.blur(picture, size)[tmpl.centre[:, 1], tmpl.centre[:, 0]].astype(np.float64)

    colour, own = of_pieces(seen.astype(np.float32)), of_pieces(model.picture_on(tmpl.raster).astype(np.float32))
    gain = np.log2((colour + 1.0) / (own + 1.0))
    greener = np.where(own.min(axis=1) > _PALE, gain[:, 1] - 0.5 * (gain[:, 0] + gain[:, 2]), np.nan)

    light = of_pieces(grey)
    spread = np.sqrt(np.maximum(of_pieces(grey * grey) - light**2, 0.0))
    patch = tmpl.patch.reshape(len(tmpl.patch), -1).astype(np.float64)
    drawn, paper = patch.std(axis=1), np.maximum(patch.mean(axis=1), 20.0)
    burnt = of_pieces((seen.min(axis=2) > _BURNT).astype(np.float32)) > _BURNT_SHARE
    return _Look(drawn, spread / drawn / np.maximum(light / paper, 1e-3), burnt, greener)


def _missing(agreement: Agreement, look: _Look, open_: NDArray[np.bool_]) -> int:
    """How many open pieces of strong print show bare board."""
    strong = open_ & (look.drawn > _STRONG)
    there = agreement.agrees & strong
    if not there.any():
        return 0
    kept = float(np.median(look.shown[there]))
    return int((strong & (agreement.ncc < _UNLIKE) & (look.shown < _FLAT * kept)).sum())

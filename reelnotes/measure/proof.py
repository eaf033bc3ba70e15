"""Whether a settled pose is a board that is there: how much of its print agrees, and over how much of its length."""

import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.open_print import covered
from reelnotes.measure.parts import MARGIN_MM, pixel_mm, see_parts
from reelnotes.measure.rectify import warp
from reelnotes.measure.refine import Alignment, mirrored
from reelnotes.measure.stack import Layer, Stack

_HELD = 0.37  # the least score that counts as this board
_MANY, _HELD_BY_MANY = 30, 0.30  # features in one plane: on another board seldom so many agree, and then its print does not
_REACH = 0.90  # of the length that could be seen, agreeing print must span this much
_STILL_HELD, _STILL_REACH = 0.25, 0.6  # the same in a clip in which another frame has proved the board
_LESS = 0.6  # of what was seen of it there, where that was little
_SQUARES_HELD = 0.15
_LEAST_REACH = 0.25
_GRAZING = 0.25  # sine of the least angle at which a board is looked at; streaks pass for print drawn out by less
# On drawn boards of little print, most of it under a fish: of what lay open 0.64 and more agreed on the right pose (0.75 on nine
# of ten). On wrong poses and other boards that fell short of the score above, and that nothing contradicted, it was 0.61 at most
# where the reach was enough; other boards that do not fall short of it are for ``open_print`` to doubt. Judgement, no source.
_WEAKLY, _OPEN = 0.22, 0.72
_PIECES = 20
_EDGE, _EDGE_PIECES = 0.12, 10  # share of an edge's print that agrees, of so many pieces at least


def proved(made: Alignment, support: int = 0, spread: float = 0.0) -> bool:
    """Whether the print agrees over enough of what of the board can be seen to call it this board.

    support: distinct features that agreed on the pose before; spread: share of the board's length over which more of them came
    together than on any other board
    """
    held = _HELD if support < _MANY else _HELD_BY_MANY
    return _enough(made) and made.score >= held and max(made.reach, spread) >= max(_REACH * _could(made), _LEAST_REACH)


def still_held(made: Alignment, found: Alignment) -> bool:
    """Whether a board that was proved in one frame of a clip, ``found``, is held by the print in another."""
    reach = min(_STILL_REACH * _could(made), _LESS * found.reach)
    return _enough(made) and made.score >= min(_STILL_HELD, _LESS * found.score) and made.reach >= max(reach, _LEAST_REACH)


def borne_out(made: Alignment) -> bool:
    """Whether the print speaks for a board that squares known by their numbers propose."""
    return _enough(made) and made.score >= _SQUARES_HELD and made.reach >= _LEAST_REACH


def proved_in_the_open(image: NDArray[np.uint8], made: Alignment) -> bool:
    """Whether what neither fish nor hand hides of the print agrees, where they hide most of it. image: BGR, the frame."""
    least = max(_REACH * _could(made), _LEAST_REACH)
    if made.score < _WEAKLY or made.reach < least or not _enough(made):
        return False
    agreement = made.agreement
    open_ = agreement.seen & ~_hidden(image, made)
    agrees = agreement.agrees & open_
    if int(agrees.sum()) < _PIECES or agreement.share(agrees, open_) < _OPEN:
        return False
    return float(np.ptp(agreement.mm[agrees, 0])) >= least * made.model.board.length_mm


def contradicted(image: NDArray[np.uint8], made: Alignment) -> bool:
    """Whether what is in the frame is a look-alike: the mirrored board, or one whose edge print is another.

    A fish hides the middle of a board, seldom all of an edge: an edge whose print agrees nowhere, though it lies open, is
    another board's. image: BGR, the frame.
    """
    return mirrored(image, made) or (
        _edge_agreement(made, made.agreement.seen) < _EDGE
        and _edge_agreement(made, made.agreement.seen & ~_hidden(image, made)) < _EDGE
    )


def _edge_agreement(made: Alignment, of: NDArray[np.bool_]) -> float:
    """The lesser of the two long edges' shares of agreeing print, ``of`` the pieces (1 where an edge has few of them)."""
    a, width = made.agreement, made.model.board.width_mm
    shares = [1.0]
    for edge in (a.mm[:, 1] < 0.18 * width, a.mm[:, 1] > 0.82 * width):
        here = of & edge
        if here.sum() >= _EDGE_PIECES:
            shares.append(a.share(a.agrees & here, here))
    return min(shares)


def _hidden(image: NDArray[np.uint8], made: Alignment) -> NDArray[np.bool_]:
    """(n,) which pieces of print a fish or a hand lies over, or may, as the net sees them."""
    model = made.model
    raster = Raster.over(model.board, 1.0 / pixel_mm(model.board), MARGIN_MM)
    layer = Layer(*warp(image, made.lens, made.R, made.t, raster))
    stack = Stack(layer.image.astype(np.float32), layer.seen, (layer,), raster, -made.R.T @ made.t)
    return covered(see_parts(stack, model), raster, made.agreement.mm)


def _enough(made: Alignment) -> bool:
    """Whether enough of the board is in the picture, and not edge on."""
    seen = int(made.agreement.seen.sum())
    middle = made.agreement.mm[made.agreement.seen].mean(axis=0) if seen else np.zeros(2)
    ray = made.R[:, :2] @ middle + made.t
    aslant = abs(float(ray @ made.R[:, 2])) / max(float(np.linalg.norm(ray)), 1e-9)
    return seen >= 12 and seen >= 0.2 * len(made.agreement.mm) and aslant > _GRAZING


def _could(made: Alignment) -> float:
    """Part of the board's length over which print lies in the picture, 0..1."""
    x = made.agreement.mm[made.agreement.seen, 0]
    return float(np.ptp(x)) / made.model.board.length_mm if len(x) else 0.0

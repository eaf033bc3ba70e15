"""Where a piece of the outline ends, at a quick close look, and how far that is a tail: by which looks are compared."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reelnotes.measure.fish_piece import FishPiece, by_the_tail, carried_on
from reelnotes.measure.landmarks import Tail
from reelnotes.measure.outline import Outline
from reelnotes.measure.posed import PosedClip
from reelnotes.measure.shape import tail_likeness
from reelnotes.measure.stack import Mask, Stack, spread_pick
from reelnotes.measure.tail import view_tail

log = logging.getLogger(__name__)

TAIL_LIKE = 0.5  # below: the end of the outline is no tail that one could vouch for
WHOLE = 0.8  # above: nothing speaks against a whole tail
_SAME_MM, _SAME = 2.0, 0.005  # and share of the length, within which two close looks end at one tip
_EQUAL = 0.05  # of likeness, by which two looks at one tail differ by chance: judgement, no source


@dataclass(frozen=True, eq=False)
class TailEnd:
    """A piece, its tail at a quick look, how much that looks like a tail (0..1), whether nothing lies over or beside it, and
    reasons to doubt where it ends: that depends on how strange is strange enough, or the tail is seen but faintly.

    by_shape  the likeness by the piece's own shape, whatever lies behind it
    """

    piece: FishPiece
    tail: Tail | None
    likeness: float
    clear: bool = True
    unsure: str = ""
    faint: str = ""
    by_shape: float = 0.0

    @property
    def worth(self) -> float:
        """By which looks are compared."""
        return self.likeness - 0.1 * (not self.clear)

    @property
    def sound(self) -> bool:
        """Whether it ends in a tail with nothing over it, and is one piece."""
        return self.likeness >= TAIL_LIKE and self.clear and not self.piece.doubts


def no_fish(piece: FishPiece) -> Mask | None:
    """What of the picture near a piece a close look must pass over: a hand upon it, or else what was joined to it."""
    return piece.covered if piece.covered is not None and piece.covered.any() else piece.aside


def same_end(looks: Sequence[TailEnd]) -> bool:
    """Whether all of these looks see an end, and the same one."""
    tips = [one.tail.tip_x for one in looks if one.tail is not None]
    return len(tips) == len(looks) and max(tips) - min(tips) < max(_SAME_MM, _SAME * max(tips))


def best_tail(clip: PosedClip, pieces: list[FishPiece], stack: Stack, outline: Outline, scale: float) -> TailEnd:
    """Of the piece at several levels of strangeness, the one whose end looks most like a tail with nothing beside it (the
    first on a tie), with a reason to doubt when the tail's end depends on the level."""
    raster = stack.raster
    few = spread_pick(clip.frames, 3)
    best = TailEnd(pieces[0], None, -1.0)
    found: list[TailEnd] = []
    for piece in pieces:
        view = view_tail(few, clip.model, raster, outline, piece.mask, scale, covered=no_fish(piece), in_parts=False)
        if view is None:
            continue
        tail = view.tail
        tip_u = float(raster.to_px(np.array([tail.tip_x, tail.tip_y]))[0])
        by_shape = tail_likeness(piece.mask, tip_u, tail.span_mm * raster.px_per_mm, tail.lopsided)
        likeness = by_shape * (1.0 - carried_on(outline, raster, piece, tail))
        log.debug("outline to %.0f mm, tip at %.0f mm: tail likeness %.2f", piece.x_high, tail.tip_x, likeness)
        clear = not by_the_tail(outline, stack, piece, tail) and not view.colour.other_hue
        found.append(TailEnd(piece, tail, likeness, clear, by_shape=by_shape))
        if found[-1].worth > best.worth + 0.02:
            best = found[-1]
    best = among_equals(best, found)
    # A fragment of the fish ends far away and hardly looks whole; a stain or a glint joined to the tail ends near by.
    tip = best.tail.tip_x if best.tail is not None else 1.0
    far = [(abs(one.tail.tip_x - tip), one.likeness) for one in found if one.tail is not None]
    rivals = [x for x, like in far if x > _near(tip) and like > (TAIL_LIKE if x < 0.12 * tip else WHOLE)]
    return replace(best, unsure="the tail's end is not clear: stain, glint or shade may be joined to it" if rivals else "")


def _near(tip_mm: float) -> float:
    """Millimetres within which two looks see the same end."""
    return max(0.015 * tip_mm, 5.0)


def among_equals(best: TailEnd, found: Sequence[TailEnd]) -> TailEnd:
    """Of pieces that something was cut off from, of those that are as good and see the same end, the one in the middle: now and
    then some of the tip goes with a stain, and which look is best by a hair is chance."""
    if best.tail is None or best.piece.aside is None:
        return best
    tip, least = best.tail.tip_x, min(best.worth - _EQUAL, WHOLE)
    equals = [
        (one.tail.tip_x, i)
        for i, one in enumerate(found)
        if one.tail is not None and abs(one.tail.tip_x - tip) < _near(tip) and one.worth > least and one.clear >= best.clear
    ]
    return found[sorted(equals)[len(equals) // 2][1]]

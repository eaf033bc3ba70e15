"""Which piece of the picture is the fish to be measured: by its outline where that ends in a tail, else by its look.

The outline's piece is asked first, then the same without what may be joined to it, then the net's view of the fish; each is
judged by a quick close look at its tail (``tail_end``).
"""

from dataclasses import replace

import numpy as np

from reelnotes.measure.fish_piece import NO_FISH, NOT_AT_STOP, PAST_END, FishPiece, fish_pieces, parted_pieces
from reelnotes.measure.landmarks import Tail
from reelnotes.measure.outline import Outline
from reelnotes.measure.parts import Parts
from reelnotes.measure.posed import PosedClip
from reelnotes.measure.seen_fish import ELSEWHERE, disagreement, head_seen, seen_pieces
from reelnotes.measure.shape import shape_of
from reelnotes.measure.stack import Stack
from reelnotes.measure.stop_shade import shaded_gap
from reelnotes.measure.tail_end import TAIL_LIKE, WHOLE, TailEnd, best_tail, same_end
from reelnotes.records.problems import Refusal

CURLED_DEG = 30.0
_FAINT = "the tail hardly stands out from the board"
AT_STOP_MM = 3.0  # a piece that begins this near the stop runs up to its foot
_BEYOND_MM, _FILLED = 5.0, 0.6  # beyond a tip, and share of the net's fish there (judgement, no source)
NEARLY = 0.65  # above: a whole tail, where the net sees it end there (judgement, no source)


def piece_and_look(
    clip: PosedClip, stack: Stack, outline: Outline, parts: Parts, scale: float
) -> tuple[TailEnd, list[FishPiece]] | Refusal:
    """The piece that ends in the best tail, by the outline or, where that leads to no clear tail, by its look; and the fish as
    the net sees it."""
    pieces = fish_pieces(outline, stack, clip.board)
    if isinstance(pieces, Refusal):
        seen = seen_pieces(parts, stack, clip.board, None)
        # What seems to reach the board's end may be a hand or a shadow joined to the fish; the close look asks again.
        if not seen or pieces.reason not in (NO_FISH, NOT_AT_STOP, PAST_END):
            return pieces
        return _by_look(clip, seen, stack, outline, scale), seen
    best = best_tail(clip, pieces, stack, outline, scale)
    if not best.sound and not _whole_to_the_net(best, seen_pieces(parts, stack, clip.board, best.piece.mask), clip):
        best = _second_thought(clip, stack, outline, scale, best)
    seen = seen_pieces(parts, stack, clip.board, best.piece.mask)
    curled = _curled(best.piece)
    if seen and (curled or not best.sound):
        by_look = _by_look(clip, seen, stack, outline, scale)
        sound = by_look.sound and not (curled and _curled(by_look.piece))
        if by_look.likeness >= TAIL_LIKE and (sound or best.likeness < TAIL_LIKE):
            best = by_look  # a fish that is truly curled is so to the net as well; half of a straight one may seem so
    if seen and best.tail is not None and disagreement(seen, best.piece.x_low, best.tail.tip_x, clip.board) == ELSEWHERE:
        borne = _borne_out(clip, pieces, seen, stack, outline, scale)
        if borne is None and _goes_on(outline, stack, seen[0], best.tail.tip_x):
            borne = _whole_by_look(clip, seen, stack, outline, scale)
        if borne is not None:  # what else lies on the board, still does
            best = replace(borne, piece=replace(borne.piece, doubts=best.piece.doubts))
    if best.piece.x_low > AT_STOP_MM and head_seen(parts, best.piece, stack.raster):
        best = replace(best, piece=replace(best.piece, x_low=0.0))
    if best.piece.x_low < AT_STOP_MM:
        gap_mm = shaded_gap(best.piece, outline, stack, clip.board)
        best = replace(best, piece=replace(best.piece, x_low=max(best.piece.x_low, gap_mm)))
    return best, seen


def _whole_to_the_net(end: TailEnd, seen: list[FishPiece], clip: PosedClip) -> bool:
    """Whether a piece ends in the shape of a whole tail, with nothing over it, just where the net sees the fish end: what lies
    close behind is none of it, and parting it would only take from the tail."""
    if end.tail is None or end.piece.doubts or not end.clear or end.by_shape < WHOLE:
        return False
    return not disagreement(seen, end.piece.x_low, end.tail.tip_x, clip.board)


def _borne_out(
    clip: PosedClip, pieces: list[FishPiece], seen: list[FishPiece], stack: Stack, outline: Outline, scale: float
) -> TailEnd | None:
    """A whole tail that close looks at the outline, at other levels or without what may be joined to it, find just where the net
    sees it; None where there is no such tail, or where these looks differ among themselves as about a glint each does."""
    looks = (*pieces, *parted_pieces(outline, stack, clip.board))
    near = [p for p in looks if not disagreement(seen, p.x_low, p.x_high, clip.board)]
    found = [best_tail(clip, [piece], stack, outline, scale) for piece in near]
    whole = [one for one in found if one.sound and one.likeness >= NEARLY]
    if not whole or 2 * len(whole) < len(found) or not same_end(found):
        return None
    first = whole[0]
    borne = first.tail is not None and not disagreement(seen, first.piece.x_low, first.tail.tip_x, clip.board)
    return first if borne else None


def _goes_on(outline: Outline, stack: Stack, seen: FishPiece, tip_mm: float) -> bool:
    """Whether beyond a piece's end more of the outline fills the fish as the net sees it: one of the board's own colour, under
    another light, falls into pieces, of which one may end as a tail does."""
    columns = stack.raster.x_mm(np.arange(stack.raster.width_px)) > tip_mm + _BEYOND_MM
    beyond = seen.mask & outline.on_board & columns
    strange = np.logical_or.reduce([blob.mask for blob in outline.layers[0]], initial=False)
    return bool(beyond.any()) and float((strange & beyond).sum()) > _FILLED * float(beyond.sum())


def _whole_by_look(clip: PosedClip, seen: list[FishPiece], stack: Stack, outline: Outline, scale: float) -> TailEnd | None:
    """A whole tail just where the net sees it, by a close look there; None where there is none."""
    end = _by_look(clip, seen, stack, outline, scale)
    if not end.sound or end.faint or end.likeness < NEARLY or end.tail is None:
        return None
    return None if disagreement(seen, end.piece.x_low, end.tail.tip_x, clip.board) else end


def _by_look(clip: PosedClip, seen: list[FishPiece], stack: Stack, outline: Outline, scale: float) -> TailEnd:
    """The best tail of the net's pieces; with a doubt where two of them end elsewhere when looked at closely, for nothing but
    their look speaks for either."""
    best = best_tail(clip, seen, stack, outline, scale)
    each = [best_tail(clip, [piece], stack, outline, scale) for piece in seen] if len(seen) > 1 else [best]
    return best if same_end(each) else replace(best, faint=_FAINT)


def nothing_beyond(
    clip: PosedClip, seen: list[FishPiece], stack: Stack, outline: Outline, scale: float, best: TailEnd, tail: Tail
) -> bool:
    """Whether the net, whose pixels are coarse, only sees a whole tail reach too far: a close look there ends at the same tip."""
    if best.likeness < WHOLE or best.unsure or not best.clear or any(piece.x_high < tail.tip_x for piece in seen):
        return False
    other = best_tail(clip, seen, stack, outline, scale)
    return same_end([other, replace(best, tail=tail)]) and other.clear and other.likeness >= WHOLE


def _curled(piece: FishPiece) -> bool:
    return shape_of(piece.mask, piece.covered).bend_deg > CURLED_DEG


def _second_thought(clip: PosedClip, stack: Stack, outline: Outline, scale: float, first: TailEnd) -> TailEnd:
    """The piece without what may be joined to it, where that ends in a tail and the first look did not, or not in a clear one."""
    pieces = parted_pieces(outline, stack, clip.board)
    second = best_tail(clip, pieces, stack, outline, scale) if pieces else first
    if second.likeness < TAIL_LIKE:
        return first
    if first.likeness < TAIL_LIKE or second.clear:
        return second
    return first

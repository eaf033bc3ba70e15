"""One fish on a posed board, from frames to numbers: the pieces of this room put in a row."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reelnotes.measure.board_model import Raster
from reelnotes.measure.budget import combined, interval, scatter_of_mean
from reelnotes.measure.choose_piece import AT_STOP_MM, CURLED_DEG, NEARLY, nothing_beyond, piece_and_look
from reelnotes.measure.far_end import strange_end
from reelnotes.measure.fish_piece import (
    AT_EDGE,
    NO_FISH,
    OVER_TAIL,
    PAST_END,
    FishPiece,
    by_the_tail,
    past_end,
)
from reelnotes.measure.inks import OTHER_INKS, other_inks
from reelnotes.measure.lobes import OTHER_END, odd_lobes
from reelnotes.measure.open_print import print_amiss
from reelnotes.measure.outline import SMALLEST_FISH_MM, Outline, find_outline
from reelnotes.measure.parallax import Grounded, fork_height, grounded, nose_height, tail_height
from reelnotes.measure.parts import Parts, see_parts, well_inside
from reelnotes.measure.posed import AT_ODDS, INSTEAD, PosedClip, PosedFrame
from reelnotes.measure.scenes import split_scenes
from reelnotes.measure.seen_fish import (
    ELSEWHERE,
    disagreement,
    far_from,
    hand_at,
    hand_over,
    hangs_over,
    nose_seen_short,
    out_of_sight,
)
from reelnotes.measure.shape import Shape, shape_of
from reelnotes.measure.stack import Stack, spread_pick, stack_frames
from reelnotes.measure.tail import TailView, view_tail
from reelnotes.measure.tail_end import TAIL_LIKE, WHOLE, TailEnd, no_fish
from reelnotes.measure.verdict import WIDEST_SHARE, verdict
from reelnotes.records.estimates import COVERAGE_95, Estimate
from reelnotes.records.lengths import BudgetLine
from reelnotes.records.problems import Refusal

_COARSE_FRAMES = 7
_MOST_SCENES = 3
_CUT = 0.3  # share of the tip's rows: 0.35 to 1 where a tail was cut by 4 % and more, 0.1 where whole (judgement, no source)
_LEAST_SCENE = 0.3  # of the longest scene's frames, to be believed against it
_TWO_BODIES = 0.5  # of the columns of an outline
_TWO_TAILS = 0.15  # of the length: fins that sweep back part from the body over less
_SEEN_TWOFOLD, _SEEN_ABREAST = 0.3, 0.1  # the same as the net sees it: on 90 drawn clips of one fish, at most 0.01 and 0.05
# Judgement, no source: a shadow's rim on the board fades over a centimetre and more, a tail's edge over a few millimetres.
_SOFT_MM = 10.0
_OTHER_END = "the far end of the board does not look like this board's: another board may lie there, or something over it"
_NOT_SEEN = "the fish hardly stands out from the board, and where its tail ends is not to be seen"
_OFF_BOARD = "the rear of the fish hangs over the board's long edge, and its tail may, too"
_ON_BOARD_MM = 2.0  # a tail's lobes that end this far within the board's edge do not end there because of it
# Of the length, over which the end of a lobe fades. Of 177 measured clips, drawn and drawn again under other light, the five
# tips that stood out least (by 1.6 to 5 times noise and unevenness; 20 and more are usual) were 0.4 to 1.8 % off.
_FADES = 0.02
_BORNE_OUT = 1.5  # times farther, where the net sees the tail end where the close look does
_LENS_DOUBTS = {
    "guessed": "the lens is not known and could not be solved from the board",
    AT_ODDS: "the lens given and the board's picture contradict each other: calibrate the lens or enrol the board anew",
    INSTEAD: "the given lens does not fit the board, so the lens was solved from the board: calibrate it anew, or leave it out",
}


@dataclass(frozen=True, eq=False)
class Fish:
    """A fish measured: lengths, budget, doubts, and where its marks are on the board (mm, heights included).

    no_fork  why there is no fork length (its numbers and place are None then); "" where there is one
    """

    total_mm: float
    fork_mm: float | None
    u_mm: float
    u_fork_mm: float | None
    budget: tuple[BudgetLine, ...]
    doubts: tuple[str, ...]
    nose: tuple[float, float, float]
    tail: tuple[float, float, float]
    fork: tuple[float, float, float] | None
    frames: tuple[PosedFrame, ...]
    view: TailView
    no_fork: str = ""


def measure_fish(clip: PosedClip) -> Fish | Refusal:
    """The fish that lies at the stop of a posed board, or why it cannot be measured."""
    if clip.stop_visible < 0.5:
        return Refusal("the stop and the nose lie outside the picture")
    scale = native_scale(clip)
    raster = Raster.over(clip.board, float(np.clip(scale, 0.5, 1.2)), 25.0)
    answers: list[Fish | Refusal] = []
    scenes = split_scenes(clip.frames, clip.board)[:_MOST_SCENES]
    for scene in scenes:
        # Blur washes out the fine print of one colour and leaves the broad bars of another: one frame among more says no inks.
        inks_tell = len(scene) > 1 or len(scenes[0]) == 1
        answers.append(_in_scene(replace(clip, frames=tuple(scene)), raster, scale, inks_tell=inks_tell))
        if len(answers) == 1 and isinstance(answers[0], Fish) and not answers[0].doubts:
            break  # the scenes come longest first: none later could be preferred
    return _preferred(answers)


def _preferred(answers: Sequence[Fish | Refusal]) -> Fish | Refusal:
    """Of the answers from the scenes of one clip, longest scene first: a sure fish, unless a fish in doubt was there for much
    longer; else the fish that was there longest; else a refusal. Another board in any of them is another board."""
    other = [a for a in answers if isinstance(a, Refusal) and a.reason == OTHER_INKS]
    if other:  # a board that has other colours in one scene is another board in all
        return other[0]
    fish = [a for a in answers if isinstance(a, Fish)]
    if not fish:  # what one scene saw of a fish says more than another's bare board
        return next((a for a in answers if isinstance(a, Refusal) and a.reason != NO_FISH), answers[0])
    longest = max(fish, key=lambda f: len(f.frames))
    sure = [f for f in fish if not f.doubts and len(f.frames) >= _LEAST_SCENE * len(longest.frames)]
    return max(sure, key=lambda f: len(f.frames)) if sure else longest


def _in_scene(clip: PosedClip, raster: Raster, scale: float, *, inks_tell: bool) -> Fish | Refusal:
    """The fish in frames that all show the same. inks_tell: whether their print may say that this is another board."""
    stack = stack_frames(spread_pick(clip.frames, _COARSE_FRAMES), raster)
    outline = find_outline(stack, clip.model)
    if inks_tell and other_inks(stack, clip.model.picture_on(raster), outline.match, outline.on_board):
        return Refusal(OTHER_INKS)
    parts = see_parts(stack, clip.model)
    first = _outlined(clip, stack, outline, parts, scale)
    if isinstance(first, Refusal) and first.reason != _NOT_SEEN:
        return first
    amiss = print_amiss(max(clip.frames, key=lambda f: f.sharpness), clip.model, parts, raster)
    if isinstance(first, Refusal):
        return first if amiss else _again(clip, stack, parts, scale) or first
    if amiss:
        return replace(first, doubts=(amiss, *first.doubts))
    if _sure(first) or _LENS_DOUBTS.get(clip.lens_from) or OTHER_END in first.doubts:
        return first  # no other light upon the board makes lens, or a tail of two colours, less of a doubt
    return _again(clip, stack, parts, scale) or first


def _again(clip: PosedClip, stack: Stack, parts: Parts, scale: float) -> Fish | None:
    """A sure answer, if there is one, by an outline without the light being told from the fish: one of an even colour may pass
    for board under another light."""
    again = _outlined(clip, stack, find_outline(stack, clip.model, well_inside(parts, stack.raster.px_per_mm)), parts, scale)
    return again if isinstance(again, Fish) and _sure(again) else None


def _sure(fish: Fish) -> bool:
    low, high = interval(fish.total_mm, fish.u_mm)
    return verdict(fish.total_mm, low, high, fish.doubts)[0] == "measured"


def _outlined(clip: PosedClip, stack: Stack, outline: Outline, parts: Parts, scale: float) -> Fish | Refusal:
    """The fish by its outline, as far as that and its look agree."""
    raster = stack.raster
    found = piece_and_look(clip, stack, outline, parts, scale)
    if isinstance(found, Refusal):
        return found
    best, seen = found
    piece, likeness = best.piece, best.likeness
    view = _close_look(clip, stack, outline, parts, scale, found)
    if isinstance(view, Refusal):
        return view
    tail = view.tail
    beside = by_the_tail(outline, stack, piece, tail) or (OVER_TAIL if hand_over(parts, tail, raster) else "")
    coarse = replace(tail, tip_x=tail.tip_x + view.shade_mm)  # the tail as the net and other quick looks see it, with its shade
    unlike = disagreement(seen, piece.x_low, coarse.tip_x, clip.board)
    if unlike == ELSEWHERE and nothing_beyond(clip, seen, stack, outline, scale, best, coarse):
        unlike = ""
    if not unlike and piece.x_low < AT_STOP_MM:
        depth_mm = shape_of(piece.mask, piece.covered).depth_px / raster.px_per_mm
        unlike = nose_seen_short(seen, coarse.tip_x, nose_height(depth_mm), view.stack.camera_mm, clip.board)
    if beside and (likeness < TAIL_LIKE or (unlike and hand_at(seen, tail.tip_x, raster))):
        return Refusal("the tail's end is hidden: " + beside)
    if beside == AT_EDGE and not unlike and min(tail.low_y, clip.board.width_mm - tail.high_y) > _ON_BOARD_MM:
        beside = ""  # a wide tail reaches near the edge, and the net sees the same tail
    if not unlike and best.clear and best.by_shape > WHOLE:
        likeness = max(likeness, NEARLY)  # what lies close behind it is no fish to the net, which sees a whole tail end there
    shape = shape_of(piece.mask, piece.covered)
    if abs(coarse.tip_x - piece.x_high) > max(6.0, 0.03 * piece.x_high) * (1.0 if unlike else _BORNE_OUT):
        likeness = min(likeness, 0.4)  # the close look does not bear out the coarse one, nor does the net so far from it
    if unlike == ELSEWHERE and likeness < TAIL_LIKE and far_from(seen, coarse.tip_x):
        return Refusal(_NOT_SEEN)
    # Where the net sees the tail end just there, what else the outline might have taken for its end is none.
    unsure = best.unsure if unlike else ""
    more = [d for other in seen[:1] for d in other.doubts]
    several = _two_bodies(shape, seen, unlike)
    doubts = [*piece.doubts, *more, *_shape_doubts(shape, likeness, several), *_tail_doubts(view)]
    odd = odd_lobes(view, outline, piece.mask, clip.model)
    off_board = _OFF_BOARD if hangs_over(parts, piece.x_low, coarse.tip_x, raster, clip.board) else ""
    end = _OTHER_END if strange_end(outline, stack, clip.board) else ""
    doubts += [d for d in (odd, end, beside, off_board, unsure, best.faint, unlike, _LENS_DOUBTS.get(clip.lens_from)) if d]
    return _numbers(clip, piece, shape.depth_px / raster.px_per_mm, list(dict.fromkeys(doubts)), view, scale)


def _close_look(
    clip: PosedClip, stack: Stack, outline: Outline, parts: Parts, scale: float, found: tuple[TailEnd, list[FishPiece]]
) -> TailView | Refusal:
    """The end of the tail found, from all frames; a Refusal where it is not in sight, or beyond the board or the picture."""
    best, seen = found
    view = view_tail(clip.frames, clip.model, stack.raster, outline, best.piece.mask, scale, covered=no_fish(best.piece))
    if view is None:
        return Refusal("the tail's end is not to be seen")
    if past_end(view.tail.tip_x, clip.board):
        return Refusal(PAST_END)
    unseen = None if seen else out_of_sight(parts, stack, clip.board, view.tail.tip_x)
    return view if unseen is None else unseen


def _two_bodies(shape: Shape, seen: list[FishPiece], unlike: str) -> bool:
    """Whether two fish may lie abreast. A gap between their tails is filled in an outline that runs around both, and a fish of
    the board's colour has gaps of its own there: where the net sees the same fish, its view of the body counts."""
    if shape.twofold > _TWO_BODIES or (unlike and shape.abreast > _TWO_TAILS):
        return True
    looks = [shape_of(piece.mask, piece.covered) for piece in seen[:1]]
    return any(look.twofold > _SEEN_TWOFOLD or look.abreast > _SEEN_ABREAST for look in looks)


def _shape_doubts(shape: Shape, likeness: float, several: bool) -> list[str]:
    doubts = []
    if several:
        doubts.append("more than one fish may lie on the board")
    if shape.bend_deg > CURLED_DEG:
        doubts.append(f"the fish is curled: its middle line turns by {shape.bend_deg:.0f}°")
    if likeness < TAIL_LIKE:
        doubts.append("the end of the outline does not look like a whole tail")
    return doubts


def _tail_doubts(view: TailView) -> list[str]:
    doubts = []
    if view.soft_mm > max(_SOFT_MM, 8.0 * view.blur_mm):
        doubts.append("the tail's edge is as soft as a shadow's")
    if view.cut > _CUT:
        doubts.append("the tail ends just where something joined to it was told apart")
    return [*doubts, view.colour.odd] if view.colour.odd else doubts


def native_scale(clip: PosedClip) -> float:
    """Pixels of the frame to a millimetre at the middle of the board, the larger of along and across."""
    frame = clip.frames[len(clip.frames) // 2]
    x, y = clip.board.length_mm / 2, clip.board.width_mm / 2
    p = frame.board_to_px(np.array([[x - 5.0, y], [x + 5.0, y], [x, y - 5.0], [x, y + 5.0]]))
    sizes = [np.hypot(*(p[1] - p[0])) / 10.0, np.hypot(*(p[3] - p[2])) / 10.0]
    finite = [s for s in sizes if np.isfinite(s)]
    return float(max(finite)) if finite else 1.0


def _numbers(clip: PosedClip, piece: FishPiece, depth_mm: float, doubts: list[str], view: TailView, scale: float) -> Fish:
    camera = view.stack.camera_mm
    rough = max(view.tail.tip_x, SMALLEST_FISH_MM)
    tip = grounded(view.tail.tip_x, tail_height(rough), (camera[0], camera[2]))
    fork = grounded(view.tail.fork_x, fork_height(rough), (camera[0], camera[2]))
    nose_z = nose_height(depth_mm)
    nose = grounded(piece.x_low, nose_z, (camera[0], camera[2]))
    gap = nose.x_mm
    # A piece that runs up to the foot of the stop hides what gap there may be: then the protocol holds.
    on_stop = piece.x_low < AT_STOP_MM or gap < max(8.0, 2.0 * nose.u_mm)
    start = 0.0 if on_stop else gap
    if not on_stop:
        doubts.insert(0, f"the nose lies about {gap:.0f} mm short of the stop")
    from_nose = float(np.hypot(nose.u_mm, 1.5))
    nose_line = (
        BudgetLine("nose on the stop", 0.4, 0.0, True, "the nose is taken as touching the stop: x = 0")
        if on_stop
        else BudgetLine("nose short of the stop", from_nose, -float(gap), True, "the length counts from the nose")
    )
    budget = _budget(clip, tip, [t.tip_x for t in view.parts], view, view.tip_doubt_mm, scale, nose_line)
    fork_budget = _budget(clip, fork, [t.fork_x for t in view.parts], view, view.fork_doubt_mm, scale, nose_line)

    def across(y_mm: float, z: Estimate) -> float:
        """Where across the board a point above it lies, from where it appears on the surface."""
        return float(grounded(y_mm, z, (camera[1], camera[2])).x_mm)

    tail_z, fork_z = tail_height(rough), fork_height(rough)
    fish = Fish(
        float(tip.x_mm - start), float(fork.x_mm - start), combined(budget), combined(fork_budget), budget, tuple(doubts),
        (start, across(piece.nose_y, nose_z), nose_z.value), (tip.x_mm, across(view.tail.tip_y, tail_z), tail_z.value),
        (fork.x_mm, across(view.tail.fork_y, fork_z), fork_z.value), clip.frames, view,
    )  # fmt: skip
    no_fork = _fork_missing(fish)
    return replace(fish, fork_mm=None, u_fork_mm=None, fork=None, no_fork=no_fork) if no_fork else fish


def _fork_missing(fish: Fish) -> str:
    """Why a fork length as found is none; "" where it is one. What is too wide for a total length is so for a fork length."""
    if not fish.view.tail.fork_seen:
        return "no fork length: the tail's edge is not seen whole about the fork"
    if fish.fork_mm is None or fish.u_fork_mm is None or COVERAGE_95 * fish.u_fork_mm > WIDEST_SHARE * fish.fork_mm:
        return "no fork length: its interval is wide"
    return ""


def _edge_mm(view: TailView) -> float:
    """How far blur and haze leave the end of the tail open. No edge is sharper than the picture's blur, which lets it fade from
    four fifths to one fifth over 1.7 standard deviations: one that is was cut, where something was told apart from the tail."""
    return view.blur_mm if view.soft_mm < view.blur_mm else max(0.4 * view.blur_mm, 0.12 * view.soft_mm)


def _budget(
    clip: PosedClip, end: Grounded, readings: Sequence[float], view: TailView, doubt_mm: float, scale: float, nose: BudgetLine
) -> tuple[BudgetLine, ...]:
    length = max(end.x_mm, 1.0)
    # A tail casts shade about as wide as it lies high; beside that stands how far it was told from the tail.
    shade = float(np.hypot(0.4 * tail_height(length).value, doubt_mm))
    outline = float(np.hypot(0.4 / scale, _edge_mm(view)))
    # Fewer than two readings show no scatter: half a pixel is taken for it.
    scatter = scatter_of_mean(list(readings)) if len(readings) > 1 else 0.5 / scale
    relative = float(np.median([frame.scale_sigma for frame in clip.frames]))
    return (
        BudgetLine("print scale and pose", float(max(relative, 2e-4) * length), 0.0, True, "how well the print fixes the scale"),
        BudgetLine("lens", float(clip.lens_sigma * abs(end.correction_mm)), 0.0, True, f"lens {clip.lens_from}"),
        BudgetLine("tail's end, frame to frame", float(scatter), 0.0, False, f"{len(readings)} parts"),
        BudgetLine("tail's end, outline", outline, 0.0, True, "where blur and haze let the tip end"),
        BudgetLine("faint tail", float(_FADES * view.faint * length), 0.0, True, "how little the tip stands out from the board"),
        BudgetLine("shade at the tail's edge", float(shade), 0.0, True, "how far its own shade may pass for tail"),
        BudgetLine("height of the tail", float(end.u_mm), float(end.correction_mm), True, "parallax of a tail above the board"),
        nose,
        BudgetLine("as laid", float(0.0007 * length), 0.0, True, "a fish laid again does not lie just the same"),
    )

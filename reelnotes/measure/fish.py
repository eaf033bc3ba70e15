"""One fish on a posed board, from frames to numbers: the pieces of this room put in a row."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reelnotes.measure.board_model import Raster
from reelnotes.measure.budget import combined, scatter_of_mean
from reelnotes.measure.fish_piece import FishPiece, choose_fish
from reelnotes.measure.outline import SMALLEST_FISH_MM, find_outline
from reelnotes.measure.parallax import Grounded, fork_height, grounded, nose_height, tail_height
from reelnotes.measure.posed import PosedClip, PosedFrame
from reelnotes.measure.stack import spread_pick, stack_frames
from reelnotes.measure.tail import TailView, view_tail
from reelnotes.records.lengths import BudgetLine
from reelnotes.records.problems import Refusal

_COARSE_FRAMES = 7


@dataclass(frozen=True, eq=False)
class Fish:
    """A fish measured: lengths, budget, doubts, and where its marks are on the board (mm, heights included)."""

    total_mm: float
    fork_mm: float
    u_mm: float
    u_fork_mm: float
    budget: tuple[BudgetLine, ...]
    doubts: tuple[str, ...]
    nose: tuple[float, float, float]
    tail: tuple[float, float, float]
    fork: tuple[float, float, float]
    frames: tuple[PosedFrame, ...]


def measure_fish(clip: PosedClip) -> Fish | Refusal:
    """The fish that lies at the stop of a posed board, or why it cannot be measured."""
    if clip.stop_visible < 0.5:
        return Refusal("the stop and the nose lie outside the picture")
    scale = native_scale(clip)
    raster = Raster.over(clip.board, float(np.clip(scale, 0.5, 1.2)), 25.0)
    stack = stack_frames(spread_pick(clip.frames, _COARSE_FRAMES), raster)
    outline = find_outline(stack, clip.model)
    piece = choose_fish(outline, stack, clip.board)
    if isinstance(piece, Refusal):
        return piece
    view = view_tail(clip.frames, clip.model, raster, outline, piece.mask, scale)
    if view is None:
        return Refusal("the tail's end is not to be seen")
    return _numbers(clip, piece, view, scale)


def native_scale(clip: PosedClip) -> float:
    """Pixels of the frame to a millimetre at the middle of the board, the larger of along and across."""
    frame = clip.frames[len(clip.frames) // 2]
    x, y = clip.board.length_mm / 2, clip.board.width_mm / 2
    p = frame.board_to_px(np.array([[x - 5.0, y], [x + 5.0, y], [x, y - 5.0], [x, y + 5.0]]))
    sizes = [np.hypot(*(p[1] - p[0])) / 10.0, np.hypot(*(p[3] - p[2])) / 10.0]
    finite = [s for s in sizes if np.isfinite(s)]
    return float(max(finite)) if finite else 1.0


def _numbers(clip: PosedClip, piece: FishPiece, view: TailView, scale: float) -> Fish:
    camera = view.stack.camera_mm
    rough = max(view.tail.tip_x, SMALLEST_FISH_MM)
    tip = grounded(view.tail.tip_x, tail_height(rough), (camera[0], camera[2]))
    fork = grounded(view.tail.fork_x, fork_height(rough), (camera[0], camera[2]))
    nose_z = nose_height(piece.depth_mm)
    nose = grounded(piece.x_low, nose_z, (camera[0], camera[2]))
    gap = nose.x_mm
    doubts = list(piece.doubts)
    # A piece that runs up to the foot of the stop hides what gap there may be: then the protocol holds.
    on_stop = piece.x_low < 3.0 or gap < max(8.0, 2.0 * nose.u_mm)
    start = 0.0 if on_stop else gap
    if not on_stop:
        doubts.insert(0, f"the nose lies about {gap:.0f} mm short of the stop")
    nose_line = (
        BudgetLine("nose on the stop", 0.4, 0.0, True, "the nose is taken as touching the stop: x = 0")
        if on_stop
        else BudgetLine("nose short of the stop", float(np.hypot(nose.u_mm, 1.5)), -gap, True, "the length counts from the nose")
    )
    budget = _budget(clip, tip, [t.tip_x for t in view.parts], view.blur_mm, scale, nose_line)
    fork_budget = _budget(clip, fork, [t.fork_x for t in view.parts], view.blur_mm, scale, nose_line)
    middle = clip.board.width_mm / 2
    return Fish(
        tip.x_mm - start, fork.x_mm - start, combined(budget), combined(fork_budget), budget, tuple(doubts),
        (start, middle, nose_z.value), (tip.x_mm, view.tail.tip_y, tail_height(rough).value),
        (fork.x_mm, view.tail.fork_y, fork_height(rough).value), clip.frames,
    )  # fmt: skip


def _budget(
    clip: PosedClip, end: Grounded, readings: Sequence[float], blur_mm: float, scale: float, nose: BudgetLine
) -> tuple[BudgetLine, ...]:
    length = end.x_mm
    relative = float(np.median([frame.scale_sigma for frame in clip.frames]))
    return (
        BudgetLine("print scale and pose", max(relative, 2e-4) * length, 0.0, True, "how well the board's print fixes the scale"),
        BudgetLine("lens", clip.lens_sigma * abs(end.correction_mm), 0.0, True, f"lens {clip.lens_from}"),
        BudgetLine("tail's end, frame to frame", scatter_of_mean(list(readings)), 0.0, False, f"{len(readings)} parts"),
        BudgetLine("tail's end, outline", float(np.hypot(0.3 / scale, 0.4 * blur_mm)), 0.0, True, "where blur lets the tip end"),
        BudgetLine("height of the tail", end.u_mm, end.correction_mm, True, "parallax of a tail above the board"),
        nose,
        BudgetLine("as laid", 0.0007 * length, 0.0, True, "a fish laid again does not lie just the same"),
    )

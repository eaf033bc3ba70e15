"""A rough pose made sure by long pieces of the print: a ruler's ticks repeat, ten of its numbers in a row do not.

A plain board with thin graduations along one edge gives features that pair with any tick's neighbour. Once its place's outline
says to a few percent where it lies, each long piece of print is sought there as a whole (normalised correlation), and along each
row of pieces the shifts are taken that are likest together and change little from piece to piece (Viterbi 1967), for a tick's
neighbour is as like as the tick itself, but not the whole row of them. What the pieces agree on is the pose. As they all may lie
along one edge, the outline's corners hold the board from turning about it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.find_print import Proposal
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import Fit, LensFreedom, fit_frames
from reelnotes.measure.posed import Observations, both
from reelnotes.measure.rectify import warp
from reelnotes.measure.refine import native_scale, scales

_LONG, _HIGH = 0.11, 0.12  # a piece, as a share of the board's length and width
_STEP = 0.05  # of the length, from piece to piece
_REACHES = (0.04, 0.015)  # of the length, by which the outline, and then the pose from a first look, may be off
_DOUBT = 0.15  # correlation that a shift by all of the reach must make up for
_SMOOTH = 0.004  # of the length, by which neighbours' shifts differ: less than from a tick to the next
_PRINT = 4.0  # grey levels (standard deviation) from which a piece holds print
_ALIKE = 0.4  # correlation that the pieces of a row have on average
_PIECE_PX, _CORNER = 1.5, 0.02  # uncertainty of a piece's place (pixels), and of a corner as a share of the outline's size
_LEAST = 8  # pieces of a row, and in all that must agree
_SPAN = 0.4  # of the board's length over which they must lie


def by_strips(image: NDArray[np.uint8], rough: Proposal, lens: LensModel, freedom: LensFreedom) -> Proposal | None:
    """The pose, and the lens as far as it is free, on which long pieces of print near a rough pose agree; None when too few do.

    image  BGR; rough  a pose from an outline (with ``corners``)
    """
    if rough.corners is None:
        return None
    held = _held(rough.model, rough.corners, lens)
    # Under a guessed lens the outline is not quite that of the board's rectangle: as far as the lens is free, it follows.
    fit = fit_frames([held], lens, [rough.R], [rough.t], freedom)
    agreeing = 0
    for reach in _REACHES:
        if fit is None:
            return None
        found = _pieces(image, rough.model, fit, reach)
        if len(found) < _LEAST:
            return None
        fit = fit_frames([both(found, held)], fit.lens, fit.R, fit.t, freedom, steps=20)
        agree = fit.inlier[0][: len(found)] > 0.2 if fit is not None else np.zeros(len(found), bool)
        agreeing = int(agree.sum())
        if agreeing < _LEAST or np.ptp(found.board_mm[agree, 0]) < _SPAN * rough.model.board.length_mm:
            return None
    return replace(rough, R=fit.R[0], t=fit.t[0], support=agreeing, lens=fit.lens, held=held) if fit is not None else None


def _held(model: BoardModel, corners: Floats, lens: LensModel) -> Observations:
    """An outline's corners as those of the board, each known to a few percent of the outline's size."""
    px = lens.project(np.concatenate([corners, np.ones((4, 1))], axis=1))
    sigma = _CORNER * float(np.linalg.norm(np.ptp(px, axis=0)))
    return Observations(model.corners_mm, px, np.tile(np.eye(2) / sigma**2, (4, 1, 1)))


@dataclass(frozen=True, eq=False)
class _Piece:
    """A long piece of print: its middle (raster pixels of the board), how like the frame is at each shift, what it tells.

    alike    (2 room + 1,) the best correlation at each shift along the board; down (2 room + 1,) the shift across it there
    tensor   (2, 2) structure tensor, its largest part being 1
    """

    middle: Floats
    alike: Floats
    down: NDArray[np.int64]
    tensor: Floats


def _pieces(image: NDArray[np.uint8], model: BoardModel, pose: Fit, reach: float) -> Observations:
    """The pieces of print found near their places: their middles, and the pixels that show these."""
    lens, R, t = pose.lens, pose.R[0], pose.t[0]
    native = native_scale(model, lens, R, t)
    if native * model.board.length_mm < 200:
        return Observations(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    scale = scales(model, native)[-1]
    room = round(reach * model.board.length_mm * scale)
    board, wide = Raster.over(model.board, scale), Raster.over(model.board, scale, room / scale)
    drawn, seen = warp(image, lens, R, t, wide)
    frame, mine = (cv2.GaussianBlur(model.grey(p), (0, 0), 1.0).astype(np.float32) for p in (drawn, model.picture_on(board)))
    frame[~seen] = frame.mean()
    steps = max(1, round(_SMOOTH * model.board.length_mm * scale))
    middles, shifts, tensors = [], [], []
    for row in _rows(mine, model, scale):
        pieces = [_sought(frame, mine, part, room) for part in row]
        likely = np.stack([p.alike for p in pieces]) - _DOUBT * np.linspace(-1.0, 1.0, 2 * room + 1) ** 2
        for piece, shift in zip(pieces, _together(likely, steps), strict=False):
            middles.append(piece.middle)
            shifts.append([shift - room, piece.down[shift] - room])
            tensors.append(piece.tensor)
    return _observed(board, middles, shifts, tensors, pose)


def _rows(mine: NDArray[np.float32], model: BoardModel, px_per_mm: float) -> Sequence[list[tuple[slice, slice]]]:
    """Rows of long pieces of print on the board's raster."""
    long_, step = (round(share * model.board.length_mm * px_per_mm) for share in (_LONG, _STEP))
    high = max(9, round(_HIGH * model.board.width_mm * px_per_mm))
    rows = []
    for v in np.linspace(0, mine.shape[0] - high, max(2, round(2.0 / _HIGH) - 1)).astype(int):
        parts = [(slice(v, v + high), slice(u, u + long_)) for u in range(0, mine.shape[1] - long_ + 1, step)]
        row = [part for part in parts if mine[part].std() > _PRINT]
        if len(row) >= _LEAST:
            rows.append(row)
    return rows


def _sought(frame: NDArray[np.float32], mine: NDArray[np.float32], part: tuple[slice, slice], room: int) -> _Piece:
    """A piece at every shift by up to ``room`` pixels; ``frame`` is that much larger all around."""
    patch = mine[part]
    high, long_ = patch.shape
    top, left = part[0].start, part[1].start
    scores = cv2.matchTemplate(frame[top : top + high + 2 * room, left : left + long_ + 2 * room], patch, cv2.TM_CCOEFF_NORMED)
    gx, gy = (cv2.Sobel(patch, cv2.CV_32F, *d).astype(np.float64) for d in ((1, 0), (0, 1)))
    tensor = np.array([[(gx * gx).sum(), (gx * gy).sum()], [(gx * gy).sum(), (gy * gy).sum()]])
    middle = np.array([left + (long_ - 1) / 2, top + (high - 1) / 2])
    return _Piece(middle, scores.max(axis=0).astype(np.float64), scores.argmax(axis=0), tensor / np.linalg.eigvalsh(tensor)[1])


def _together(alike: Floats, steps: int) -> list[int]:
    """The shift of each piece of a row, (n, m) correlations, so that their sum is largest and neighbours' differ by ``steps`` at
    most; empty where the pieces are not alike even so."""
    total, before = alike[0], []
    for row in alike[1:]:
        padded = np.pad(total, steps, constant_values=-np.inf)
        near = np.lib.stride_tricks.sliding_window_view(padded, 2 * steps + 1)
        best = near.argmax(axis=1)
        before.append(np.arange(len(row)) + best - steps)
        total = row + near[np.arange(len(row)), best]
    path = [int(total.argmax())]
    if total.max() < _ALIKE * len(alike):
        return []
    for back in reversed(before):
        path.append(int(back[path[-1]]))
    return path[::-1]


def _observed(board: Raster, middles: list[Floats], shifts: list[list[int]], tensors: list[Floats], pose: Fit) -> Observations:
    """Pieces seen where the pose puts their shifted middles. A long line tells nothing along itself: its tensor says so."""
    if not middles:
        return Observations(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2, 2)))
    middle = np.stack(middles)
    at = board.to_mm(middle + np.array(shifts))

    def seen(points: Floats) -> Floats:
        return pose.lens.project(points @ pose.R[0][:, :2].T + pose.t[0])

    px, right, down = seen(at), np.array([1.0, 0.0]), np.array([0.0, -1.0])
    along, across = seen(at + right) - px, seen(at + down) - px  # a raster's rows run down
    step = np.stack([along, across], axis=-1)
    size = np.sqrt(np.abs(np.linalg.det(step)))[:, None, None]
    back = np.linalg.inv(step / size)
    weight = back.transpose(0, 2, 1) @ np.stack(tensors) @ back / _PIECE_PX**2
    ok = np.isfinite(px).all(axis=1) & np.isfinite(weight).all(axis=(1, 2))
    return Observations(board.to_mm(middle)[ok], px[ok], weight[ok])

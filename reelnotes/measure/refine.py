"""From a rough pose to an exact one, coarse print first, and the judgement whether it is this board at all.

At the coarse scales only bars, bands and large figures are left, so a pose cannot slip by a graduation there; should it
have slipped by a bar, the whole board is tried at every shift along itself. Finer scales then settle the fractions.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.match_print import Agreement, match
from reelnotes.measure.pose_fit import HELD, Fit, LensFreedom, fit_frames
from reelnotes.measure.posed import Observations
from reelnotes.measure.rectify import warp

_COARSE_PX = 170.0  # length of the board on the coarsest raster
SAME_NCC = 0.6  # a patch agrees with the picture from this correlation on


@dataclass(frozen=True, eq=False)
class Alignment:
    """A pose that the print has settled, and how well the print agrees.

    score    share of the print inside the frame that agrees, 0..1
    reach    part of the board's length over which agreeing print is spread, 0..1
    """

    model: BoardModel
    lens: LensModel
    R: Floats
    t: Floats
    fit: Fit
    seen: Observations
    agreement: Agreement
    score: float
    reach: float


def scales(model: BoardModel, native_px_per_mm: float) -> list[float]:
    """Raster scales (px/mm) from coarse to the frame's own, each about twice the last."""
    coarse = _COARSE_PX / model.board.length_mm
    fine = float(np.clip(native_px_per_mm, coarse, min(model.px_per_mm, 1500.0 / model.board.length_mm)))
    count = max(1, round(np.log2(fine / coarse)))
    return [coarse * (fine / coarse) ** (i / count) for i in range(count + 1)]


def native_scale(model: BoardModel, lens: LensModel, R: Floats, t: Floats) -> float:
    """Pixels of the frame per millimetre of the board, the median over the board; 0 when it is not in front."""
    x, y = np.meshgrid(np.linspace(0, model.board.length_mm, 9), np.linspace(0, model.board.width_mm, 5))
    mm = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    here = lens.project(mm @ R.T + t)
    there = lens.project((mm + [1.0, 0, 0]) @ R.T + t)
    step = np.linalg.norm(there - here, axis=1)
    inside = np.isfinite(step) & (here[:, 0] > 0) & (here[:, 0] < lens.width_px) & (here[:, 1] > 0) & (here[:, 1] < lens.height_px)
    return float(np.median(step[inside])) if inside.any() else 0.0


def settle(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, freedom: LensFreedom = HELD, *, rough: bool = True
) -> Alignment | None:
    """Refine a pose on the print. ``rough``: the start may be off by several percent of the board; else by about a pixel.

    None when the print does not hold together there.
    """
    native = native_scale(model, lens, R, t)
    if native * model.board.length_mm < 40:
        return None
    made: Alignment | None = None
    ladder = scales(model, native)
    if rough:
        made = _climb(image, model, lens, R, t, freedom, ladder[:1], searches=(10, 6))
        if made is None:
            return None
        slid = _slide(image, model, made)
        if slid is not None:
            again = _climb(image, model, made.lens, made.R, slid, freedom, ladder[:1], searches=(6, 3))
            made = again if again is not None and again.score > made.score else made
        lens, R, t = made.lens, made.R, made.t
        return _climb(image, model, lens, R, t, freedom, ladder[1:], searches=(4,)) if len(ladder) > 1 else made
    return _climb(image, model, lens, R, t, freedom, ladder[-2:], searches=(3,))


def follow(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, freedom: LensFreedom = HELD
) -> Alignment | None:
    """A coarse alignment from a start that is a few percent of the board off, as from one frame to the next."""
    if native_scale(model, lens, R, t) * model.board.length_mm < 40:
        return None
    return _climb(image, model, lens, R, t, freedom, scales(model, 0.0)[:1], searches=(10, 4))


def _climb(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, freedom: LensFreedom,
    ladder: list[float], searches: tuple[int, ...],
) -> Alignment | None:  # fmt: skip
    made = None
    for scale in ladder:
        for search in searches:
            seen, agreement = match(image, model, lens, R, t, scale, search_px=search)
            if len(seen) < 8:
                return None
            fit = fit_frames([seen], lens, [R], [t], freedom)
            if fit is None:
                return None
            lens, R, t = fit.lens, fit.R[0], fit.t[0]
            made = _judged(model, lens, fit, seen, agreement)
    return made


def _judged(model: BoardModel, lens: LensModel, fit: Fit, seen: Observations, agreement: Agreement) -> Alignment:
    good = fit.inlier[0] > 0.2
    inside = int(agreement.seen.sum())
    x = seen.board_mm[good, 0]
    reach = float(np.ptp(x)) / model.board.length_mm if len(x) else 0.0
    return Alignment(model, lens, fit.R[0], fit.t[0], fit, seen, agreement, float(good.sum()) / max(inside, 1), reach)


def _slide(image: NDArray[np.uint8], model: BoardModel, made: Alignment) -> Floats | None:
    """The camera's t for the shift along x at which the picture agrees best, if that is another shift than none."""
    scale = _COARSE_PX / model.board.length_mm
    margin = round(0.6 * _COARSE_PX)
    board = Raster.over(model.board, scale)
    wide = Raster(scale, board.x0_mm - margin / scale, board.y0_mm, board.width_px + 2 * margin, board.height_px)
    drawn, seen = warp(image, made.lens, made.R, made.t, wide)
    frame, mine = model.grey(drawn), model.grey(model.picture_on(board))
    scores = np.array([_agree(frame[:, s : s + board.width_px], mine, seen[:, s : s + board.width_px]) for s in range(2 * margin + 1)])
    best = int(scores.argmax())
    if best == margin or scores[best] <= scores[margin] + 0.02:
        return None
    shift_mm = (best - margin) / scale
    return made.t + made.R[:, 0] * shift_mm


def _agree(frame: NDArray[np.float32], mine: NDArray[np.float32], seen: NDArray[np.bool_]) -> float:
    """Share of the print that agrees, by correlation in small windows."""
    k = (9, 9)
    ones = seen.astype(np.float32)
    a, b = frame * ones, mine * ones
    n = np.maximum(cv2.boxFilter(ones, -1, k, normalize=False), 1.0)
    ma, mb = cv2.boxFilter(a, -1, k, normalize=False) / n, cv2.boxFilter(b, -1, k, normalize=False) / n
    va = cv2.boxFilter(a * a, -1, k, normalize=False) / n - ma * ma
    vb = cv2.boxFilter(b * b, -1, k, normalize=False) / n - mb * mb
    cov = cv2.boxFilter(a * b, -1, k, normalize=False) / n - ma * mb
    print_here = (vb > 9.0) & seen & (n > 40)
    if print_here.sum() < 0.15 * (vb > 9.0).sum():
        return 0.0
    ncc = cov / np.sqrt(np.maximum(va, 4.0) * np.maximum(vb, 1e-3))
    return float(np.clip(ncc[print_here], 0.0, 1.0).mean())

"""From a rough pose to an exact one, coarse print first, and the judgement whether it is this board at all.

At the coarse scales only bars, bands and large figures are left, so a pose cannot slip by a graduation there; should it
have slipped by a bar, the whole board is tried at every shift along itself. Finer scales then settle the fractions.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.match_print import Agreement, Pose, carried, match
from reelnotes.measure.pose_fit import HELD, Fit, LensFreedom, fit_frames
from reelnotes.measure.posed import Observations, both
from reelnotes.measure.rectify import warp

_COARSE_PX = 170.0  # length of the board on the coarsest raster
_FOLLOW_PX = 2.4 * _COARSE_PX  # the same when a board is followed from frame to frame
_ROUGH = 0.04  # of the board's length, by which a rough pose is off
_HOPELESS = 0.06  # a coarse strength from which no finer look has saved a pose
_FAINT = 0.22  # a strength at the middling scale below which a followed board is looked at more finely
_STRIDE = 2.6  # of scales one after the other, once a pose is known to a fraction of a pixel


@dataclass(frozen=True, eq=False)
class Alignment:
    """A pose that the print has settled, and how well the print agrees.

    agreement  expected from this pose; px_per_mm: of the raster on which it was looked at
    score    share of the print inside the frame that agrees, 0..1, strong print counting for more than faint
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
    px_per_mm: float = 0.0

    @property
    def strength(self) -> float:
        """Pieces of print that agree, as a share of all there are, in the frame or not."""
        return self.score * self.agreement.share(self.agreement.seen)


def scales(model: BoardModel, native_px_per_mm: float) -> list[float]:
    """Raster scales (px/mm) from coarse to about the frame's own, each about twice the last.

    The finest is one of eight to each doubling, so that frames from about as far away share the templates cut for one scale.
    """
    coarse = _COARSE_PX / model.board.length_mm
    finest = min(model.px_per_mm, 1500.0 / model.board.length_mm)
    octaves = np.ceil(8 * np.log2(np.clip(native_px_per_mm / coarse, 1.0, None))) / 8
    fine = float(np.clip(coarse * 2**octaves, coarse, max(finest, coarse)))
    count = max(1, round(np.log2(fine / coarse)))
    return [coarse * (fine / coarse) ** (i / count) for i in range(count + 1)]


def native_scale(model: BoardModel, lens: LensModel, R: Floats, t: Floats) -> float:
    """Pixels of the frame per millimetre of the board, the median over the board; 0 when it is not in front."""
    x, y = np.meshgrid(np.linspace(0, model.board.length_mm, 9), np.linspace(0, model.board.width_mm, 5))
    mm = np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1)
    here = lens.project(mm @ R.T + t)
    there = lens.project((mm + np.array([1.0, 0.0, 0.0])) @ R.T + t)
    step = np.linalg.norm(there - here, axis=1)
    inside = np.isfinite(step) & (here > 0).all(axis=1) & (here < [lens.width_px, lens.height_px]).all(axis=1)
    return float(np.median(step[inside])) if inside.any() else 0.0


def settle(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, freedom: LensFreedom = HELD,
    *, near: bool = False, held: Observations | None = None,
) -> Alignment | None:  # fmt: skip
    """Refine on the print a pose that may be off by several percent of the board; None when it does not hold together there.

    near: the pose is off by half a percent or so; the coarsest scale, at which thin print and shade are much the same,
    is left out. held: what else keeps a board whose print lies along one edge from turning about it; such a pose is near to a
    few pixels, and at any coarser scale its ticks would be taken for their neighbours.
    """
    native = native_scale(model, lens, R, t)
    if native * model.board.length_mm < 40:
        return None
    ladder = scales(model, native)
    if held is not None:
        return _climb(image, model, lens, R, t, freedom, ladder[-1:], searches=(3, 2, 2), held=held)
    if near:
        finer = [scale for scale in ladder if scale > 0.8 * _FOLLOW_PX / model.board.length_mm] or ladder[-1:]
        made = _climb(image, model, lens, R, t, freedom, finer[:1], searches=(4, 3))
        return _fine(image, made, freedom, finer[1:]) if made is not None and made.strength > _HOPELESS else None
    made = _climb(image, model, lens, R, t, freedom, ladder[:1], searches=(4, 3))
    if made is None or made.strength < 0.5:
        wide = _climb(image, model, lens, R, t, freedom, ladder[:1], searches=(10, 5))
        made = wide if made is None or (wide is not None and wide.strength > made.strength) else made
    if made is None:
        return None
    slid = _slide(image, made, _COARSE_PX)
    if slid is not None:
        again = _climb(image, model, made.lens, made.R, slid, freedom, ladder[:1], searches=(6, 3))
        made = again if again is not None and again.strength > made.strength else made
    return _fine(image, made, freedom, ladder[1:]) if made.strength > _HOPELESS else None


def sharpen(image: NDArray[np.uint8], followed: Alignment, freedom: LensFreedom = HELD) -> Alignment | None:
    """Refine a pose from :func:`follow` down to the frame's own scale; None when the print does not hold together there."""
    model = followed.model
    ladder = scales(model, native_scale(model, followed.lens, followed.R, followed.t))
    followed_at = _FOLLOW_PX / model.board.length_mm
    finer = [scale for scale in ladder if scale > 1.1 * followed_at] or ladder[-1:]
    if followed.strength > _FAINT and finer[-1] < _STRIDE * followed_at:
        finer = finer[-1:]
    return _fine(image, followed, freedom, finer, near=True)


def _fine(
    image: NDArray[np.uint8], made: Alignment, freedom: LensFreedom, ladder: list[float], *, near: bool = False
) -> Alignment | None:
    """Down to the finest scale; and once more from the place that the figures on the board prefer, should that be another.

    near: as in :func:`match`
    """
    if not ladder:
        return made
    model = made.model
    fine = _climb(image, model, made.lens, made.R, made.t, freedom, ladder, searches=(4,), near=near)
    if fine is None:
        return None
    slid = _slide(image, fine, 3.5 * _COARSE_PX)
    if slid is None:
        return fine
    again = _climb(image, model, fine.lens, fine.R, slid, freedom, ladder, searches=(6, 3))
    return again if again is not None and again.strength > fine.strength else fine


def follow(image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, *, near: bool) -> Alignment | None:
    """A middling alignment from a start that is a percent or two of the board off (``near``: about half a percent), as
    from one frame to the next."""
    native = native_scale(model, lens, R, t)
    if native * model.board.length_mm < 40:
        return None
    ladder = [px / model.board.length_mm for px in (_COARSE_PX, _FOLLOW_PX)]
    made = _climb(image, model, lens, R, t, HELD, ladder[1:] if near else ladder, searches=(4,), near=near)
    if made is None or made.strength > _FAINT or native < 1.5 * ladder[-1]:
        return made
    # Thin print in the open is all that burnt-out shade leaves of some boards: it shows at a finer scale only.
    finer = _climb(image, model, lens, made.R, made.t, HELD, [min(2.0 * ladder[-1], native)], searches=(4,))
    return finer if finer is not None and finer.strength > made.strength else made


def _climb(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, freedom: LensFreedom,
    ladder: list[float], searches: tuple[int, ...], held: Observations | None = None, *, near: bool = False,
) -> Alignment | None:  # fmt: skip
    made, scale, start = None, 0.0, (lens, R, t)
    for scale in ladder:
        for search in searches:
            start = (lens, R, t)
            seen, agreement = match(image, model, lens, R, t, scale, search_px=search, near=near)
            if len(seen) < 8:
                return None
            fit = fit_frames([seen if held is None else both(seen, held)], lens, [R], [t], freedom)
            if fit is None:
                return None
            lens, R, t = fit.lens, fit.R[0], fit.t[0]
            made = fit, seen, agreement
    return _judged(image, model, *made, scale, start if near else None) if made is not None else None


def _judged(
    image: NDArray[np.uint8], model: BoardModel, fit: Fit, seen: Observations, agreement: Agreement, scale: float,
    start: Pose | None,
) -> Alignment:  # fmt: skip
    """How well print agrees with the settled pose: it agrees where it looks alike *and* lies within a pixel of its place.

    Where the pose has hardly moved since the last look (from ``start``), that look tells; else, or without a start, it is looked
    again."""
    settled = (fit.frame_lens(0), fit.R[0], fit.t[0])
    now = carried(model, scale, agreement, start, settled) if start is not None else None
    now = now or match(image, model, *settled, scale, search_px=0)[1]
    agrees = now.agrees
    x = now.mm[agrees, 0]
    reach = float(np.ptp(x)) / model.board.length_mm if len(x) else 0.0
    score = now.share(agrees, now.seen)
    return Alignment(model, fit.lens, fit.R[0], fit.t[0], fit, seen, now, score, reach, scale)


def _slide(image: NDArray[np.uint8], made: Alignment, length_px: float) -> Floats | None:
    """The camera's t for the shift along x at which the print agrees best, if that is another shift than none.

    Both pictures are brought to local contrast (zero mean, unit variance in small windows), so that the sum of their
    products over all print is a correlation that counts every part of the board alike; print outside the frame counts 0.
    """
    model = made.model
    scale = length_px / model.board.length_mm
    margin = round(0.6 * length_px)
    board = Raster.over(model.board, scale)
    wide = Raster(scale, board.x0_mm - margin / scale, board.y0_mm, board.width_px + 2 * margin, board.height_px)
    drawn, seen = warp(image, made.lens, made.R, made.t, wide)
    frame = _local(model.grey(drawn)) * seen
    mine = _own_contrast(model, board)
    scores = cv2.matchTemplate(frame.astype(np.float32), mine, cv2.TM_CCORR).ravel()
    best = int(scores.argmax())
    near = scores[margin - 2 : margin + 3].max()
    if abs(best - margin) <= 2 or scores[best] < 1.03 * near:
        return None
    return np.asarray(made.t + made.R[:, 0] * ((best - margin) / scale))


def likeness(image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats) -> float:
    """How much a picture is like the board under a rough pose (by a few percent of its length off), at the coarsest scale:
    correlation of local contrast, about 1 for the same; what a fish hides counts nothing."""
    scale = _COARSE_PX / model.board.length_mm
    board = Raster.over(model.board, scale)
    room = max(2, round(_ROUGH * _COARSE_PX))
    wide = Raster(scale, board.x0_mm - room / scale, board.y0_mm + room / scale, board.width_px + 2 * room,
                  board.height_px + 2 * room)  # fmt: skip
    drawn, seen = warp(image, lens, R, t, wide)
    frame, mine = (_local(model.grey(drawn)) * seen).astype(np.float32), _own_contrast(model, board)
    return float(cv2.matchTemplate(frame, mine, cv2.TM_CCORR).max() / max(float((mine * mine).sum()), 1e-6))


def mirrored(image: NDArray[np.uint8], made: Alignment) -> bool:
    """Whether what is in the frame is as like the mirrored board: bars are the same in a mirror, figures are not."""
    model = made.model
    scale = 3.5 * _COARSE_PX / model.board.length_mm
    board = Raster.over(model.board, scale)
    # Room at the ends: a mirrored board is taken with its bars in step, which may be a bar further along.
    room = round(1.0 * _COARSE_PX)
    wide = Raster(scale, board.x0_mm - room / scale, board.y0_mm, board.width_px + 2 * room, board.height_px)
    drawn, seen = warp(image, made.lens, made.R, made.t, wide)
    frame = cv2.copyMakeBorder(_local(model.grey(drawn)) * seen, 4, 4, 0, 0, cv2.BORDER_CONSTANT).astype(np.float32)
    mine = _own_contrast(model, board)

    def alike(picture: NDArray[np.float32]) -> float:
        return float(cv2.matchTemplate(frame, picture, cv2.TM_CCORR).max())

    return max(alike(mine[:, ::-1].copy()), alike(mine[::-1].copy())) > 0.97 * alike(mine)


@lru_cache(maxsize=32)
def _own_contrast(model: BoardModel, raster: Raster) -> NDArray[np.float32]:
    """The board's own picture in local contrast; the same for every frame."""
    return _local(model.grey(model.picture_on(raster)))


def _local(grey: NDArray[np.float32]) -> NDArray[np.float32]:
    """Local contrast: (grey - mean) / deviation in 11 px windows, small where there is no print."""
    mean = cv2.boxFilter(grey, -1, (11, 11))
    spread = np.sqrt(np.maximum(cv2.boxFilter(grey * grey, -1, (11, 11)) - mean * mean, 0.0))
    return np.clip((grey - mean) / (spread + 4.0), -2.5, 2.5).astype(np.float32)

"""The lens from the board itself: one bundle over several frames, under each lens law; the residuals choose.

A known plane seen from many poses gives focal length and distortion (Zhang 2000). How well it gives them shows in the
covariance, and goes on from there into every length.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import Fit, LensFreedom, fit_frames
from reelnotes.measure.posed import Observations

# What one may believe of a camera before looking: square pixels, the axis within a percent or two of the middle.
_FREE = {
    "fisheye": LensFreedom(log_focal=0.3, centre=0.012, radial=(0.08, 0.03, 0.01), shift=0.003),
    "pinhole": LensFreedom(log_focal=0.3, centre=0.012, radial=(0.15, 0.08), shift=0.003),
}
# A focal length solved from one clip is biased by what the model leaves out (rolling shutter, a lens that follows no law
# exactly): no formula tells how much; 2 % is common practice, no source.
SOLVED_FLOOR = 0.02
# By how much a fit's own standard deviation of the focal length falls short: on 45 clips under their right lens, the size of
# (solved - given) / deviation was 2.3 (root mean square), up to 7. Print errs together, not piece by piece.
_TOO_SURE = 2.5
_USUAL_PINHOLE = -0.09  # first radial term, halfway between a lens drawn straight and a mild barrel
# Times the cost of a law under which the lens bends as none does: either law follows a lens drawn straight about as well, but
# only one does so with numbers to be believed. Judgement, no source.
_STRANGE = 1.1
_ODD = 5.0  # of those standard deviations, by which no camera's lens bends otherwise than is believed


@dataclass(frozen=True, eq=False)
class Solved:
    """A lens and the bundle that gave it."""

    lens: LensModel
    fit: Fit
    cost: float


def solve_lens(seen: Sequence[Observations], poses: Sequence[tuple[Floats, Floats]], start: LensModel) -> Solved | None:
    """Solve the lens from print seen in several frames, of one clip or of several clips of one camera.

    poses: (R, t) of each frame under ``start``. None when neither law holds together.
    """
    best: Solved | None = None
    for lens in _starts(start):
        fit = fit_frames(list(seen), lens, [R for R, _ in poses], [t for _, t in poses], _FREE[lens.model], steps=20)
        if fit is None:
            continue
        cost = fit.cost * sum(map(len, seen)) + fit.problem.prior_cost(_shared_of(fit, lens), fit.shift)
        cost *= 1.0 if believable(fit.lens) else _STRANGE
        if best is None or cost < best.cost:
            best = Solved(fit.lens, fit, cost)
    return best


def at_odds(seen: Sequence[Observations], poses: Sequence[tuple[Floats, Floats]], given: LensModel) -> bool:
    """Whether the board shows another focal length than a given lens has: by more than three standard deviations of both.

    A calibration of a clip that could not tell a lens may leave small residuals too; and print that repeats fits a wrong lens a
    bar further along. seen, poses: as in :func:`solve_lens`, under the given lens.
    """
    freed = fit_frames(list(seen), replace(given, shift_px=(0.0, 0.0)), [R for R, _ in poses], [t for _, t in poses],
                       _FREE[given.model], steps=20)  # fmt: skip
    if freed is None:
        return False
    sigma = float(np.sqrt((_TOO_SURE * freed.focal_sigma) ** 2 + SOLVED_FLOOR**2 + given.focal_sigma**2))
    return abs(float(np.log(freed.lens.fx / given.fx))) > 3.0 * sigma


def believable(lens: LensModel) -> bool:
    """Whether a solved lens bends like one that cameras have. One that does not has been bent to fit print taken for its
    neighbours, or print too little to tell a lens by: its residuals are small, and its pose may stand anywhere."""
    free = _FREE[lens.model]
    side = max(lens.width_px, lens.height_px)
    centre = max(abs(lens.cx - (lens.width_px - 1) / 2), abs(lens.cy - (lens.height_px - 1) / 2)) / side / free.centre
    usual = _USUAL_PINHOLE if lens.model == "pinhole" else 0.0
    bent = [abs(k - u) / sigma for k, u, sigma in zip(lens.dist, (usual, 0.0, 0.0), free.radial, strict=False)]
    return max(centre, *bent) < _ODD


def _starts(start: LensModel) -> list[LensModel]:
    """The start under both laws. A fisheye's theta (1 + k theta^2) is about a pinhole's r (1 + (k - 1/3) r^2)."""
    k = start.dist[0] if start.model == "fisheye" else start.dist[0] + 1 / 3
    fisheye = replace(start, model="fisheye", dist=(0.0, 0.0, 0.0, 0.0))
    pinhole = replace(start, model="pinhole", dist=(float(np.clip(k - 1 / 3, -0.25, 0.1)) * 0.5, 0.0, 0.0, 0.0, 0.0))
    return [fisheye, pinhole]


def _shared_of(fit: Fit, start: LensModel) -> Floats:
    """The shared parameters that lead from the start to the solution."""
    places = (0, 1, 4) if start.model == "pinhole" else (0, 1, 2, 3)
    radial = [fit.lens.dist[p] - start.dist[p] for p, _ in zip(places, fit.problem.freedom.radial, strict=False)]
    return np.array([np.log(fit.lens.fx / start.fx), fit.lens.cx - start.cx, fit.lens.cy - start.cy, *radial])

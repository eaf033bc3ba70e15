"""Pose and lens from print found in frames: one damped least squares for one frame or for many.

The camera model of each frame is  px = lens(R X + t) - shift,  X on the board's plane. Unknown are each frame's pose
(6), optionally its stabiliser shift (2, with a prior), and optionally what is not known of the lens: focal length,
principal point, first radial coefficients (shared by all frames). A known plane seen from several poses fixes them:
Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22(11), 2000.

Robust by iterated reweighting (Tukey's biweight on the whitened residual of each piece of print).
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.lens_slopes import Slopes, slopes
from reelnotes.measure.posed import Observations

TUKEY = 4.685  # 95 % efficiency on a normal distribution
# Steps end when they move the print by less than this, root mean square, in units of its uncertainty: a fit of some hundred
# pieces of print is itself no surer than a tenth.
_SETTLED = 3e-3
_NEARLY = 0.3  # the same, from which the robust scale narrows twice as fast: a good start needs no slow one
State = tuple[Floats, Floats, Floats, Floats]  # shared parameters, then each frame's R, t and shift


@dataclass(frozen=True)
class LensFreedom:
    """What of the lens is unknown, as prior standard deviations around ``LensModel`` as given; 0 means held.

    log_focal        of the common focal length, natural logarithm (about a relative sigma)
    centre           of the principal point, as a share of the picture's longer side
    radial           of the leading radial coefficients, one each
    shift            of each frame's own shift, as a share of the longer side
    """

    log_focal: float = 0.0
    centre: float = 0.0
    radial: tuple[float, ...] = ()
    shift: float = 0.0


HELD = LensFreedom()


@dataclass(frozen=True, eq=False)
class Fit:
    """The solution: the lens (no shift), each frame's R, t and shift, and how well it holds.

    inlier      per frame, (n,) the robust weight 0..1 of each observation
    rms_px      per frame, reprojection error along what the inliers can tell
    covariance  of all parameters as ``Problem`` orders them: shared lens first, then frames
    cost        robust cost per observation
    """

    lens: LensModel
    R: list[Floats]
    t: list[Floats]
    shift: Floats
    inlier: list[Floats]
    rms_px: Floats
    covariance: Floats
    focal_sigma: float
    cost: float
    problem: "Problem"

    def frame_lens(self, i: int) -> LensModel:
        """The lens with frame i's shift."""
        return self.lens.shifted((float(self.shift[i, 0]), float(self.shift[i, 1])))

    def reading_sigma_mm(self, i: int, points_mm: Floats) -> Floats:
        """(n, 2) standard uncertainty of x and y read off frame i at board points, from pose and lens alone."""
        return self.problem.reading_sigma(self, i, points_mm)


class Problem:
    """The stacked observations of several frames, and the arithmetic of one step.

    Points lie along the last axis, as in ``lens_slopes``: px and residuals are (2, m), slopes (s + p, 2, m): s shared
    parameters, then p of each point's own frame.
    """

    def __init__(self, seen: list[Observations], lens: LensModel, freedom: LensFreedom) -> None:
        self.seen, self.start, self.freedom = seen, lens, freedom
        self.n = len(seen)
        ends = np.cumsum([0, *map(len, seen)])
        self.rows = [slice(a, b) for a, b in pairwise(ends)]  # of each frame among all observations
        self.mm = np.concatenate([o.board_mm for o in seen]).T.copy()
        self.px = np.concatenate([o.px for o in seen]).T.copy()
        self.white = _root(np.concatenate([o.weight for o in seen]))
        self.side = max(lens.width_px, lens.height_px)
        self.sigmas = np.array(
            [s for s in (freedom.log_focal,) if s]
            + [freedom.centre * self.side] * (2 if freedom.centre else 0)
            + list(freedom.radial)
        )
        self.shared = len(self.sigmas)
        self.per_frame = 8 if freedom.shift else 6

    def __len__(self) -> int:
        return self.px.shape[1]

    def lens_with(self, shared: Floats) -> LensModel:
        """The starting lens moved by the shared parameters."""
        values = shared.tolist()
        if not values:
            return self.start
        lens = self.start
        fx, fy, cx, cy, dist = lens.fx, lens.fy, lens.cx, lens.cy, list(lens.dist)
        if self.freedom.log_focal:
            gain = float(np.exp(values.pop(0)))
            fx, fy = fx * gain, fy * gain
        if self.freedom.centre:
            cx, cy = cx + values.pop(0), cy + values.pop(0)
        places = (0, 1, 4) if lens.model == "pinhole" else (0, 1, 2, 3)
        for place, value in zip(places, values, strict=False):
            dist[place] += value
        return replace(lens, fx=fx, fy=fy, cx=cx, cy=cy, dist=tuple(dist))

    def off(self, residual: Floats) -> Floats:
        """(m,) size of each residual in units of its uncertainty."""
        w = self.white
        across, down = w[0] * residual[0] + w[1] * residual[1], w[2] * residual[1]
        return np.asarray(np.sqrt(across * across + down * down))

    def jacobian(self, shared: Floats, R: Floats, t: Floats, shift: Floats) -> tuple[Floats, Floats]:
        """Prediction (2, m), and its slopes (s + p, 2, m)."""
        turned = np.empty((3, len(self)))
        cam = np.empty_like(turned)
        for i, m in enumerate(self.rows):
            np.matmul(R[i][:, :2], self.mm[:, m], out=turned[:, m])
            np.add(turned[:, m], t[i][:, None], out=cam[:, m])
        at = slopes(self.lens_with(shared), cam, len(self.freedom.radial))
        px = at.px
        if shift.any():
            for i, m in enumerate(self.rows):
                px[:, m] -= shift[i][:, None]
        return px, self._by_parameter(at, turned)

    def _by_parameter(self, at: Slopes, turned: Floats) -> Floats:
        """(s + p, 2, m) the slopes by shared parameters and by the point's own frame's; turned: (3, m) R X."""
        J = np.empty((self.shared + self.per_frame, 2, turned.shape[1]))
        k = 0
        if self.freedom.log_focal:
            J[0], k = at.to_log_focal, 1
        if self.freedom.centre:
            J[k : k + 2], k = np.eye(2)[:, :, None], k + 2
        J[k : self.shared] = at.to_radial
        own = J[self.shared :]
        # A small turn w about the camera's axes moves the point by w x (R X).
        x, y, z = turned
        by_x, by_y, by_z = at.to_point
        own[0], own[1], own[2] = y * by_z - z * by_y, z * by_x - x * by_z, x * by_y - y * by_x
        own[3:6] = at.to_point
        if self.per_frame == 8:
            own[6:8] = -np.eye(2)[:, :, None]
        return J

    def normal(self, J: Floats, residual: Floats, robust: Floats, shared: Floats, shift: Floats) -> tuple[Floats, Floats]:
        """Normal matrix and gradient with the priors in them. J, residual: slopes and (2, m), robust: (m,) weights 0..1."""
        s, p = self.shared, self.per_frame
        size = s + self.n * p
        A, g = np.zeros((size, size)), np.zeros(size)
        w = self.white * np.sqrt(robust)
        white = np.empty((s + p + 1, 2, len(self)))  # each in units of its own uncertainty; the residual last
        white[:-1, 0] = J[:, 0] * w[0] + J[:, 1] * w[1]
        white[:-1, 1] = J[:, 1] * w[2]
        white[-1, 0], white[-1, 1] = residual[0] * w[0] + residual[1] * w[1], residual[1] * w[2]
        for i, m in enumerate(self.rows):
            f = slice(s + i * p, s + (i + 1) * p)
            rows = white[:, :, m].reshape(s + p + 1, -1)
            product = rows @ rows.T
            A[:s, :s] += product[:s, :s]
            A[:s, f], A[f, :s], A[f, f] = product[:s, s:-1], product[s:-1, :s], product[s:-1, s:-1]
            g[:s] += product[:s, -1]
            g[f] = product[s:-1, -1]
        A[range(s), range(s)] += 1.0 / self.sigmas**2
        g[:s] -= shared / self.sigmas**2
        if p == 8:
            w_shift = 1.0 / (self.freedom.shift * self.side) ** 2
            at = s + np.arange(self.n)[:, None] * p + np.array([6, 7])
            A[at, at] += w_shift
            g[at] -= shift * w_shift
        return A, g

    def prior_cost(self, shared: Floats, shift: Floats) -> float:
        """What the priors say about the parameters."""
        cost = float(np.sum((shared / self.sigmas) ** 2)) if self.shared else 0.0
        if self.per_frame == 8:
            cost += float(np.sum(shift**2)) / (self.freedom.shift * self.side) ** 2
        return cost

    def reading_sigma(self, fit: "Fit", i: int, points_mm: Floats) -> Floats:
        """See Fit.reading_sigma_mm."""
        R = fit.R[i]
        turned = R[:, :2] @ np.atleast_2d(points_mm).T
        at = slopes(fit.lens, turned + fit.t[i][:, None], len(self.freedom.radial))
        J = self._by_parameter(at, turned).transpose(2, 1, 0)
        forth = at.to_point.transpose(2, 1, 0) @ R[:, :2]  # pixels per board millimetre
        own = self.shared + i * self.per_frame
        index = np.r_[0 : self.shared, own : own + self.per_frame]
        J = np.linalg.inv(forth) @ J
        cov = J @ fit.covariance[np.ix_(index, index)] @ J.transpose(0, 2, 1)
        return np.sqrt(np.maximum(np.stack([cov[:, 0, 0], cov[:, 1, 1]], axis=-1), 0.0))


def _root(weight: Floats) -> Floats:
    """(3, m) the upper triangle (across, mixed, down) of the transposed Cholesky factor of (m, 2, 2) weights, which turns a
    residual into units of its own uncertainty; a hair on the diagonal for pure edges."""
    hair = 1e-9
    across = np.sqrt(weight[:, 0, 0] + hair)
    mixed = weight[:, 1, 0] / across
    return np.stack([across, mixed, np.sqrt(np.maximum(weight[:, 1, 1] + hair - mixed * mixed, hair * hair))])


def fit_frames(
    seen: list[Observations],
    lens: LensModel,
    R: list[Floats],
    t: list[Floats],
    freedom: LensFreedom = HELD,
    *,
    shift: Floats | None = None,
    steps: int = 12,
    soft: float = 3.0,
) -> Fit | None:
    """Solve poses (and what is free of the lens) from print seen in frames; None when it does not hold together.

    R, t: starting poses. soft: the robust scale starts this many times wider and narrows to the residuals' own spread.
    """
    p = Problem(seen, lens, freedom)
    if not len(p):
        return None
    shifts = np.zeros((p.n, 2)) if shift is None else np.array(shift, np.float64)
    here: State = (np.zeros(p.shared), np.stack(R).astype(np.float64), np.stack(t).astype(np.float64), shifts)
    at = p.jacobian(*here)
    length = p.off(p.px - at[0])
    damp, wider = 1e-3, max(1.0, soft)
    for step in range(steps):
        if not np.isfinite(length).all():
            return None
        spread = _spread(length)
        scale = spread * wider
        cost = _cost(length / scale) * scale**2 + p.prior_cost(here[0], here[3])
        A, g = p.normal(at[1], p.px - at[0], _tukey(length / scale), here[0], here[3])
        for _ in range(4):
            delta = _solve(A, g, damp)
            if delta is None:
                return None
            new = _stepped(p, here, delta)
            there = p.jacobian(*new)  # most steps are taken, and the next one needs it
            after = p.off(p.px - there[0])
            if np.isfinite(after).all() and _cost(after / scale) * scale**2 + p.prior_cost(new[0], new[3]) <= cost * (1 + 1e-9):
                damp = max(damp / 10, 1e-7)
                break
            damp *= 10
        else:
            break
        here, at, length = new, there, after
        # g . delta is about the square sum of what the step moved the whitened predictions.
        moved = float(np.sqrt(max(float(g @ delta), 0.0) / len(p)))
        if wider == 1.0 and moved < _SETTLED:
            break
        wider = max(1.0, min(soft * (1 - 2 * (step + 1) / steps), wider / 2 if moved < _NEARLY else wider))
    return _finished(p, here, at)


def _finished(p: Problem, here: State, at: tuple[Floats, Floats]) -> Fit | None:
    shared, R, t, shift = here
    residual = p.px - at[0]
    length = p.off(residual)
    if not np.isfinite(length).all():
        return None
    spread = _spread(length)
    robust = _tukey(length / spread)
    A, _ = p.normal(at[1], residual, robust, shared, shift)
    # Residuals larger than the weights promise widen the covariance; smaller ones do not narrow it.
    covariance = _inverse(A)
    if covariance is None:
        return None
    covariance = covariance * max(1.0, spread) ** 2
    lens = p.lens_with(shared)
    focal = float(np.sqrt(covariance[0, 0])) if p.freedom.log_focal else p.start.focal_sigma
    along = _along(p.seen, residual)
    rms = np.array([_rms_px(along[m][robust[m] > 0.05]) for m in p.rows])
    inlier = [robust[m] for m in p.rows]
    return Fit(replace(lens, focal_sigma=focal), list(R), list(t), shift, inlier, rms, covariance, focal,
               float(_cost(length / max(spread, 1.0)) * max(spread, 1.0) ** 2 / len(length)), p)  # fmt: skip


def _spread(length: Floats) -> float:
    """The residuals' own spread, in units of their uncertainty; 1.1774 is the median length of a two-dimensional unit normal."""
    middle = len(length) // 2
    ordered = np.partition(length, (middle - 1, middle)) if len(length) > 1 else length
    median = ordered[middle] if len(length) % 2 else (ordered[middle - 1] + ordered[middle]) / 2
    return max(float(median) / 1.1774, 0.3)


def _along(seen: list[Observations], residual: Floats) -> Floats:
    """(m,) residuals (2, m) along each piece's best-known direction, so that an edge's free direction does not count."""
    weight = np.concatenate([o.weight for o in seen])
    angle = 0.5 * np.arctan2(2.0 * weight[:, 1, 0], weight[:, 0, 0] - weight[:, 1, 1])
    return np.asarray(np.cos(angle) * residual[0] + np.sin(angle) * residual[1])


def _rms_px(along: Floats) -> float:
    return float(np.sqrt(np.mean(along**2))) if len(along) else float("nan")


def _stepped(p: Problem, here: State, delta: Floats) -> State:
    shared, R, t, shift = here
    own = delta[p.shared :].reshape(p.n, p.per_frame)
    turned = np.stack([cv2.Rodrigues(own[i, :3])[0] @ R[i] for i in range(p.n)])
    return shared + delta[: p.shared], turned, t + own[:, 3:6], shift + own[:, 6:8] if p.per_frame == 8 else shift


def _solve(A: Floats, g: Floats, damp: float) -> Floats | None:
    # Scaled first: radians, millimetres and pixels share one matrix.
    if not np.isfinite(A).all():
        return None
    d = 1.0 / np.sqrt(np.maximum(np.diag(A), 1e-12))
    scaled = A * d[:, None] * d[None, :]
    try:
        return np.linalg.solve(scaled + damp * np.eye(len(A)), g * d) * d
    except np.linalg.LinAlgError:
        return None


def _inverse(A: Floats) -> Floats | None:
    """Inverse of a normal matrix, scaled first; None when it is not finite or not positive."""
    if not np.isfinite(A).all():
        return None
    d = 1.0 / np.sqrt(np.maximum(np.diag(A), 1e-12))
    try:
        return np.asarray(np.linalg.inv(A * d[:, None] * d[None, :] + 1e-10 * np.eye(len(A))) * d[:, None] * d[None, :])
    except np.linalg.LinAlgError:
        return None


def _tukey(u: Floats) -> Floats:
    inside = np.maximum(1.0 - (u / TUKEY) ** 2, 0.0)
    return np.asarray(inside * inside)


def _cost(u: Floats) -> float:
    inside = np.maximum(1.0 - (u / TUKEY) ** 2, 0.0)
    return float(len(u) - np.sum(inside * inside * inside)) * TUKEY**2 / 3.0

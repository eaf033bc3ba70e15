"""Pose and lens from print found in frames: one damped least squares for one frame or for many.

The camera model of each frame is  px = lens(R X + t) - shift,  X on the board's plane. Unknown are each frame's pose
(6), optionally its stabiliser shift (2, with a prior), and optionally what is not known of the lens: focal length,
principal point, first radial coefficients (shared by all frames). A known plane seen from several poses fixes them:
Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22(11), 2000.

Robust by iterated reweighting (Tukey's biweight on the whitened residual of each piece of print).
"""

from copy import copy
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.lens_slopes import slopes
from reelnotes.measure.posed import Observations

TUKEY = 4.685  # 95 % efficiency on a normal distribution
# Steps end when they move the print by less than this, root mean square, in units of its uncertainty: a fit of some hundred
# pieces of print is itself no surer than a tenth.
_SETTLED = 1e-3
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
    covariance  of all parameters in the order of ``Problem.unpack``: shared lens first, then frames
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
    """The stacked observations of several frames, and the arithmetic of one step."""

    def __init__(self, seen: list[Observations], lens: LensModel, freedom: LensFreedom) -> None:
        self.seen, self.start, self.freedom = seen, lens, freedom
        self.n = len(seen)
        ends = np.cumsum([0, *map(len, seen)])
        self.rows = [slice(a, b) for a, b in pairwise(ends)]  # of each frame among all observations
        self.frame_of: NDArray[np.int64] = np.repeat(np.arange(self.n), np.diff(ends))
        self.mm = np.concatenate([o.board_mm for o in seen])
        self.px = np.concatenate([o.px for o in seen])
        # Whitening: the transposed Cholesky factor of each weight; a hair on the diagonal for pure edges.
        weight = np.concatenate([o.weight for o in seen])
        self.white = np.linalg.cholesky(weight + 1e-9 * np.eye(2)).transpose(0, 2, 1)
        self.side = max(lens.width_px, lens.height_px)
        self.sigmas = np.array(
            [s for s in (freedom.log_focal,) if s]
            + [freedom.centre * self.side] * (2 if freedom.centre else 0)
            + list(freedom.radial)
        )
        self.shared = len(self.sigmas)
        self.per_frame = 8 if freedom.shift else 6

    def lens_with(self, shared: Floats) -> LensModel:
        """The starting lens moved by the shared parameters."""
        values = list(shared)
        lens = self.start
        if self.freedom.log_focal:
            gain = float(np.exp(values.pop(0)))
            lens = replace(lens, fx=lens.fx * gain, fy=lens.fy * gain)
        if self.freedom.centre:
            lens = replace(lens, cx=lens.cx + values.pop(0), cy=lens.cy + values.pop(0))
        if self.freedom.radial:
            dist = list(lens.dist)
            places = (0, 1, 4) if lens.model == "pinhole" else (0, 1, 2, 3)
            for place, value in zip(places, values, strict=False):
                dist[place] += value
            lens = replace(lens, dist=tuple(dist))
        return lens

    def whitened(self, values: Floats) -> Floats:
        """(m, 2, k) values along the pixel's axes, each row pair in units of its own uncertainty."""
        w = self.white[:, :, :, None]  # upper triangular: written out, for thousands of tiny matrix products are dear
        return np.stack([w[:, 0, 0] * values[:, 0] + w[:, 0, 1] * values[:, 1], w[:, 1, 1] * values[:, 1]], axis=1)

    def off(self, residual: Floats) -> Floats:
        """(m,) size of each residual in units of its uncertainty."""
        away = self.whitened(residual[:, :, None])[:, :, 0]
        return np.asarray(np.hypot(away[:, 0], away[:, 1]))

    def predict(self, lens: LensModel, R: Floats, t: Floats, shift: Floats, mm: Floats, frame_of: NDArray[np.int64]) -> Floats:
        """(m, 2) pixels of board points, each in its own frame."""
        Rs = R[frame_of]
        cam = Rs[:, :, 0] * mm[:, :1] + Rs[:, :, 1] * mm[:, 1:2] + t[frame_of]
        return lens.project(cam) - shift[frame_of]

    def jacobian(
        self, shared: Floats, R: Floats, t: Floats, shift: Floats, mm: Floats, frame_of: NDArray[np.int64]
    ) -> tuple[Floats, Floats, Floats]:
        """Prediction, d px / d shared (m, 2, s), d px / d own frame's parameters (m, 2, p)."""
        lens = self.lens_with(shared)
        Rs = R[frame_of]
        turned = Rs[:, :, 0] * mm[:, :1] + Rs[:, :, 1] * mm[:, 1:2]
        at = slopes(lens, turned + t[frame_of])
        to_shared = np.zeros((len(mm), 2, self.shared))
        k = 0
        if self.freedom.log_focal:
            to_shared[:, :, 0], k = at.to_log_focal, 1
        if self.freedom.centre:
            to_shared[:, :, k : k + 2], k = np.eye(2), k + 2
        to_shared[:, :, k:] = at.to_radial[:, :, : len(self.freedom.radial)]
        own = np.zeros((len(mm), 2, self.per_frame))
        # A small turn w about the camera's axes moves the point by w x (R X).
        x, y, z = turned.T[:, :, None]
        by_x, by_y, by_z = at.to_point.transpose(2, 0, 1)
        own[:, :, 0], own[:, :, 1], own[:, :, 2] = y * by_z - z * by_y, z * by_x - x * by_z, x * by_y - y * by_x
        own[:, :, 3:6] = at.to_point
        if self.per_frame == 8:
            own[:, 0, 6] = own[:, 1, 7] = -1.0
        return at.px - shift[frame_of], to_shared, own

    def normal(
        self, to_shared: Floats, own: Floats, residual: Floats, robust: Floats, shared: Floats, shift: Floats
    ) -> tuple[Floats, Floats]:
        """Normal matrix and gradient with the priors in them."""
        size = self.shared + self.n * self.per_frame
        A, g = np.zeros((size, size)), np.zeros(size)
        half = np.sqrt(robust)[:, None]
        js, jo, r = (self.whitened(a) * half[:, :, None] for a in (to_shared, own, residual[:, :, None]))
        s, p = self.shared, self.per_frame
        flat = js.reshape(2 * len(js), s)
        A[:s, :s] = flat.T @ flat
        g[:s] = flat.T @ r.reshape(-1)
        for i, m in enumerate(self.rows):
            f = slice(s + i * p, s + (i + 1) * p)
            a, b = jo[m].reshape(-1, p), flat[2 * m.start : 2 * m.stop]
            A[f, f] = a.T @ a
            A[:s, f] = b.T @ a
            A[f, :s] = A[:s, f].T
            g[f] = a.T @ r[m].reshape(-1)
        A[range(s), range(s)] += 1.0 / self.sigmas**2
        g[:s] -= shared / self.sigmas**2
        if p == 8:
            w = 1.0 / (self.freedom.shift * self.side) ** 2
            for i in range(self.n):
                at = s + i * p + 6
                A[at, at] += w
                A[at + 1, at + 1] += w
                g[at : at + 2] -= shift[i] * w
        return A, g

    def prior_cost(self, shared: Floats, shift: Floats) -> float:
        """What the priors say about the parameters."""
        cost = float(np.sum((shared / self.sigmas) ** 2)) if self.shared else 0.0
        if self.per_frame == 8:
            cost += float(np.sum(shift**2)) / (self.freedom.shift * self.side) ** 2
        return cost

    def reading_sigma(self, fit: "Fit", i: int, points_mm: Floats) -> Floats:
        """See Fit.reading_sigma_mm."""
        mm = np.atleast_2d(points_mm).astype(np.float64)
        here = np.full(len(mm), i)
        zero = np.zeros(self.shared)
        moved = copy(self)
        moved.start = fit.lens
        R, t = np.stack(fit.R), np.stack(fit.t)
        base, to_shared, own = moved.jacobian(zero, R, t, fit.shift, mm, here)
        dx = (moved.predict(fit.lens, R, t, fit.shift, mm + np.array([0.01, 0.0]), here) - base) / 0.01
        dy = (moved.predict(fit.lens, R, t, fit.shift, mm + np.array([0.0, 0.01]), here) - base) / 0.01
        back = np.linalg.inv(np.stack([dx, dy], axis=-1))
        at = self.shared + i * self.per_frame
        index = np.r_[0 : self.shared, at : at + self.per_frame]
        J = back @ np.concatenate([to_shared, own], axis=2)
        cov = J @ fit.covariance[np.ix_(index, index)] @ J.transpose(0, 2, 1)
        return np.sqrt(np.maximum(np.stack([cov[:, 0, 0], cov[:, 1, 1]], axis=-1), 0.0))


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
    shifts = np.zeros((p.n, 2)) if shift is None else np.array(shift, np.float64)
    here: State = (np.zeros(p.shared), np.stack(R).astype(np.float64), np.stack(t).astype(np.float64), shifts)
    at = p.jacobian(*here, p.mm, p.frame_of)
    damp = 1e-3
    for step in range(steps):
        residual = p.px - at[0]
        length = p.off(residual)
        if not np.isfinite(length).all():
            return None
        # 1.1774 is the median length of a two-dimensional unit normal.
        spread = max(float(np.median(length)) / 1.1774, 0.3)
        wider = max(1.0, soft * (1 - 2 * step / steps))
        scale = spread * wider
        cost = _cost(length / scale) * scale**2 + p.prior_cost(here[0], here[3])
        A, g = p.normal(at[1], at[2], residual, _tukey(length / scale), here[0], here[3])
        for _ in range(4):
            delta = _solve(A, g, damp)
            if delta is None:
                return None
            new = _stepped(p, here, delta)
            there = p.jacobian(*new, p.mm, p.frame_of)  # most steps are taken, and the next one needs it
            after = p.off(p.px - there[0])
            if np.isfinite(after).all() and _cost(after / scale) * scale**2 + p.prior_cost(new[0], new[3]) <= cost * (1 + 1e-9):
                damp = max(damp / 10, 1e-7)
                break
            damp *= 10
        else:
            break
        here, at = new, there
        # g . delta is about the square sum of what the step moved the whitened predictions.
        if wider == 1.0 and float(g @ delta) < _SETTLED**2 * len(p.px):
            break
    return _finished(p, here, at)


def _finished(p: Problem, here: State, at: tuple[Floats, Floats, Floats]) -> Fit | None:
    shared, R, t, shift = here
    base, to_shared, own = at
    residual = p.px - base
    length = p.off(residual)
    if not np.isfinite(length).all():
        return None
    spread = max(float(np.median(length)) / 1.1774, 0.3)
    robust = _tukey(length / spread)
    A, _ = p.normal(to_shared, own, residual, robust, shared, shift)
    # Residuals larger than the weights promise widen the covariance; smaller ones do not narrow it.
    covariance = _inverse(A)
    if covariance is None:
        return None
    covariance = covariance * max(1.0, spread) ** 2
    lens = p.lens_with(shared)
    focal = float(np.sqrt(covariance[0, 0])) if p.freedom.log_focal else p.start.focal_sigma
    rms = np.array([_rms_px(p, residual, m, robust[m] > 0.05) for m in p.rows])
    inlier = [robust[m] for m in p.rows]
    return Fit(replace(lens, focal_sigma=focal), list(R), list(t), shift, inlier, rms, covariance, focal,
               float(_cost(length / max(spread, 1.0)) * max(spread, 1.0) ** 2 / len(length)), p)  # fmt: skip


def _rms_px(p: Problem, residual: Floats, rows: slice, good: NDArray[np.bool_]) -> float:
    """Residual along each piece's best-known direction, so that an edge's free direction does not count."""
    if not good.any():
        return float("nan")
    white = p.white[rows][good]
    _, vectors = np.linalg.eigh(white.transpose(0, 2, 1) @ white)
    along = np.einsum("mi,mi->m", vectors[:, :, 1], residual[rows][good])
    return float(np.sqrt(np.mean(along**2)))


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
    inside = np.clip(1.0 - (u / TUKEY) ** 2, 0.0, None)
    return inside**2


def _cost(u: Floats) -> float:
    inside = np.clip(1.0 - (u / TUKEY) ** 2, 0.0, None)
    return float(np.sum(1.0 - inside**3)) * TUKEY**2 / 3.0

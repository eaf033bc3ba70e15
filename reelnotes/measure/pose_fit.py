"""Pose and lens from print found in frames: one damped least squares for one frame or for many.

The camera model of each frame is  px = lens(R X + t) - shift,  X on the board's plane. Unknown are each frame's pose
(6), optionally its stabiliser shift (2, with a prior), and optionally what is not known of the lens: focal length,
principal point, first radial coefficients (shared by all frames). A known plane seen from several poses fixes them:
Zhang, "A flexible new technique for camera calibration", IEEE PAMI 22(11), 2000.

Robust by iterated reweighting (Tukey's biweight on the whitened residual of each piece of print).
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.lens_slopes import slopes
from reelnotes.measure.posed import Observations

TUKEY = 4.685  # 95 % efficiency on a normal distribution


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
        self.frame_of = np.concatenate([np.full(len(o), i) for i, o in enumerate(seen)])
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

    def predict(self, lens: LensModel, R: Floats, t: Floats, shift: Floats, mm: Floats, frame_of: Floats) -> Floats:
        """(m, 2) pixels of board points, each in its own frame."""
        Rs = R[frame_of]
        cam = Rs[:, :, 0] * mm[:, :1] + Rs[:, :, 1] * mm[:, 1:2] + t[frame_of]
        return lens.project(cam) - shift[frame_of]

    def jacobian(
        self, shared: Floats, R: Floats, t: Floats, shift: Floats, mm: Floats, frame_of: Floats
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
        own[:, :, :3] = np.cross(turned[:, None, :], at.to_point)
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
        white = self.white * np.sqrt(robust)[:, None, None]
        js, jo, r = white @ to_shared, white @ own, (white @ residual[:, :, None])[:, :, 0]
        s, p = self.shared, self.per_frame
        A[:s, :s] = np.einsum("mij,mik->jk", js, js)
        g[:s] = np.einsum("mij,mi->j", js, r)
        for i in range(self.n):
            m = self.frame_of == i
            f = slice(s + i * p, s + (i + 1) * p)
            rows = 2 * int(m.sum())
            a, b = jo[m].reshape(rows, p), js[m].reshape(rows, s)
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
        moved = Problem(self.seen, fit.lens, self.freedom)
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
    shared, Rs, ts = np.zeros(p.shared), np.stack(R).astype(np.float64), np.stack(t).astype(np.float64)
    shifts = np.zeros((p.n, 2)) if shift is None else np.array(shift, np.float64)
    damp, scale = 1e-3, np.inf
    for step in range(steps):
        base, to_shared, own = p.jacobian(shared, Rs, ts, shifts, p.mm, p.frame_of)
        residual = p.px - base
        if not np.isfinite(residual).all():
            return None
        length = np.linalg.norm((p.white @ residual[:, :, None])[:, :, 0], axis=1)
        # 1.1774 is the median length of a two-dimensional unit normal.
        spread = max(float(np.median(length)) / 1.1774, 0.3)
        scale = spread * max(1.0, soft * (1 - 2 * step / steps))
        robust = _tukey(length / scale)
        cost = _cost(length / scale) * scale**2 + p.prior_cost(shared, shifts)
        A, g = p.normal(to_shared, own, residual, robust, shared, shifts)
        for _ in range(4):
            delta = _solve(A, g, damp)
            if delta is None:
                return None
            new = _stepped(p, shared, Rs, ts, shifts, delta)
            r = p.px - p.predict(p.lens_with(new[0]), new[1], new[2], new[3], p.mm, p.frame_of)
            after = np.linalg.norm((p.white @ r[:, :, None])[:, :, 0], axis=1)
            if np.isfinite(after).all() and _cost(after / scale) * scale**2 + p.prior_cost(new[0], new[3]) <= cost * (1 + 1e-9):
                damp = max(damp / 10, 1e-7)
                break
            damp *= 10
        else:
            break
        shared, Rs, ts, shifts = new
        if step >= steps // 2 + 1 and float(np.abs(delta).max()) < 1e-6:
            break
    return _finished(p, shared, Rs, ts, shifts)


def _finished(p: Problem, shared: Floats, R: Floats, t: Floats, shift: Floats) -> Fit | None:
    base, to_shared, own = p.jacobian(shared, R, t, shift, p.mm, p.frame_of)
    residual = p.px - base
    if not np.isfinite(residual).all():
        return None
    whitened = (p.white @ residual[:, :, None])[:, :, 0]
    length = np.linalg.norm(whitened, axis=1)
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
    good = robust > 0.05
    rms = np.array([_rms_px(p, residual, good & (p.frame_of == i)) for i in range(p.n)])
    inlier = [robust[p.frame_of == i] for i in range(p.n)]
    return Fit(replace(lens, focal_sigma=focal), list(R), list(t), shift, inlier, rms, covariance, focal,
               float(_cost(length / max(spread, 1.0)) * max(spread, 1.0) ** 2 / len(length)), p)  # fmt: skip


def _rms_px(p: Problem, residual: Floats, rows: Floats) -> float:
    """Residual along each piece's best-known direction, so that an edge's free direction does not count."""
    if not rows.any():
        return float("nan")
    _, vectors = np.linalg.eigh(p.white[rows].transpose(0, 2, 1) @ p.white[rows])
    along = np.einsum("mi,mi->m", vectors[:, :, 1], residual[rows])
    return float(np.sqrt(np.mean(along**2)))


def _stepped(
    p: Problem, shared: Floats, R: Floats, t: Floats, shift: Floats, delta: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
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

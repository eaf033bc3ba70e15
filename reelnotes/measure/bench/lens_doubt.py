"""How well a set of views tells a lens: what they lack, and the standard uncertainty of the focal length they gave.

A small residual says nothing of it. Views of a plane that are parallel to one another tell no focal length at all (Zhang,
"A flexible new technique for camera calibration", IEEE TPAMI 22(11), 2000, section 4): each fits them, at another distance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[Any]
LEAST_TILT_APART_DEG = 20.0  # between some two views; Zhang's figure 3: the error falls steeply up to there, least near 45
FEWEST_CORNERS_SEEN = 3  # of the frame's four; a lens law is the same all round, so that one corner may be left out
CORNER_SHARE = 1 / 3  # of the frame's width and height that counts as its corner
WORST_FOCAL_SIGMA = 0.02  # a lens known no better is solved as well from the fish's own board
_STEP = 1e-5

CORNERS = {
    "upper left": (0, 0),
    "upper right": (1, 0),
    "lower left": (0, 1),
    "lower right": (1, 1),
}


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One view of the plane: board points (n, 2) in mm and where they are seen (n, 2) in px."""

    board_mm: Points
    seen_px: Points


@dataclass(frozen=True, slots=True, eq=False)
class FittedLens:
    """A lens model fitted to views, and the views it was fitted to in the end."""

    model: str
    matrix: Points
    distortion: Points
    rms_px: float
    views: tuple[View, ...]


def lacking(lens: FittedLens, size: tuple[int, int]) -> str:
    """What the views lack to tell a lens, with what to do; "" when they lack nothing."""
    apart = tilt_apart_deg(lens)
    if apart < LEAST_TILT_APART_DEG:
        told = f"the pattern's tilt differs by only {apart:.0f} degrees between its views, so they tell no focal length"
        return f"{told}; tilt it by some 30 degrees to each side, up and down"
    missed = [name for name, place in CORNERS.items() if not _reaches(lens.views, size, place)]
    if len(missed) > len(CORNERS) - FEWEST_CORNERS_SEEN:
        told = f"the pattern never came into the picture's {' or '.join(missed)} corner, where a lens bends most"
        return f"{told}; move it out to all four corners"
    return ""


def tilt_apart_deg(lens: FittedLens) -> float:
    """The largest angle between the pattern's planes in any two views."""
    normals = [cv2.Rodrigues(pose[:3])[0][:, 2] for pose in (_pose(v, lens) for v in lens.views) if pose is not None]
    cosines = [float(a @ b) for a, b in combinations(normals, 2)]
    return float(np.degrees(np.arccos(np.clip(min(cosines, default=1.0), -1.0, 1.0))))


def _reaches(views: Sequence[View], size: tuple[int, int], place: tuple[int, int]) -> bool:
    """Whether a point of the pattern was seen in that corner of the frame."""
    seen = np.concatenate([v.seen_px for v in views]) / np.array(size)
    return bool(np.any(np.all(np.abs(seen - np.array(place)) <= CORNER_SHARE, axis=1)))


def focal_sigma(lens: FittedLens) -> float:
    """Relative standard uncertainty of the focal length, the poses and the rest of the lens being unknown too.

    From the normal equations of the bundle, the poses eliminated view by view. The noise is that of the residuals, once
    taken as independent and once as shared within a view (the sandwich of White, Econometrica 48, 1980, with views as
    clusters); the larger counts. Infinite when the views leave it free.
    """
    parts = [part for part in (_reduced(view, lens) for view in lens.views) if part is not None]
    free = sum(2 * len(v.board_mm) - 6 for v in lens.views) - 4 - len(lens.distortion)
    if len(parts) < 2 or free < 1:
        return float("inf")
    normal = sum(part[0] for part in parts)
    if np.linalg.cond(normal) > 1e13:
        return float("inf")
    inverse = np.linalg.inv(normal)
    alone = inverse * sum(part[2] for part in parts) / free
    pulls = np.array([part[1] for part in parts])
    shared = inverse @ (pulls.T @ pulls) @ inverse * len(parts) / (len(parts) - 1)
    variances = [*np.diag(alone)[:2], *np.diag(shared)[:2]]
    return float(np.sqrt(max(variances))) if min(variances) >= 0 else float("inf")


def _reduced(view: View, lens: FittedLens) -> tuple[Points, Points, float] | None:
    """(normal matrix, gradient, sum of squares) of one view for the lens's parameters, its own pose eliminated."""
    pose = _pose(view, lens)
    if pose is None:
        return None
    shared, own, left = _slopes(view, lens, pose)
    basis, _ = np.linalg.qr(own)
    shared = shared - basis @ (basis.T @ shared)
    left = left - basis @ (basis.T @ left)
    return shared.T @ shared, shared.T @ left, float(left @ left)


def _slopes(view: View, lens: FittedLens, pose: Points) -> tuple[Points, Points, Points]:
    """How the points move with the lens (log fx, log fy, centre in focal lengths, distortion) and with the pose; and
    the residuals (px)."""
    start = np.concatenate([np.zeros(4 + len(lens.distortion)), pose])
    scale = np.concatenate([np.ones(len(start) - 3), np.full(3, max(float(np.linalg.norm(pose[3:])), 1.0))])
    columns = []
    for i in range(len(start)):
        step = np.zeros(len(start))
        step[i] = _STEP * scale[i]
        columns.append((_drawn(view, lens, start + step) - _drawn(view, lens, start - step)).ravel() / (2 * _STEP))
    slopes, split = np.stack(columns, axis=1), 4 + len(lens.distortion)
    return slopes[:, :split], slopes[:, split:], (view.seen_px - _drawn(view, lens, start)).ravel()


def _drawn(view: View, lens: FittedLens, moved: Points) -> Points:
    """The view's points as a lens and pose near the fitted ones draw them, (n, 2) px."""
    bent = lens.distortion + moved[4:-6]
    fx, fy = lens.matrix[0, 0], lens.matrix[1, 1]
    matrix = np.array([[fx * np.exp(moved[0]), 0.0, lens.matrix[0, 2] + fx * moved[2]],
                       [0.0, fy * np.exp(moved[1]), lens.matrix[1, 2] + fy * moved[3]], [0.0, 0.0, 1.0]])  # fmt: skip
    return project(view.board_mm, moved[-6:-3], moved[-3:], matrix, bent, lens.model)


def project(board_mm: Points, turn: Points, shift: Points, matrix: Points, distortion: Points, model: str) -> Points:
    """Points of the board's plane (n, 2) -> pixels (n, 2) under one of OpenCV's two lens models."""
    points = np.column_stack([board_mm, np.zeros(len(board_mm))])
    if model == "fisheye":
        drawn, _ = cv2.fisheye.projectPoints(points[:, None], turn, shift, matrix, distortion)
    else:
        drawn, _ = cv2.projectPoints(points, turn, shift, matrix, distortion)
    return np.asarray(drawn, np.float64).reshape(-1, 2)


def view_pose(view: View, matrix: Points, distortion: Points, model: str) -> Points | None:
    """The view's pose under a lens: rotation vector and shift (mm), six numbers. None where OpenCV finds none."""
    points = np.column_stack([view.board_mm, np.zeros(len(view.board_mm))])
    try:
        if model == "fisheye":
            rays = cv2.fisheye.undistortPoints(view.seen_px[:, None], matrix, distortion)
            _, turn, shift = cv2.solvePnP(points, rays, np.eye(3), None)
        else:
            _, turn, shift = cv2.solvePnP(points, view.seen_px, matrix, distortion)
    except cv2.error:
        return None
    pose = np.concatenate([np.ravel(turn), np.ravel(shift)])
    return pose if np.all(np.isfinite(pose)) else None


def _pose(view: View, lens: FittedLens) -> Points | None:
    return view_pose(view, lens.matrix, lens.distortion, lens.model)

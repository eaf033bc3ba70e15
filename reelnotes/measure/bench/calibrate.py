"""A lens from a clip of a checkerboard or of a marker board: many views of a known plane.

Method: Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22(11), 2000, in OpenCV's
implementation for both of its lens models; the model with the smaller residual on views that it was
not fitted to is kept.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.bench.lens_doubt import (
    WORST_FOCAL_SIGMA,
    FittedLens,
    View,
    focal_sigma,
    lacking,
    project,
    view_pose,
)
from reelnotes.media.decode import pictures
from reelnotes.records.boards import Board, Lens
from reelnotes.records.problems import Refusal

FEWEST_VIEWS = 8
MOST_VIEWS = 24
MOST_LOOKED_AT = 160
FEWEST_POINTS = 12
WIDE_FOCAL_SHARE = 0.6  # a focal length under this share of the picture's longer side: wider than about 80 degrees
WORST_RMS_PX = 1.5  # a calibration that leaves more than this is no calibration

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Checkerboard:
    """Inner corners across and down, and the side of a square in millimetres."""

    columns: int
    rows: int
    square_mm: float


def calibrate_lens(
    path: Path, name: str, *, checkerboard: Checkerboard | None = None, boards: Sequence[Board] = (),
    progress: Callable[[float, str], None] | None = None,
) -> Lens | Refusal:  # fmt: skip
    """Solve a lens from one clip.

    Give a ``checkerboard`` or ``boards`` with markers. The plane should be shown near and far, tilted
    both ways, and out to the corners of the frame. Raises UnreadableError for a clip that cannot be
    opened; a Refusal says why no lens could be had.
    """
    if checkerboard is None and not any(board.markers for board in boards):
        return Refusal("none of the boards has markers; show a marker board of 'reelnotes board', or a checkerboard")
    views, size = gather_views(path, checkerboard, boards, progress)
    if not views:
        mistake = "are its inner corners counted, where four squares meet?" if checkerboard else "are they the boards in it?"
        return Refusal(f"the pattern was found in no frame of the clip; is it the right clip, and {mistake}")
    if len(views) < FEWEST_VIEWS:
        found = f"only {len(views)} usable views of the pattern were found, {FEWEST_VIEWS} are needed"
        return Refusal(f"{found}; film it longer, sharper, from more sides")
    return lens_from_views(spread_out(views, MOST_VIEWS), size, name)


def gather_views(
    path: Path, checkerboard: Checkerboard | None, boards: Sequence[Board], progress: Callable[[float, str], None] | None
) -> tuple[list[View], tuple[int, int]]:
    """(views found in frames spread over the clip, (width, height) as shown)."""
    total = max(sum(1 for _ in pictures(path, grey=True, max_side_px=64)), 1)
    every = max(1, total // MOST_LOOKED_AT)
    views, size = [], (0, 0)
    for picture in pictures(path, grey=True, every=every):
        size = (picture.pixels.shape[1], picture.pixels.shape[0])
        view = _see_checkerboard(picture.pixels, checkerboard) if checkerboard else _see_markers(picture.pixels, boards)
        if view is not None and len(view.board_mm) >= FEWEST_POINTS:
            views.append(view)
        if progress and picture.frame is not None:
            progress(min(picture.frame / total, 1.0), f"{len(views)} views")
    return views, size


def _see_checkerboard(grey: NDArray[np.uint8], pattern: Checkerboard) -> View | None:
    found, corners = cv2.findChessboardCornersSB(grey, (pattern.columns, pattern.rows), flags=cv2.CALIB_CB_NORMALIZE_IMAGE)
    if not found:
        return None
    across, down = np.meshgrid(np.arange(pattern.columns), np.arange(pattern.rows))
    board = np.column_stack([across.ravel(), down.ravel()]) * pattern.square_mm
    return View(board.astype(np.float64), corners.reshape(-1, 2).astype(np.float64))


def _see_markers(grey: NDArray[np.uint8], boards: Sequence[Board]) -> View | None:
    """The board with most markers in sight."""
    best: View | None = None
    for board in boards:
        mm, px = [], []
        for dictionary in {m.dictionary for m in board.markers}:
            parameters = cv2.aruco.DetectorParameters()
            parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
            code = getattr(cv2.aruco, f"DICT_{dictionary}")
            corners, ids, _ = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code), parameters).detectMarkers(grey)
            known = {m.id: m for m in board.markers if m.dictionary == dictionary}
            for number, quad in zip([] if ids is None else ids.ravel(), corners, strict=True):
                if int(number) in known:
                    mm.append(np.array(known[int(number)].corners_mm))
                    px.append(quad.reshape(4, 2))
        if mm and (best is None or len(mm) * 4 > len(best.board_mm)):
            best = View(np.concatenate(mm).astype(np.float64), np.concatenate(px).astype(np.float64))
    return best


def spread_out(views: Sequence[View], most: int) -> list[View]:
    """At most ``most`` views that differ as much as they can (farthest-point choice on where the points lie)."""
    marks = np.array([[*v.seen_px.mean(0), *v.seen_px.std(0), *(_slant(v) * 200)] for v in views])
    chosen = [0]
    while len(chosen) < min(most, len(views)):
        apart = np.min(np.linalg.norm(marks[:, None] - marks[chosen][None], axis=2), axis=1)
        chosen.append(int(np.argmax(apart)))
    return [views[i] for i in sorted(chosen)]


def _slant(view: View) -> Points:
    """How the pattern is foreshortened: the two perspective terms of its homography, scaled to the pattern's size."""
    h, _ = cv2.findHomography(view.board_mm - view.board_mm.mean(0), view.seen_px, 0)
    return np.zeros(2) if h is None else h[2, :2] * np.ptp(view.board_mm, axis=0).max()


def lens_from_views(views: Sequence[View], size: tuple[int, int], name: str) -> Lens | Refusal:
    """Fit both lens models, drop views that do not fit, and keep the model that predicts unseen views better.

    A Refusal when the views leave the focal length open, however well some lens fits them.
    """
    best: tuple[float, FittedLens] | None = None
    for model in ("fisheye", "pinhole"):
        unseen = _predict_unseen(views, size, model)
        fitted = _fit(list(views), size, model)
        if unseen is None or fitted is None:
            continue
        if model == "pinhole" and fitted.matrix[0, 0] < WIDE_FOCAL_SHARE * max(size):
            unseen *= 1.05  # near a tie on a wide lens the polynomial runs away outside the views; the fisheye does not
        if best is None or unseen < best[0]:
            best = unseen, fitted
    if best is None:
        return Refusal("no lens model could be fitted to the views; show the pattern tilted more, near and far")
    return _told(best[1], size, name)


def _told(fitted: FittedLens, size: tuple[int, int], name: str) -> Lens | Refusal:
    """The lens with its doubt; or why it is none."""
    if fitted.rms_px > WORST_RMS_PX:
        return Refusal(f"the best lens leaves {fitted.rms_px:.1f} px of error; is the pattern flat, and are its sizes as given?")
    lack = lacking(fitted, size)
    if lack:
        return Refusal(lack)
    sigma = focal_sigma(fitted)
    if sigma > WORST_FOCAL_SIGMA:
        known = f"only to {100 * sigma:.0f} %" if sigma < 0.5 else "not at all"
        return Refusal(f"the views tell the focal length {known}; tilt the pattern more to each side, up and down, near and far")
    rows = tuple((float(a), float(b), float(c)) for a, b, c in fitted.matrix)
    distortion = tuple(map(float, fitted.distortion))
    return Lens(name, fitted.model, size[0], size[1], rows, distortion, fitted.rms_px, focal_sigma=sigma)


def _predict_unseen(views: Sequence[View], size: tuple[int, int], model: str) -> float | None:
    """Median residual (px) on every third view of a lens fitted to the others."""
    kept, unseen = [v for i, v in enumerate(views) if i % 3], [v for i, v in enumerate(views) if i % 3 == 0]
    fitted = _fit(kept, size, model)
    if fitted is None:
        return None
    residuals = [_residual_px(view, fitted.matrix, fitted.distortion, model) for view in unseen]
    return float(np.median([r for r in residuals if np.isfinite(r)] or [np.inf]))


def _fit(views: list[View], size: tuple[int, int], model: str) -> FittedLens | None:
    """A lens fitted to the views, with those worse than three times the median left out once."""
    for last in (False, True):
        try:
            rms, matrix, distortion = _solve(views, size, model)
        except cv2.error:
            return None  # OpenCV refuses views that carry too little shape
        if not (np.isfinite(rms) and np.all(np.isfinite(matrix)) and np.all(np.isfinite(distortion))):
            return None
        residuals = np.array([_residual_px(v, matrix, distortion, model) for v in views])
        good = residuals <= 3.0 * max(float(np.median(residuals)), 0.05)
        if last or good.all() or good.sum() < FEWEST_VIEWS // 2:
            break
        views = [v for v, fine in zip(views, good, strict=True) if fine]
    return FittedLens(model, matrix, np.ravel(distortion), float(rms), tuple(views))


def _solve(views: list[View], size: tuple[int, int], model: str) -> tuple[float, Points, Points]:
    width, height = size
    start = np.array([[0.6 * max(size), 0, (width - 1) / 2], [0, 0.6 * max(size), (height - 1) / 2], [0, 0, 1.0]])
    flat = [np.column_stack([v.board_mm, np.zeros(len(v.board_mm))]) for v in views]
    if model == "fisheye":
        flags = cv2.CALIB_RECOMPUTE_EXTRINSIC | cv2.CALIB_FIX_SKEW | cv2.CALIB_USE_INTRINSIC_GUESS
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-8)
        # Rows of points, (1, n, c): given columns, OpenCV 5 fails inside its own arithmetic.
        objects, images = [p[None] for p in flat], [np.ascontiguousarray(v.seen_px)[None] for v in views]
        solved = cv2.fisheye.calibrate(objects, images, size, start, np.zeros((4, 1)), flags=flags, criteria=stop)
    else:
        objects = [p.astype(np.float32) for p in flat]
        images = [v.seen_px.astype(np.float32) for v in views]
        solved = cv2.calibrateCamera(objects, images, size, start, np.zeros(5), flags=cv2.CALIB_USE_INTRINSIC_GUESS)
    matrix, distortion = np.asarray(solved[1], np.float64), np.ravel(np.asarray(solved[2], np.float64))
    return float(solved[0]), matrix, distortion[: 4 if model == "fisheye" else 5]


def _residual_px(view: View, matrix: Points, distortion: Points, model: str) -> float:
    """Root mean square reprojection error of one view whose own pose is free."""
    pose = view_pose(view, matrix, distortion, model)
    if pose is None:
        return float("inf")
    off = project(view.board_mm, pose[:3], pose[3:], matrix, distortion, model) - view.seen_px
    return float(np.sqrt(np.mean(np.sum(off**2, axis=1))))

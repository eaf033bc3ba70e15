"""A board found by its fiducial squares (ArUco: Garrido-Jurado and others 2014, as OpenCV's aruco module reads them)."""

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Proposal, pose_from_plane
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import HELD, LensFreedom, fit_frames
from reelnotes.measure.posed import Observations

_TELLING = 4  # squares from which on they say something of the lens
_CORNER_PX = 0.5  # a corner is placed about this well
_FITS = 0.003  # of the picture's longer side, how closely the corners must fit a lens (2 px of 640)


@lru_cache(maxsize=16)
def _detector(dictionary: str) -> "cv2.aruco.ArucoDetector | None":
    code = getattr(cv2.aruco, f"DICT_{dictionary}", None)
    if code is None:
        return None
    settings = cv2.aruco.DetectorParameters()
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax, settings.adaptiveThreshWinSizeStep = 5, 29, 12
    settings.minMarkerPerimeterRate = 0.012
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code), settings)


def squares(grey: NDArray[np.uint8], dictionary: str) -> dict[int, list[Floats]]:
    """Fiducial squares of one dictionary in a grey picture: id -> corner quadruples (4, 2) as printed."""
    detector = _detector(dictionary)
    found: dict[int, list[Floats]] = {}
    if detector is None:
        return found
    corners, ids, _ = detector.detectMarkers(grey)
    for quad, number in zip(corners, ids.ravel() if ids is not None else (), strict=False):
        found.setdefault(int(number), []).append(quad.reshape(4, 2).astype(np.float64))
    return found


def propose(
    seen: dict[str, dict[int, list[Floats]]], model: BoardModel, lens: LensModel, freedom: LensFreedom = HELD
) -> Proposal | None:
    """The pose that the board's squares among ``seen`` (dictionary -> id -> corners) agree on, or None; with four squares
    and more also what they say of the lens, as far as it is free: under a guessed lens a plane fits some of them only.

    A square that shares its id with the board but lies elsewhere (another board's) is voted down.
    """
    mm, px = [], []
    for marker in model.markers:
        for quad in seen.get(marker.dictionary, {}).get(marker.id, []):
            mm.append(np.array(marker.corners_mm))
            px.append(quad)
    if not mm:
        return None
    points, pixels = np.concatenate(mm), np.concatenate(px)
    rays = lens.unproject(pixels)
    flat = rays[:, :2] / np.maximum(rays[:, 2:], 0.05)
    if not np.isfinite(flat).all():
        return None
    size = float(np.linalg.norm(np.ptp(flat, axis=0)))
    if len(mm) > 1:
        H, mask = cv2.findHomography(points, flat, cv2.RANSAC, 2.0 / lens.fx + 0.01 * size)
        if H is None or mask.sum() < 6:
            return None
        inside = mask.ravel().astype(bool)
    else:
        inside = np.ones(4, bool)
    pose = pose_from_plane(points[inside], flat[inside])
    if pose is None:
        return None
    rough = Proposal(model, pose[0], pose[1], int(inside.sum()) * 3, squares=int(inside.sum()) // 4)
    return _with_lens(rough, points, pixels, lens, freedom) or rough if rough.squares >= _TELLING else rough


def _with_lens(rough: Proposal, points: Floats, pixels: Floats, lens: LensModel, freedom: LensFreedom) -> Proposal | None:
    """The pose and lens that all the squares' corners fit, strays left out; None when fewer fit than did before."""
    seen = Observations(points, pixels, np.tile(np.eye(2) / _CORNER_PX**2, (len(points), 1, 1)))
    fit = fit_frames([seen], lens, [rough.R], [rough.t], freedom, steps=20)
    if fit is None or not fit.rms_px[0] < _FITS * max(lens.width_px, lens.height_px):
        return None
    squares = int((fit.inlier[0].reshape(-1, 4) > 0.05).all(axis=1).sum())
    if squares < rough.squares:
        return None
    return replace(rough, R=fit.R[0], t=fit.t[0], support=12 * squares, squares=squares, lens=fit.lens)

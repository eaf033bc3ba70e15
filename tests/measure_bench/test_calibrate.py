"""Lens calibration: known lenses found again, from points and from a rendered clip."""

from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from reelnotes.measure.bench.calibrate import Checkerboard, calibrate_lens, lens_from_views
from reelnotes.measure.bench.lens_doubt import View
from reelnotes.records.boards import Board, Lens
from reelnotes.records.problems import Refusal

SIZE = (1280, 720)


def poses(n: int, seed: int, far: float, wide: float) -> list[tuple[np.ndarray, np.ndarray]]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(n):
        turn = np.array([rng.uniform(-0.6, 0.6), rng.uniform(-0.6, 0.6), rng.uniform(-1.5, 1.5)])
        shift = np.array([rng.uniform(-wide, wide), rng.uniform(-wide, wide) * 0.6, rng.uniform(0.7, 1.3) * far])
        made.append((turn, shift))
    return made


def project(model: str, points: np.ndarray, turn: np.ndarray, shift: np.ndarray, K: np.ndarray, D: np.ndarray) -> np.ndarray:
    # source: OpenCV's own projection, the definition of both models
    if model == "fisheye":
        drawn, _ = cv2.fisheye.projectPoints(points[:, None], turn, shift, K, D)
    else:
        drawn, _ = cv2.projectPoints(points, turn, shift, K, D)
    return drawn.reshape(-1, 2)


LENSES = [
    ("fisheye", np.array([[560.0, 0, 650.0], [0, 561.0, 352.0], [0, 0, 1]]), np.array([0.05, -0.01, 0.004, -0.001])),
    ("pinhole", np.array([[930.0, 0, 632.0], [0, 930.5, 361.0], [0, 0, 1]]), np.array([-0.12, 0.05, 0.0003, -0.0002, 0.0])),
]


@pytest.mark.parametrize(("model", "K", "D"), LENSES)
def test_a_known_lens_is_found_again(model: str, K: np.ndarray, D: np.ndarray) -> None:
    rng = np.random.default_rng(7)
    across, down = np.meshgrid(np.arange(9), np.arange(6))
    plane = np.column_stack([across.ravel() - 4.0, down.ravel() - 2.5]) * 40.0
    points = np.column_stack([plane, np.zeros(len(plane))])
    views = []
    for turn, shift in poses(20, 3, 420.0, 260.0 if model == "fisheye" else 140.0):
        seen = project(model, points, turn, shift, K, D)
        inside = np.all((seen > 0) & (seen < SIZE), axis=1)
        if inside.sum() >= 20:
            views.append(View(plane[inside], seen[inside] + rng.normal(0, 0.1, (inside.sum(), 2))))
    lens = lens_from_views(views, SIZE, "found")
    assert isinstance(lens, Lens)
    assert lens.rms_px == pytest.approx(0.14, abs=0.05)  # two axes of 0.1 px noise
    # What counts is where rays go, for whichever model was kept, wherever in the picture the pattern was shown
    found_K, found_D = np.array(lens.camera_matrix), np.array(lens.distortion)
    grid = np.concatenate([v.seen_px for v in views]).reshape(-1, 1, 2)
    undo = {"fisheye": cv2.fisheye.undistortPoints, "pinhole": cv2.undistortPoints}
    true, found = undo[model](grid, K, D), undo[lens.model](grid, found_K, found_D)
    assert np.abs(np.arctan(true) - np.arctan(found)).max() < 2e-3  # radians


def test_too_few_views_are_told(tmp_path: Path) -> None:
    path = tmp_path / "empty.mp4"
    write_clip(path, [np.full((180, 320), 128, np.uint8)] * 10)
    lens = calibrate_lens(path, "none", checkerboard=Checkerboard(6, 4, 30.0))
    assert isinstance(lens, Refusal) and "no frame" in lens.reason and "inner corners" in lens.reason


def test_a_board_without_markers_is_no_pattern(tmp_path: Path) -> None:
    path = tmp_path / "empty.mp4"
    write_clip(path, [np.full((180, 320), 128, np.uint8)] * 3)
    lens = calibrate_lens(path, "none", boards=[Board("plain", 600.0, 150.0)])
    assert isinstance(lens, Refusal) and "markers" in lens.reason


def write_clip(path: Path, frames: list[np.ndarray]) -> None:
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=10, options={"crf": "14", "preset": "ultrafast"})
        stream.height, stream.width = frames[0].shape
        stream.pix_fmt = "yuv420p"
        for grey in frames:
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.repeat(grey[..., None], 3, 2), format="rgb24")))
        out.mux(stream.encode(None))


def test_a_rendered_clip_gives_its_lens(tmp_path: Path) -> None:
    size, square = (640, 360), 30.0
    K, D = np.array([[300.0, 0, 322.0], [0, 300.0, 178.0], [0, 0, 1]]), np.array([0.03, -0.005, 0.001, 0.0])
    pixels = np.stack(np.meshgrid(np.arange(size[0], dtype=float), np.arange(size[1], dtype=float)), -1).reshape(-1, 1, 2)
    rays = cv2.fisheye.undistortPoints(pixels, K, D).reshape(-1, 2)
    rays = np.column_stack([rays, np.ones(len(rays))])
    frames = []
    for turn, shift in poses(22, 11, 230.0, 90.0):
        # An independent renderer: each pixel's ray is met with the plane z = 0 of the board
        R, _ = cv2.Rodrigues(turn)
        origin, ray = -R.T @ shift, rays @ R
        hit = origin[:2] - ray[:, :2] * (origin[2] / ray[:, 2:])
        u, v = hit[:, 0] / square + 3.5, hit[:, 1] / square + 2.5
        on = (u > -1) & (u < 7 + 1) & (v > -1) & (v < 5 + 1)
        inside = (u > 0) & (u < 7) & (v > 0) & (v < 5)
        dark = inside & ((np.floor(u) + np.floor(v)) % 2 == 0)
        grey = np.where(dark, 30, np.where(on, 225, 110)).astype(np.uint8).reshape(size[1], size[0])
        frames.append(cv2.GaussianBlur(grey, (0, 0), 0.7))
    path = tmp_path / "pattern.mp4"
    write_clip(path, frames)
    lens = calibrate_lens(path, "rendered", checkerboard=Checkerboard(6, 4, square))
    assert isinstance(lens, Lens), lens
    assert lens.rms_px is not None and lens.rms_px < 0.4
    assert lens.camera_matrix[0][0] == pytest.approx(300.0, rel=0.02)

"""A plain board with a ruler along one edge only: placed by its outline, made sure by its numbers, held by its corners."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Proposal
from reelnotes.measure.find_strips import by_strips
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import HELD
from reelnotes.measure.refine import settle
from reelnotes.records.boards import Board

LENGTH, WIDTH, FOCAL = 800.0, 200.0, 900.0
LENS = LensModel("pinhole", 1600, 900, FOCAL, FOCAL, 799.5, 449.5, (0.0, 0.0, 0.0, 0.0, 0.0))
TICK_MM = 5.0


def ruled_model() -> BoardModel:
    """White; along the lower edge a tick every five millimetres, and a number at every second."""
    picture = np.full((600, 2400, 3), (235, 235, 235), np.uint8)
    for n, x in enumerate(range(15, 2400, 15)):
        picture[570 if n % 2 else 585 :, x : x + 3] = (30, 30, 30)
        if n % 2:
            cv2.putText(picture, str(n // 2 + 1), (x - 10, 562), cv2.FONT_HERSHEY_SIMPLEX, 0.65, (30, 30, 30), 2)
    board = Board("ruled", LENGTH, WIDTH, Path("board.png"), 3.0, (-0.5, 599.5))
    return BoardModel(board, picture, 3.0, (-0.5, 599.5), np.array([0.114, 0.587, 0.299]))


def filmed(model: BoardModel) -> tuple[np.ndarray, Floats, Floats]:
    """The board on a grey deck, a fish across most of it, by OpenCV's own projection; the camera's R and t."""
    centre = np.array([380.0, 40.0, 560.0])
    R = cv2.Rodrigues(np.array([0.1, -0.05, 0.2]))[0] @ np.diag([1.0, -1.0, -1.0])
    t = -R @ centre
    K = np.array([[FOCAL, 0, 799.5], [0, FOCAL, 449.5], [0, 0, 1]])
    around = np.concatenate([model.corners_mm[::-1], np.zeros((4, 1))], axis=1)
    px = cv2.projectPoints(around, cv2.Rodrigues(R)[0], t, K, None)[0].reshape(4, 2).astype(np.float32)
    fished = model.picture.copy()
    cv2.ellipse(fished, (1000, 250), (950, 210), 0, 0, 360, (70, 80, 60), -1)
    H = cv2.getPerspectiveTransform(np.array([[0, 0], [2400, 0], [2400, 600], [0, 600]], np.float32) - 0.5, px)
    inside = cv2.warpPerspective(np.full((600, 2400), 255, np.uint8), H, (1600, 900))[..., None] > 127
    twice = np.diag([2.0, 2.0, 1.0]) @ H
    drawn = cv2.resize(cv2.warpPerspective(fished, twice, (3200, 1800)), (1600, 900), interpolation=cv2.INTER_AREA)
    noise = np.random.default_rng(7).normal(0, 3, drawn.shape)
    return np.clip(np.where(inside, drawn, 90) + noise, 0, 255).astype(np.uint8), R, t


def outlined(model: BoardModel, R: Floats, t: Floats, off_px: float) -> Proposal:
    """What an outline proposes whose corners are some pixels off, one this way and one that way along the board."""
    px = LENS.project(model.corners_mm @ R[:, :2].T + t)
    along = (px[1] - px[0]) / np.linalg.norm(px[1] - px[0])
    rays = LENS.unproject(px + off_px * along * np.array([[1.0], [1.0], [-0.5], [0.5]]))
    return Proposal(model, R, t + R[:, 0] * 6.0, 0, corners=rays[:, :2] / rays[:, 2:])


@pytest.mark.parametrize("off_px", [-12.0, -7.0, 7.0, 12.0])
def test_the_numbers_tell_a_tick_from_its_neighbours(off_px: float):
    model = ruled_model()
    image, R, t = filmed(model)
    found = by_strips(image, outlined(model, R, t, off_px), LENS, HELD)
    assert found is not None and found.lens is not None
    ruler = np.stack([np.linspace(40.0, 760.0, 10), np.full(10, 8.0)], axis=1)
    wanted, made = (LENS.project(ruler @ r[:, :2].T + s) for r, s in ((R, t), (found.R, found.t)))
    px_per_mm = np.linalg.norm(wanted[-1] - wanted[0]) / 720.0
    assert np.abs(made - wanted).max() < 0.5 * TICK_MM * px_per_mm  # else a tick is taken for the next


def test_the_corners_hold_the_board_from_turning_about_its_edge():
    model = ruled_model()
    image, R, t = filmed(model)
    found = by_strips(image, outlined(model, R, t, 7.0), LENS, HELD)
    assert found is not None
    made = settle(image, model, LENS, found.R, found.t, HELD, near=True, held=found.held)
    assert made is not None and made.score > 0.6
    far_edge = np.array([[100.0, WIDTH], [700.0, WIDTH]])
    wanted, seen = (LENS.project(far_edge @ r[:, :2].T + s) for r, s in ((R, t), (made.R, made.t)))
    assert np.linalg.norm(seen - wanted, axis=1).max() < 0.02 * np.linalg.norm(wanted[1] - wanted[0])


def test_without_an_outline_nothing_is_proposed():
    model = ruled_model()
    image, R, t = filmed(model)
    assert by_strips(image, Proposal(model, R, t, 0), LENS, HELD) is None


def test_a_bare_board_agrees_with_nothing():
    model = ruled_model()
    _, R, t = filmed(model)
    bare = np.clip(np.random.default_rng(8).normal(200, 4, (900, 1600, 3)), 0, 255).astype(np.uint8)
    assert by_strips(bare, outlined(model, R, t, 7.0), LENS, HELD) is None

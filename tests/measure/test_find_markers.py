"""Fiducial squares under a guessed lens: the pose and lens they propose."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from reelnotes.measure import find_markers
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_board import GUESS_FREEDOM, guessed_lens
from reelnotes.records.boards import Board, Marker

LENGTH, WIDTH, SIDE = 1000.0, 300.0, 26.0
K = np.array([[1010.0, 0, 955.0], [0, 1010.0, 545.0], [0, 0, 1]])
BENT = np.array([0.03, 0.01, -0.004, 0.0])


def marked_model() -> BoardModel:
    markers = []
    for i, x in enumerate(np.linspace(20, LENGTH - 50, 6)):
        for k, y in enumerate((6.0, WIDTH - 32.0)):
            corners = ((x, y + SIDE), (x + SIDE, y + SIDE), (x + SIDE, y), (x, y))
            markers.append(Marker("4X4_50", 6 * k + i, corners))
    board = Board("marked", LENGTH, WIDTH, Path("board.png"), 1.0, (-0.5, WIDTH - 0.5), tuple(markers))
    picture = np.zeros((int(WIDTH), int(LENGTH), 3), np.uint8)
    return BoardModel(board, picture, 1.0, (-0.5, WIDTH - 0.5), np.array([0.114, 0.587, 0.299]))


def seen_by_fisheye(model: BoardModel, rng: np.random.Generator) -> tuple[dict[int, list[np.ndarray]], np.ndarray]:
    """Corners through OpenCV's own fisheye, a tenth of a pixel of noise, and the camera's centre."""
    centre = np.array([480.0, 110.0, 520.0])
    tilt = cv2.Rodrigues(np.array([0.12, -0.05, 0.08]))[0]
    R = tilt @ np.diag([1.0, -1.0, -1.0])
    found = {}
    for marker in model.markers:
        mm = np.array([[*xy, 0.0] for xy in marker.corners_mm])
        # source: OpenCV's fisheye module, not the project's own projection
        px, _ = cv2.fisheye.projectPoints(mm[:, None], cv2.Rodrigues(R)[0], -R @ centre, K, BENT)
        found[marker.id] = [px.reshape(4, 2) + rng.normal(0, 0.1, (4, 2))]
    return found, centre


def off_mm(proposal, centre) -> float:
    return float(np.linalg.norm(-proposal.R.T @ proposal.t - centre))


def test_squares_tell_of_a_lens_that_was_guessed_wrong():
    model = marked_model()
    found, centre = seen_by_fisheye(model, np.random.default_rng(4))
    lens = guessed_lens(1920, 1080)
    assert abs(lens.fx / K[0, 0] - 1) > 0.1
    held = find_markers.propose({"4X4_50": found}, model, lens)
    free = find_markers.propose({"4X4_50": found}, model, lens, GUESS_FREEDOM)
    assert held is not None and free is not None
    assert free.squares >= 10  # what the freed terms leave of the bend may cost a corner at the rim
    assert free.lens is not None
    assert free.lens.fx == pytest.approx(K[0, 0], rel=0.06)
    assert off_mm(free, centre) < 0.5 * off_mm(held, centre)


def test_a_stray_square_of_another_board_does_not_bend_the_lens():
    model = marked_model()
    found, _ = seen_by_fisheye(model, np.random.default_rng(5))
    found[3] = [found[3][0] + np.array([150.0, 260.0])]
    free = find_markers.propose({"4X4_50": found}, model, guessed_lens(1920, 1080), GUESS_FREEDOM)
    assert free is not None and free.lens is not None
    assert free.squares == 11
    assert free.lens.fx == pytest.approx(K[0, 0], rel=0.06)


def test_fewer_than_four_squares_say_nothing_of_the_lens():
    model = marked_model()
    found, _ = seen_by_fisheye(model, np.random.default_rng(6))
    few = {number: found[number] for number in (0, 1, 6)}
    made = find_markers.propose({"4X4_50": few}, model, guessed_lens(1920, 1080), GUESS_FREEDOM)
    assert made is not None and made.lens is None

"""A board proposed by its outline alone, and made sure by the features expected there."""

from pathlib import Path

import cv2
import numpy as np

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_outline import outlines, propose
from reelnotes.measure.find_print import features
from reelnotes.measure.guided import guided
from reelnotes.measure.lens_model import LensModel
from reelnotes.records.boards import Board

LENGTH, WIDTH, FOCAL = 800.0, 200.0, 700.0
LENS = LensModel("pinhole", 960, 540, FOCAL, FOCAL, 479.5, 269.5, (0.0, 0.0, 0.0, 0.0, 0.0))
CORNERS = np.array([[0, WIDTH, 0], [LENGTH, WIDTH, 0], [LENGTH, 0, 0], [0, 0, 0]])


def numbered_model(seed: int = 1) -> BoardModel:
    """Cream, with thin lines and numbers in no order."""
    picture = np.full((400, 1600, 3), (205, 225, 235), np.uint8)
    rng = np.random.default_rng(seed)
    for x in range(40, 1600, 80):
        picture[:, x : x + 2] = (150, 160, 165)
        for y in (50, 370):
            cv2.putText(picture, str(rng.integers(10, 99)), (x + 8, y), cv2.FONT_HERSHEY_SIMPLEX, 1.0, (30, 30, 30), 2)
    board = Board("numbered", LENGTH, WIDTH, Path("board.png"), 2.0, (-0.5, 399.5))
    return BoardModel(board, picture, 2.0, (-0.5, 399.5), np.array([0.114, 0.587, 0.299]))


def filmed(picture: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The picture on a dark deck, a fish across its middle, by OpenCV's own projection; the camera's centre; the corners."""
    centre = np.array([380.0, 60.0, 760.0])
    R = cv2.Rodrigues(np.array([0.1, -0.06, 0.3]))[0] @ np.diag([1.0, -1.0, -1.0])
    K = np.array([[FOCAL, 0, 479.5], [0, FOCAL, 269.5], [0, 0, 1]])
    px = cv2.projectPoints(CORNERS, cv2.Rodrigues(R)[0], -R @ centre, K, None)[0].reshape(4, 2).astype(np.float32)
    fished = picture.copy()
    cv2.ellipse(fished, (700, 200), (600, 95), 0, 0, 360, (70, 80, 60), -1)
    H = cv2.getPerspectiveTransform(np.array([[0, 0], [1600, 0], [1600, 400], [0, 400]], np.float32) - 0.5, px)
    inside = cv2.warpPerspective(np.full((400, 1600), 255, np.uint8), H, (960, 540))[..., None] > 127
    seen = np.where(inside, cv2.warpPerspective(fished, H, (960, 540), flags=cv2.INTER_AREA), np.uint8(70))
    noise = np.random.default_rng(2).normal(0, 3, seen.shape)
    return np.clip(seen + noise, 0, 255).astype(np.uint8), centre, px


def test_one_of_the_outlines_is_the_boards():
    """Its corners as near as the guided search needs them: within 4.5 % of the board's length."""
    image, _, truth = filmed(numbered_model().picture)
    found = propose(outlines(image, LENS), [numbered_model()])
    off = [np.linalg.norm(LENS.project(CORNERS[:, :2] @ p.R[:, :2].T + p.t) - truth, axis=1).max() for p in found]
    assert min(off) < 0.045 * np.linalg.norm(truth[1] - truth[0])


def test_features_near_their_places_make_the_pose_exact():
    model = numbered_model()
    image, centre, _ = filmed(model.picture)
    frame = features(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), 2000)
    made = [g for p in propose(outlines(image, LENS), [model]) if (g := guided(frame, p, LENS)) is not None]
    assert made
    best = max(made, key=lambda g: g.support)
    assert np.linalg.norm(-best.R.T @ best.t - centre) < 0.02 * LENGTH


def test_other_print_in_the_same_outline_agrees_less():
    image, _, _ = filmed(numbered_model().picture)
    frame = features(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), 2000)
    four = outlines(image, LENS)

    def support(model: BoardModel) -> int:
        return max((g.support for p in propose(four, [model]) if (g := guided(frame, p, LENS)) is not None), default=0)

    assert support(numbered_model(9)) < 0.6 * support(numbered_model())


def test_a_bare_deck_proposes_nothing():
    image = np.clip(np.random.default_rng(3).normal(90, 4, (540, 960, 3)), 0, 255).astype(np.uint8)
    assert propose(outlines(image, LENS), [numbered_model()]) == []

"""A first pose that holds in a part of the board only, grown over all of it, with the lens as far as it is free."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from test_find_strips import FOCAL, LENS, filmed, ruled_model

from reelnotes.measure.find_board import GUESS_FREEDOM
from reelnotes.measure.find_print import Proposal, features
from reelnotes.measure.guided import grown, guided
from reelnotes.measure.lens_model import Floats
from reelnotes.measure.pose_fit import HELD


def misses_mm(made: Proposal, R: Floats, t: Floats) -> float:
    """How far along the board the numbers' places are from where they are, at most."""
    lens = made.lens or LENS
    x = np.linspace(0.05, 0.95, 7) * made.model.board.length_mm
    mm = np.stack([x, np.full(7, 10.0)], axis=1)
    seen = lens.project(mm @ made.R[:, :2].T + made.t)
    rays = LENS.unproject(seen) @ R
    centre = -R.T @ t
    at = centre + rays * (-centre[2] / rays[:, 2])[:, None]
    return float(np.abs(at[:, 0] - mm[:, 0]).max())


@pytest.mark.parametrize(
    ("along_mm", "aslant", "focal"), [(20.0, 0.0, 1.0), (-25.0, 0.01, 1.0), (8.0, 0.0, 1.12), (0.0, 0.0, 0.9)]
)
def test_a_pose_slipped_along_a_ruler_grows_into_the_right_one(along_mm: float, aslant: float, focal: float):
    model = ruled_model()
    image, R, t = filmed(model)
    frame = features(model.grey_bytes(image), 2000)
    lens = replace(LENS, fx=focal * FOCAL, fy=focal * FOCAL)
    turned = R @ cv2.Rodrigues(np.array([0.0, 0.0, aslant]))[0]
    rough = Proposal(model, turned, t * np.array([1.0, 1.0, focal]) + turned[:, 0] * along_mm, 20)
    assert misses_mm(rough, R, t) > 2.5
    made = grown(frame, rough, lens, HELD if focal == 1.0 else GUESS_FREEDOM)
    assert made is not None and made.lens is not None
    assert misses_mm(made, R, t) < 1.5
    assert made.gathered > 60 and made.spread > 0.8
    assert made.support == 20  # what agreed before is not made more


def test_a_pose_on_another_part_of_the_deck_gathers_nothing():
    model = ruled_model()
    image, R, t = filmed(model)
    frame = features(model.grey_bytes(image), 2000)
    astray = Proposal(model, R, t + np.array([0.0, 260.0, 0.0]), 20)
    made = grown(frame, astray, LENS, HELD)
    assert made is None or made.gathered < 60
    assert guided(frame, Proposal(model, R, t, 20), LENS) is not None  # where it lies, it is found

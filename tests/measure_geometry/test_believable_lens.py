"""A lens solved from a board is held against what cameras have: bent otherwise, it was bent to fit mistaken print."""

from dataclasses import replace

import numpy as np
import pytest
from scenes import WIDE, looking

from reelnotes.measure import solve_lens as room
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.posed import Observations
from reelnotes.measure.solve_lens import at_odds, believable, solve_lens


def lens(model: str, focal: float, *dist: float, cx: float = 639.5) -> LensModel:
    zeros = (0.0,) * ((5 if model == "pinhole" else 4) - len(dist))
    return LensModel(model, 1280, 720, focal, focal, cx, 359.5, (*dist, *zeros))


@pytest.mark.parametrize(
    "like_a_camera",
    [
        lens("pinhole", 1000.0),  # drawn straight: common practice, no source
        # Magnitudes of the chessboard pictures that ship with OpenCV, k1 -0.27 and k2 -0.05: values from memory
        lens("pinhole", 1060.0, -0.27, -0.05),
        # An ideal equidistant lens, r = f theta (Kannala and Brandt 2006), has no further terms
        lens("fisheye", 640.0),
        lens("fisheye", 640.0, 0.08, -0.02, 0.01),
    ],
)
def test_lenses_that_cameras_have_are_believed(like_a_camera: LensModel):
    assert believable(like_a_camera)


@pytest.mark.parametrize(
    "bent", [lens("pinhole", 1500.0, -0.82, 0.57), lens("fisheye", 640.0, 0.0, 0.2), lens("pinhole", 1000.0, cx=760.0)]
)
def test_lenses_that_no_camera_has_are_not(bent: LensModel):
    assert not believable(bent)


def seen_through(true: LensModel, given: LensModel) -> tuple[list[Observations], list[tuple[np.ndarray, np.ndarray]]]:
    """A board's print seen in three poses through one lens, to a fifth of a pixel; the poses that another lens makes of them."""
    rng = np.random.default_rng(11)
    x, y = np.meshgrid(np.linspace(0, 500, 14), np.linspace(0, 160, 7))
    mm = np.stack([x.ravel(), y.ravel()], axis=1)
    seen, poses = [], []
    for tilt, turn, spin in ((6, 4, 0), (-14, 12, 6), (14, -14, 12)):
        R, t = looking(500, 160, tilt_deg=tilt, turn_deg=turn, spin_deg=spin, height=430.0)
        px = true.project(mm @ R[:, :2].T + t) + rng.normal(0, 0.2, (len(mm), 2))
        inside = np.isfinite(px).all(axis=1)
        weight = np.tile(np.eye(2) / 0.2**2, (int(inside.sum()), 1, 1))
        seen.append(Observations(mm[inside], px[inside], weight))
        poses.append((R, t * np.array([1.0, 1.0, given.fx / true.fx])))
    return seen, poses


@pytest.mark.parametrize(("share", "told"), [(-0.12, True), (-0.02, False), (0.0, False), (0.02, False), (0.12, True)])
def test_a_given_lens_of_another_focal_length_than_the_board_shows_is_told(share: float, told: bool):
    # GUM 4.3.4: three standard uncertainties, here of 2 % each way, are hardly chance; a fifth of that is.
    given = replace(WIDE, fx=WIDE.fx * (1 + share), fy=WIDE.fy * (1 + share), focal_sigma=0.002)
    assert at_odds(*seen_through(WIDE, given), given) is told


@pytest.mark.parametrize(("cheaper", "law"), [(0.95, "pinhole"), (0.8, "fisheye")])
def test_of_two_laws_that_fit_about_as_well_the_one_to_be_believed_is_taken(monkeypatch, cheaper: float, law: str):
    true = lens("pinhole", 1100.0, 0.15)  # as a fisheye, it would bend by 0.15 + 1/3
    exact = room.fit_frames

    def priced(seen, start, *rest, **more):
        fit = exact(seen, start, *rest, **more)
        return replace(fit, cost=100.0 * (cheaper if start.model == "fisheye" else 1.0))

    monkeypatch.setattr(room, "fit_frames", priced)
    solved = solve_lens(*seen_through(true, true), replace(true, dist=(0.0,) * 5))
    assert solved is not None and solved.lens.model == law
    assert believable(solved.lens) == (law == "pinhole")

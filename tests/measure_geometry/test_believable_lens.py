"""A lens solved from a board is held against what cameras have: bent otherwise, it was bent to fit mistaken print."""

import pytest

from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.solve_lens import believable


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

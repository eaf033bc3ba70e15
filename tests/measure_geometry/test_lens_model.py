import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.lens_slopes import slopes
from reelnotes.records.boards import Lens

small = st.floats(-0.02, 0.02)


def scattered(n=60, seed=3):
    rng = np.random.default_rng(seed)
    return np.column_stack([rng.uniform(-0.7, 0.7, n), rng.uniform(-0.5, 0.5, n), rng.uniform(0.9, 1.4, n)])


@settings(max_examples=40, deadline=None)
@given(k=st.tuples(small, small, small, small), f=st.floats(300, 1500))
def test_fisheye_projects_as_opencv_does(k, f):
    lens = LensModel("fisheye", 1280, 720, f, f * 1.01, 640.3, 355.1, k)
    points = scattered()
    # source: cv2.fisheye.projectPoints, the model's reference implementation
    expected = cv2.fisheye.projectPoints(points[None], np.zeros(3), np.zeros(3), lens.K, np.array(k))[0][0]
    assert np.allclose(lens.project(points), expected, atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(k1=st.floats(-0.15, 0.1), k2=small, p=st.tuples(st.floats(-1e-3, 1e-3), st.floats(-1e-3, 1e-3)), f=st.floats(300, 1500))
def test_pinhole_projects_as_opencv_does(k1, k2, p, f):
    lens = LensModel("pinhole", 1280, 720, f, f, 640.3, 355.1, (k1, k2, *p, 0.001))
    points = scattered()
    # source: cv2.projectPoints
    expected = cv2.projectPoints(points, np.zeros(3), np.zeros(3), lens.K, np.array(lens.dist))[0][:, 0]
    got = lens.project(points)
    reached = np.isfinite(got).all(axis=1)
    assert reached.sum() > 30
    assert np.allclose(got[reached], expected[reached], atol=1e-6)


@pytest.mark.parametrize(
    ("model", "dist"), [("fisheye", (-0.01, 0.006, 0.0047, -0.0014)), ("pinhole", (-0.137, 0.025, 0.0003, -0.0002, 0.0))]
)
def test_a_pixel_goes_back_along_the_ray_it_came_by(model, dist):
    lens = LensModel(model, 1280, 720, 640.0, 645.0, 650.0, 351.0, dist, shift_px=(3.0, -2.0))
    points = scattered()
    rays = lens.unproject(lens.project(points))
    assert np.allclose(rays, points / np.linalg.norm(points, axis=1, keepdims=True), atol=1e-7)


def test_a_shift_moves_every_pixel_the_other_way():
    lens = LensModel("fisheye", 1280, 720, 640.0, 645.0, 650.0, 351.0, (0.0, 0.0, 0.0, 0.0))
    assert np.allclose(lens.shifted((4.0, -1.0)).project(scattered()), lens.project(scattered()) - [4.0, -1.0])


def test_beyond_its_reach_a_lens_says_nothing():
    folding = LensModel("pinhole", 1280, 720, 640.0, 640.0, 640.0, 360.0, (-0.3, 0.0, 0.0, 0.0, 0.0))
    # r (1 - 0.3 r^2) grows up to r = 1 / sqrt(0.9), about 46.5 degrees; behind the camera there is nothing either
    assert np.isfinite(folding.project(np.array([[0.95, 0.0, 1.0]]))).all()
    assert np.isnan(folding.project(np.array([[1.2, 0.0, 1.0], [0.1, 0.0, -1.0]]))).all()


def test_a_calibration_is_scaled_to_another_size_of_the_same_shape_only():
    lens = Lens("x", "pinhole", 1920, 1080, ((1000.0, 0, 959.5), (0, 1000.0, 539.5), (0, 0, 1)), (0.1, 0, 0, 0, 0))
    half = LensModel.from_record(lens, 960, 540)
    # The middle of the picture stays its middle: (1920 - 1) / 2 -> (960 - 1) / 2.
    assert (half.fx, half.cx, half.cy) == pytest.approx((500.0, 479.5, 269.5))
    assert LensModel.from_record(lens, 1080, 1080) is None


def test_slopes_are_those_of_opencv():
    # source: cv2.projectPoints, which gives the derivatives by rotation, translation, focal lengths, centre, distortion
    lens = LensModel("pinhole", 960, 540, 760.0, 760.0, 483.0, 268.0, (-0.09, 0.03, 0.003, -0.002, 0.001))
    points = scattered()
    px, jacobian = cv2.projectPoints(points, np.zeros(3), np.zeros(3), lens.K, np.array(lens.dist))
    jacobian = jacobian.reshape(len(points), 2, -1)
    made = slopes(lens, points.T)
    np.testing.assert_allclose(made.px.T, px.reshape(-1, 2), atol=1e-9)
    np.testing.assert_allclose(made.to_point.transpose(2, 1, 0), jacobian[:, :, 3:6], atol=1e-8)
    np.testing.assert_allclose(made.to_log_focal.T, lens.fx * jacobian[:, :, 6:8].sum(axis=2), atol=1e-7)
    np.testing.assert_allclose(made.to_radial.transpose(2, 1, 0), jacobian[:, :, [10, 11, 14]], atol=1e-7)


def test_slopes_of_a_fisheye_are_those_of_opencv():
    # source: cv2.fisheye.projectPoints; its columns are f (2), c (2), k (4), rotation (3), translation (3), skew
    lens = LensModel("fisheye", 960, 540, 560.0, 560.0, 476.0, 272.0, (0.02, -0.01, 0.003, -0.001))
    points = scattered()
    px, jacobian = cv2.fisheye.projectPoints(points.reshape(-1, 1, 3), np.zeros(3), np.zeros(3), lens.K, np.array(lens.dist))
    jacobian = jacobian.reshape(len(points), 2, -1)
    made = slopes(lens, points.T)
    np.testing.assert_allclose(made.px.T, px.reshape(-1, 2), atol=1e-9)
    np.testing.assert_allclose(made.to_point.transpose(2, 1, 0), jacobian[:, :, 11:14], atol=1e-8)
    np.testing.assert_allclose(made.to_log_focal.T, lens.fx * jacobian[:, :, 0:2].sum(axis=2), atol=1e-7)
    np.testing.assert_allclose(made.to_radial.transpose(2, 1, 0), jacobian[:, :, 4:8], atol=1e-7)

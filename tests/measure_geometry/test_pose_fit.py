import cv2
import numpy as np
import pytest
from scenes import NARROW, WIDE, looking

from reelnotes.measure.find_print import _mapped, pose_from_plane
from reelnotes.measure.pose_fit import LensFreedom, Problem, _stepped, fit_frames
from reelnotes.measure.posed import Observations
from reelnotes.measure.solve_lens import solve_lens

GRID = np.stack(np.meshgrid(np.linspace(5, 495, 15), np.linspace(5, 155, 6)), -1).reshape(-1, 2)
VIEWS = [(8, 5, 0), (-22, 12, 20), (15, -20, 80), (30, 5, 170), (-12, -26, 40), (20, 24, -30), (-30, -8, -70), (5, 28, 10)]


def filmed(lens, sigma_px=0.1, seed=1):
    rng = np.random.default_rng(seed)
    poses = [looking(500, 160, tilt_deg=a, turn_deg=b, spin_deg=c, height=430 + 20 * i) for i, (a, b, c) in enumerate(VIEWS)]
    seen = []
    for R, t in poses:
        px = lens.project(GRID[:, :1] * R[:, 0] + GRID[:, 1:] * R[:, 1] + t)
        inside = ((px > 0) & (px < [lens.width_px, lens.height_px])).all(axis=1)
        noisy = px[inside] + rng.normal(0, sigma_px, (inside.sum(), 2))
        seen.append(Observations(GRID[inside], noisy, np.tile(np.eye(2) / sigma_px**2, (inside.sum(), 1, 1))))
    return seen, poses


def test_pose_of_one_view_agrees_with_opencv():
    seen, poses = filmed(NARROW)
    fit = fit_frames(seen[:1], NARROW, [poses[0][0]], [poses[0][1] + [5.0, -4.0, 20.0]])
    points = np.column_stack([seen[0].board_mm, np.zeros(len(seen[0]))])
    # source: cv2.solvePnP, iterative (the same least squares)
    _, r, t = cv2.solvePnP(points, seen[0].px, NARROW.K, np.array(NARROW.dist))
    assert np.allclose(fit.t[0], t.ravel(), atol=0.1)
    assert np.allclose(fit.R[0], cv2.Rodrigues(r)[0], atol=3e-4)


def test_pinhole_solved_from_the_board_agrees_with_opencv():
    seen, poses = filmed(NARROW)
    start = NARROW.__class__("fisheye", 960, 540, 600.0, 600.0, 479.5, 269.5, (0.15, 0.03, 0.0, 0.0))
    solved = solve_lens(seen, poses, start)
    points = [np.column_stack([o.board_mm, np.zeros(len(o))]).astype(np.float32) for o in seen]
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3 | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_USE_INTRINSIC_GUESS
    # source: cv2.calibrateCamera (Zhang 2000) on the same points
    _, K, _, _, _ = cv2.calibrateCamera(
        points, [o.px.astype(np.float32) for o in seen], (960, 540), start.K, np.zeros(5), flags=flags
    )
    assert solved.lens.model == "pinhole"
    assert solved.lens.fx == pytest.approx(K[0, 0], rel=0.004)
    assert abs(solved.lens.fx / NARROW.fx - 1) < 4 * solved.lens.focal_sigma + 1e-3


def test_fisheye_solved_from_the_board_finds_the_true_lens_within_its_own_doubt():
    seen, poses = filmed(WIDE)
    start = WIDE.__class__("fisheye", 960, 540, 640.0, 640.0, 479.5, 269.5, (0.15, 0.03, 0.0, 0.0))
    solved = solve_lens(seen, poses, start)
    assert solved.lens.model == "fisheye"
    assert abs(np.log(solved.lens.fx / WIDE.fx)) < 4 * solved.lens.focal_sigma + 1e-3
    assert solved.lens.focal_sigma < 0.01


def test_print_on_something_else_is_outvoted():
    seen, poses = filmed(NARROW)
    bad = np.arange(len(seen[0])) % 4 == 0
    wrong = Observations(seen[0].board_mm, seen[0].px + np.where(bad[:, None], [9.0, -14.0], 0.0), seen[0].weight)
    fit = fit_frames([wrong], NARROW, [poses[0][0]], [poses[0][1] + [3.0, 2.0, 10.0]])
    assert np.allclose(fit.t[0], poses[0][1], atol=0.3)
    assert fit.inlier[0][bad].max() < 0.05
    assert fit.inlier[0][~bad].mean() > 0.5


def test_the_doubt_about_a_reading_is_what_repeated_filming_shows():
    readings, told = [], []
    at = np.array([[300.0, 80.0]])
    R, t = looking(500, 160, tilt_deg=15, turn_deg=10)
    px_true = NARROW.project(at @ R[:, :2].T + t)
    for seed in range(40):
        rng = np.random.default_rng(seed + 900)
        px = NARROW.project(GRID @ R[:, :2].T + t) + rng.normal(0, 0.5, (len(GRID), 2))
        o = Observations(GRID, px, np.tile(np.eye(2) / 0.25, (len(GRID), 1, 1)))
        fit = fit_frames([o], NARROW, [R], [t], LensFreedom())
        told.append(fit.reading_sigma_mm(0, at)[0, 0])
        ray = NARROW.unproject(px_true)[0] @ fit.R[0]
        centre = -fit.R[0].T @ fit.t[0]
        readings.append(centre[0] - ray[0] * centre[2] / ray[2])
    # source: JCGM 100:2008, 4.2: the experimental standard deviation; 40 repeats know it to about 11 %
    assert np.std(readings) == pytest.approx(np.mean(told), rel=0.4)
    assert abs(np.mean(readings) - 300.0) < 0.1


def test_homography_is_opencvs():
    rng = np.random.default_rng(5)
    H = np.array([[1.1, 0.1, 3.0], [-0.05, 0.9, -2.0], [2e-4, -3e-4, 1.0]])
    there = cv2.perspectiveTransform(GRID[None], H)[0] + rng.normal(0, 0.05, GRID.shape)
    # source: cv2.findHomography, method 0: the normalised direct linear transform and a polish
    ours = _mapped(GRID, there, np.ones(len(GRID)), affine=False)
    theirs = cv2.perspectiveTransform(GRID[None], cv2.findHomography(GRID, there, 0)[0])[0]
    assert np.abs(ours - theirs).max() < 0.02


def test_a_camera_never_stands_behind_the_board():
    R, t = looking(500, 160)
    flat = GRID @ R[:, :2].T + t
    got = pose_from_plane(GRID, flat[:, :2] / flat[:, 2:])
    assert np.allclose(got[0], R, atol=1e-6)
    mirrored = flat[:, :2] / flat[:, 2:] * [-1.0, 1.0]
    assert (
        pose_from_plane(GRID, mirrored) is None
        or (pose_from_plane(GRID, mirrored)[0].T @ -pose_from_plane(GRID, mirrored)[1])[2] > 0
    )


@pytest.mark.parametrize("lens", [NARROW, WIDE])
def test_slopes_by_every_parameter_are_those_of_small_steps(lens):
    seen, poses = filmed(lens)
    freedom = LensFreedom(log_focal=0.3, centre=0.01, radial=(0.1, 0.05), shift=0.003)
    p = Problem(seen[:2], lens, freedom)
    here = (np.zeros(p.shared), np.stack([R for R, _ in poses[:2]]), np.stack([t for _, t in poses[:2]]), np.zeros((2, 2)))
    _, made = p.jacobian(*here)
    for k in range(p.shared + 8):
        delta = np.zeros(p.shared + 16)
        step = 1e-6 if k < 1 or 3 <= k < p.shared + 3 else 1e-4
        delta[[k] if k < p.shared else [k, k + 8]] = step  # a parameter of its own moves in both frames
        there, _ = p.jacobian(*_stepped(p, here, delta))
        back, _ = p.jacobian(*_stepped(p, here, -delta))
        np.testing.assert_allclose(made[k], (there - back) / (2 * step), rtol=1e-5, atol=1e-4 * np.abs(made[k]).max())


def test_the_doubt_is_that_of_the_summed_normal_equations():
    seen, poses = filmed(NARROW)
    rng = np.random.default_rng(4)
    halves = rng.normal(0, 1, (len(seen[0]), 2, 2))
    aslant = Observations(seen[0].board_mm, seen[0].px, halves @ halves.transpose(0, 2, 1) + 0.1 * np.eye(2))
    p = Problem([aslant], NARROW, LensFreedom())
    px, J = p.jacobian(np.zeros(0), poses[0][0][None], poses[0][1][None], np.zeros((1, 2)))
    residual, robust = p.px - px, rng.uniform(0, 1, len(p))
    A, g = p.normal(J, residual, robust, np.zeros(0), np.zeros((1, 2)))
    # By definition: the sums of J' W J and J' W r over all pieces, one by one.
    weight = aslant.weight * robust[:, None, None]
    np.testing.assert_allclose(A, np.einsum("kan,nab,lbn->kl", J, weight, J), rtol=1e-6, atol=1e-9 * np.abs(A).max())
    np.testing.assert_allclose(g, np.einsum("kan,nab,bn->k", J, weight, residual), rtol=1e-5, atol=1e-6 * np.abs(g).max())
    np.testing.assert_allclose(p.off(residual) ** 2, np.einsum("an,nab,bn->n", residual, aslant.weight, residual), rtol=1e-6)

import numpy as np
import pytest
from scenes import NARROW, board_on_disk, draw_board, looking, render

from reelnotes.measure.board_model import load_board
from reelnotes.measure.match_print import carried, match
from reelnotes.measure.pose_fit import fit_frames


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    return load_board(board_on_disk(tmp_path_factory.mktemp("board"), draw_board()))


@pytest.mark.parametrize("turn_deg", [89.0, 89.999, 89.9999, 90.0, 90.0001, 120.0, 180.0])
def test_a_pose_that_sees_the_board_edge_on_ends_in_no_fault(model, turn_deg):
    R, t = looking(500, 160)
    picture = render(draw_board(), NARROW, R, t)
    hopeless, there = looking(500, 160, tilt_deg=23.0, turn_deg=turn_deg, spin_deg=37.0)
    seen, _ = match(picture, model, NARROW, hopeless, there, 1.0, search_px=4, min_ncc=-2.0)
    assert np.isfinite(seen.px).all() and (np.linalg.eigvalsh(seen.weight) > 0.0).all()
    np.linalg.cholesky(seen.weight + 1e-9 * np.eye(2))  # as the fit takes them


def test_the_print_is_where_the_pose_says(model):
    R, t = looking(500, 160)
    seen, _ = match(render(draw_board(), NARROW, R, t), model, NARROW, R, t, 1.0, search_px=0)
    points = np.column_stack([seen.board_mm, np.zeros(len(seen))])
    off = np.linalg.norm(NARROW.project(points @ R.T + t) - seen.px, axis=1)
    assert len(seen) > 30 and np.median(off) < 0.2


def test_what_was_found_with_one_pose_is_carried_to_another_as_a_new_look_has_it(model):
    R, t = looking(500, 160)
    picture = render(draw_board(), NARROW, R, t)
    near, far = t + np.array([0.4, -0.3, 0.5]), t + np.array([6.0, 0.0, 0.0])
    _, looked = match(picture, model, NARROW, R, near, 1.0, search_px=0)
    told = carried(model, 1.0, looked, (NARROW, R, near), (NARROW, R, t))
    _, again = match(picture, model, NARROW, R, t, 1.0, search_px=0)
    both = told.agrees & again.agrees
    assert both.sum() > 0.95 * again.agrees.sum() > 30
    # A piece along an edge is at rest wherever it lies along it; across, both looks agree.
    assert np.median(np.abs(told.moved - again.moved)[both].min(axis=1)) < 0.03
    assert carried(model, 1.0, looked, (NARROW, R, near), (NARROW, R, far)) is None


def test_print_in_place_is_found_without_a_search_as_with_one(model):
    R, t = looking(500, 160)
    picture = render(draw_board(), NARROW, R, t)
    beside = t + np.array([0.5, 0.5, 0.0])
    quick, _ = match(picture, model, NARROW, R, beside, 1.0, search_px=4, near=True)
    thorough, _ = match(picture, model, NARROW, R, beside, 1.0, search_px=4)
    assert len(quick) > 0.9 * len(thorough)
    for seen in (quick, thorough):
        fit = fit_frames([seen], NARROW, [R], [beside])
        assert np.linalg.norm(fit.t[0] - t) < 0.5


def test_a_line_found_farther_along_itself_is_in_place(model):
    # A search takes any place along a line: all are alike there, and the line tells nothing of it.
    R, t = looking(500, 160)
    picture = render(draw_board(), NARROW, R, t)
    _, rested = match(picture, model, NARROW, R, t, 1.0, search_px=0)
    _, searched = match(picture, model, NARROW, R, t, 1.0, search_px=4)
    far = np.linalg.norm(searched.moved, axis=1) > 1.5
    assert (far & rested.agrees).sum() > 10
    assert searched.agrees[rested.agrees].mean() > 0.95


def test_a_number_found_farther_along_is_not_in_place(model):
    R, t = looking(500, 160)
    picture = render(draw_board(), NARROW, R, t)
    _, beside = match(picture, model, NARROW, R, t + 2.5 * R[:, 0], 1.0, search_px=4)
    fixed = np.linalg.eigvalsh(beside.tells)[:, 0] > 0.5
    assert (fixed & beside.seen & (beside.ncc > 0.8)).sum() > 5
    assert not beside.agrees[fixed].any()

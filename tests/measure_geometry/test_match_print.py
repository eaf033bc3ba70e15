import numpy as np
import pytest
from scenes import NARROW, board_on_disk, draw_board, looking, render

from reelnotes.measure.board_model import load_board
from reelnotes.measure.match_print import match


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

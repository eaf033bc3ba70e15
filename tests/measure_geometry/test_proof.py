"""A board of little print, most of it under a fish: what lies open proves it, and another board's ruler does not."""

import numpy as np
import pytest
from scenes import NARROW, board_on_disk, draw_board, fish, looking, render

from reelnotes.measure.board_model import load_board
from reelnotes.measure.find_board import find_board
from reelnotes.measure.pose_fit import LensFreedom
from reelnotes.measure.proof import contradicted, proved, proved_in_the_open
from reelnotes.measure.refine import settle

R, T = looking(500, 160)
BIG, LARGE = fish(0, 450, 80, 85), fish(0, 400, 80, 78)


def ruler(**drawn):
    """A board without bars: a ruler along its near edge, some words along the far one."""
    return draw_board(bar=1000, **drawn)


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    return load_board(board_on_disk(tmp_path_factory.mktemp("boards"), ruler()))


def test_a_ruler_in_the_open_proves_a_board_that_a_fish_all_but_hides(model):
    image = render(model.picture, NARROW, R, T, cover=BIG)
    made = settle(image, model, NARROW, R, T, near=True)
    assert not proved(made)  # by all of its print it is not
    assert proved_in_the_open(image, made)
    found = find_board(image, [model], NARROW, LensFreedom())
    assert found is not None
    assert np.linalg.norm((-found.R.T @ found.t) - (-R.T @ T)) < 0.01 * 520.0  # of the camera's height


@pytest.mark.parametrize("step", [12.7, 11.0])
def test_another_ruler_in_the_open_does_not(model, step):
    image = render(ruler(step=step), NARROW, R, T, cover=LARGE)
    made = settle(image, model, NARROW, R, T, near=True)
    assert made is None or not proved_in_the_open(image, made)
    assert find_board(image, [model], NARROW, LensFreedom()) is None


def test_an_edge_whose_words_a_fish_hides_speaks_for_no_other_board(model):
    image = render(model.picture, NARROW, R, T, cover=fish(0, 500, 115, 60))
    made = settle(image, model, NARROW, R, T, near=True)
    assert not contradicted(image, made)


def test_an_edge_whose_words_are_not_there_does(model):
    wordless = ruler()
    wordless[:90] = wordless[100, 0]
    image = render(wordless, NARROW, R, T, cover=fish(0, 330, 70, 50))
    made = settle(image, model, NARROW, R, T, near=True)
    assert proved(made)  # its ruler is the same
    assert contradicted(image, made)

from dataclasses import replace

import cv2
import numpy as np
import pytest
from scenes import NARROW, WIDE, board_on_disk, draw_board, fish, looking, render

from reelnotes.measure.board_model import Raster, load_board
from reelnotes.measure.find_board import GUESS_FREEDOM, _under_another_lens, find_board, guessed_lens
from reelnotes.measure.pose_fit import HELD, LensFreedom, fit_frames
from reelnotes.measure.refine import settle
from reelnotes.records.boards import Board, Marker
from reelnotes.records.problems import Refusal

CHECKED = np.array([[x, y] for x in (0.0, 125.0, 250.0, 375.0, 500.0) for y in (0.0, 80.0, 160.0)])


def where(lens, R, t):
    return lens.project(CHECKED @ np.asarray(R)[:, :2].T + t)


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    return load_board(board_on_disk(tmp_path_factory.mktemp("boards"), draw_board()))


VIEWS = {
    "plain": ({}, {}),
    "upside down, a fish on it": ({"spin_deg": 178}, {"cover": fish(0, 330, 85, 38)}),
    "on end, oblique": ({"spin_deg": 70, "tilt_deg": -30, "height": 640}, {"cover": fish(0, 200, 80, 25)}),
    "blurred and noisy": ({}, {"blur_px": 1.8, "noise": 9.0, "cover": fish(0, 300, 80, 30)}),
}


@pytest.mark.parametrize("view", VIEWS)
def test_board_is_found_to_a_fraction_of_a_pixel(model, view):
    pose, light = VIEWS[view]
    R, t = looking(500, 160, **pose)
    image = render(model.picture, NARROW, R, t, **light)
    found = find_board(image, [model], NARROW, LensFreedom())
    assert found is not None
    assert np.linalg.norm(where(found.lens, found.R, found.t) - where(NARROW, R, t), axis=1).max() < 1.0


def test_board_is_found_through_a_lens_of_which_nothing_is_known(model):
    R, t = looking(500, 160, height=420.0)
    image = render(model.picture, WIDE, R, t, cover=fish(0, 300, 85, 35))
    found = find_board(image, [model], guessed_lens(960, 540), GUESS_FREEDOM)
    assert found is not None
    assert np.linalg.norm(where(found.lens, found.R, found.t) - where(WIDE, R, t), axis=1).max() < 4.0


@pytest.mark.parametrize(("focal", "bend"), [(0.33, (0.54, -0.15)), (0.3, (0.6, 0.0)), (0.4, (0.0, 0.0))])
def test_a_lens_bent_to_fit_the_print_behind_a_fish_is_not_kept(model, focal, bend):
    R, t = looking(500, 160, height=420.0)
    image = render(model.picture, WIDE, R, t, cover=fish(40, 300, 85, 60))
    odd = replace(guessed_lens(960, 540), fx=960 * focal, fy=960 * focal, dist=(*bend, 0.0, 0.0))
    seen = settle(image, model, WIDE, R, t).seen
    there = fit_frames([seen], odd, [R], [t])
    found = settle(image, model, odd, there.R[0], there.t[0], near=True)
    mended = _under_another_lens(image, found, guessed_lens(960, 540), GUESS_FREEDOM)
    assert mended.strength > 1.3 * found.strength
    assert mended.lens.fx == pytest.approx(WIDE.fx, rel=0.03)
    assert np.linalg.norm(where(mended.lens, mended.R, mended.t) - where(WIDE, R, t), axis=1).max() < 4.0
    assert _under_another_lens(image, found, guessed_lens(960, 540), HELD) is found  # a lens that is known stays


@pytest.mark.parametrize("other", ["mirrored", "finer bars, inches", "no board"])
def test_another_board_is_not_taken_for_this_one(model, other):
    picture = {
        "mirrored": model.picture[:, ::-1].copy(),
        "finer bars, inches": draw_board(bar=40, step=12.7, ink=(60, 140, 60), words="NOSE HERE"),
        "no board": np.full_like(model.picture, 128),
    }[other]
    R, t = looking(500, 160)
    assert find_board(render(picture, NARROW, R, t), [model], NARROW, LensFreedom()) is None


def test_of_two_boards_the_right_one_is_taken(model, tmp_path):
    other = load_board(board_on_disk(tmp_path, draw_board(bar=40, step=12.7, ink=(60, 140, 60), words="NOSE HERE"), "other"))
    R, t = looking(500, 160)
    found = find_board(render(other.picture, NARROW, R, t), [model, other], NARROW, LensFreedom())
    assert found is not None and found.model.board.name == "other"


def test_squares_alone_find_a_board(tmp_path):
    picture = np.full((480, 1500, 3), 235, np.uint8)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    markers = []
    for n, (x, y) in enumerate([(20, 120), (440, 120), (20, 10), (440, 10), (230, 120)]):
        square = cv2.aruco.generateImageMarker(dictionary, n, 90)
        top = 480 - (y + 30) * 3
        picture[top : top + 90, x * 3 : x * 3 + 90] = square[..., None]
        markers.append(Marker("4X4_50", n, ((x, y + 30.0), (x + 30.0, y + 30.0), (x + 30.0, y), (x, float(y)))))
    plain = board_on_disk(tmp_path, picture, "squares")
    marked = load_board(Board(plain.name, 500.0, 160.0, plain.picture, 3.0, (-0.5, 479.5), tuple(markers)))
    R, t = looking(500, 160, spin_deg=150)
    found = find_board(render(picture, NARROW, R, t, cover=fish(60, 320, 80, 30)), [marked], NARROW, LensFreedom())
    assert found is not None
    assert np.linalg.norm(where(NARROW, found.R, found.t) - where(NARROW, R, t), axis=1).max() < 1.0


def test_a_raster_goes_from_millimetres_to_pixels_and_back(model):
    raster = Raster.over(model.board, 1.7, 12.0)
    assert np.allclose(raster.to_mm(raster.to_px(CHECKED)), CHECKED)
    # The board's edge lies on the edge of a pixel, half a pixel before its centre.
    assert np.allclose(Raster.over(model.board, 2.0).to_px(np.array([0.0, 160.0])), [-0.5, -0.5])


@pytest.mark.parametrize("size", [(1501, 480), (1499, 481)])
def test_a_small_raster_of_an_odd_picture_is_not_stretched(tmp_path, size):
    picture = np.full((size[1], size[0], 3), 255, np.uint8)
    picture[:, 1200:1212] = 0  # a line whose middle is at pixel 1205.5
    path = tmp_path / "odd.png"
    cv2.imwrite(str(path), picture)
    model = load_board(Board("odd", size[0] / 3.0, size[1] / 3.0, path, 3.0, (-0.5, size[1] - 0.5)))
    raster = Raster.over(model.board, 0.7)
    dark = 255.0 - model.picture_on(raster)[60, :, 0].astype(float)
    middle = raster.to_mm(np.array([(dark * np.arange(len(dark))).sum() / dark.sum(), 0.0]))[0]
    assert middle == pytest.approx((1205.5 + 0.5) / 3.0, abs=0.1)


def test_a_board_without_a_picture_is_refused_in_words(tmp_path):
    assert isinstance(load_board(Board("bare", 500.0, 160.0)), Refusal)
    (tmp_path / "x.png").write_bytes(b"no picture")
    assert "cannot be read" in load_board(Board("broken", 500.0, 160.0, tmp_path / "x.png")).reason

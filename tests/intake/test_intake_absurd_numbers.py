"""Numbers that no board and no lens can have: each sets its file aside with a sentence, and none ends the run."""

import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.intake import read_trip
from reelnotes.intake.boards import read_boards
from reelnotes.intake.lenses import lens_meant, misfits, read_lenses
from reelnotes.measure import measure_clips
from reelnotes.measure.board_model import load_board
from reelnotes.measure.lens_model import LensModel
from reelnotes.measure.whole_trip import lens_of
from reelnotes.records.boards import Board, Lens
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.problems import Refusal

BOARD = """
name = "deck board"
length_mm = 900.0
width_mm = 180.0
picture = "deck.png"
[picture_scale]
px_per_mm = 4.0
zero_px = [40.0, 760.0]
[[marker]]
dictionary = "4X4_50"
id = 7
corners_mm = [[10.0, 170.0], [40.0, 170.0], [40.0, 140.0], [10.0, 140.0]]
"""
LENS = """
name = "chest"
model = "MODEL"
width = 1280
height = 720
camera_matrix = [[713.7, 0.0, 640.2], [0.0, 713.9, 352.6], [0.0, 0.0, 1.0]]
distortion = DISTORTION
rms_px = 0.217
"""
FISHEYE = LENS.replace("MODEL", "fisheye").replace("DISTORTION", "[-0.0095, 0.0060, 0.0046, -0.0013]")
PINHOLE = LENS.replace("MODEL", "pinhole").replace("DISTORTION", "[-0.1370, 0.0252, 0.0003, -0.0002, 0.0001]")
ABSURD = ("nan", "inf", "-inf", "-1e300", "1e300", "1e9", "1" + "0" * 400, "9" * 5000)
NUMBER = re.compile(r"(?<![\w\"-])-?\d+(?:\.\d+)?(?![\w\"])")


def each_number(text: str, wrong: tuple[str, ...]) -> list[str]:
    """The text with each of its numbers in turn, and no other, replaced by each wrong one."""
    places = [m.span() for m in NUMBER.finditer(text) if "name" not in text[text.rfind("\n", 0, m.start()) : m.start()]]
    assert len(places) >= 12
    return [text[:a] + bad + text[b:] for a, b in places for bad in wrong]


def boards(folder: Path, text: str) -> tuple[tuple[Board, ...], list]:
    (folder / "boards").mkdir(exist_ok=True)
    cv2.imwrite(str(folder / "boards" / "deck.png"), np.full((800, 3680, 3), 200, np.uint8))
    (folder / "boards" / "deck.toml").write_text(text)
    return read_boards(folder, [folder / "boards" / "deck.toml"])


def lenses(folder: Path, text: str) -> tuple[dict[str, Lens], list]:
    (folder / "lenses").mkdir(exist_ok=True)
    (folder / "lenses" / "chest.toml").write_text(text)
    return read_lenses(folder, [folder / "lenses" / "chest.toml"])


def test_every_number_of_a_board(tmp_path):
    assert boards(tmp_path, BOARD)[1] == []
    for text in each_number(BOARD, ABSURD):
        found, problems = boards(tmp_path, text)
        assert found == (), text
        assert problems and "left out" in str(problems[0]) and problems[0].serious, text
        assert len(str(problems[0])) < 300


@pytest.mark.parametrize("text", [FISHEYE, PINHOLE])
def test_every_number_of_a_lens(tmp_path, text):
    assert lenses(tmp_path, text)[1] == []
    for wrong in each_number(text, ABSURD):
        found, problems = lenses(tmp_path, wrong)
        assert found == {}, wrong
        assert problems and "left out" in str(problems[0]) and problems[0].serious, wrong
        assert len(str(problems[0])) < 300


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("length_mm = 900.0", "length_mm = 0", "0 must be more than 10"),
        ("width_mm = 180.0", "width_mm = nan", "nan is not a finite number"),
        ("px_per_mm = 4.0", "px_per_mm = 0.0", "0.0 must be at least 0.1"),
        ("px_per_mm = 4.0", "px_per_mm = inf", "inf is not a finite number"),
        ("id = 7", "id = 50", "ids 0 to 49"),
        ("[10.0, 170.0], [40.0, 170.0], [40.0, 140.0], [10.0, 140.0]", "[0, 1], [1, 1], [1, 0], [0, 0]", "smaller than 2 mm"),
        ("length_mm = 900.0", "length_mm = 90.0\nwidth_mm = 20.0\n#", "marker 1 lies off the board"),
        ('picture = "deck.png"', f'picture = "{"d" * 5000}"', "there is no file"),
        ('picture = "deck.png"', 'picture = "de\\u0000ck.png"', "there is no file"),
    ],
)
def test_what_is_said_of_a_board(tmp_path, old, new, says):
    text = BOARD.replace(old, new)
    if "\n#" in new:
        text = text.replace("width_mm = 180.0", "", 1)
    _, problems = boards(tmp_path, text)
    assert says in str(problems[0])


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("713.7", "nan", "nan is not a finite number"),
        ("713.7", "7.1", "no camera has a focal length of"),
        ("713.9", "2000.0", "no camera has a focal length of"),
        ("713.7, 0.0", "713.7, 40.0", "camera_matrix must be"),
        ("-0.0095", "-40.0", "folds back"),
        ("rms_px = 0.217", "rms_px = nan", "nan is not a finite number"),
        ("rms_px = 0.217", "rms_px = -1", "at least 0"),
    ],
)
def test_what_is_said_of_a_lens(tmp_path, old, new, says):
    found, problems = lenses(tmp_path, FISHEYE.replace(old, new))
    assert found == {} and says in str(problems[0])


numbers = st.floats(-120.0, 120.0) | st.floats(-1.0, 1.0) | st.sampled_from([0.0, 1e-320, -1e-320, 1e-13, 1e-9])


def test_a_lens_that_is_far_out_of_line_is_none(tmp_path):
    found, problems = lenses(tmp_path, FISHEYE.replace("fisheye", "pinhole"))
    assert found and not problems
    wrong = re.sub(r"distortion = .*", "distortion = [0.0, 0.0, 0.0, 4.0, 0.0]", FISHEYE.replace("fisheye", "pinhole"))
    found, problems = lenses(tmp_path, wrong)
    assert found == {} and "out of line" in str(problems[0])


@settings(max_examples=150, deadline=None)
@given(
    model=st.sampled_from(["fisheye", "pinhole"]),
    k=st.tuples(numbers, numbers, numbers, numbers),
    f=st.floats(1.0, 40_000.0),
    squeeze=st.floats(0.4, 2.5),
    rms=st.none() | st.floats(0, 100),
)
def test_a_lens_that_is_let_in_can_be_reckoned_with(tmp_path_factory, model, k, f, squeeze, rms):
    matrix = f"[[{f}, 0, 640], [0, {f * squeeze}, 360], [0, 0, 1]]"
    text = f'name = "x"\nmodel = "{model}"\nwidth = 1280\nheight = 720\ncamera_matrix = {matrix}\ndistortion = {list(k)}\n'
    found, problems = lenses(tmp_path_factory.mktemp("lens"), text + ("" if rms is None else f"rms_px = {rms}\n"))
    assert bool(found) != bool(problems)
    for lens in found.values():
        made = LensModel.from_record(lens, 640, 360)
        assert made is not None and made.reach_rad > 0 and np.isfinite(made.focal_sigma)
        with np.errstate(all="ignore"):
            middle = made.project(made.unproject(np.array([[made.cx + 2.0, made.cy - 1.0]])))
            made.unproject(np.array([[0.0, 0.0], [1e6, 1e6]]))
        assert np.allclose(middle, [[made.cx + 2.0, made.cy - 1.0]], atol=0.05)


def test_a_board_picture_of_another_scale_or_kind_is_refused_in_words(tmp_path):
    (board,), _ = boards(tmp_path, BOARD)
    assert not isinstance(load_board(board), Refusal)
    elsewhere = replace(board, zero_px=(40.0, -760.0))
    tiny = replace(board, px_per_mm=100.0)
    assert "0 % of the board" in load_board(elsewhere).reason
    assert "% of the board" in load_board(tiny).reason
    (tmp_path / "boards" / "deck.png").write_bytes(b"no picture")
    assert "cannot be read" in load_board(board).reason
    board.picture.unlink()
    assert "cannot be read" in load_board(board).reason


def test_a_trip_goes_on_without_the_boards_that_cannot_be_used(tmp_path, make_clip):
    make_clip(tmp_path / "clips/chest/CLIP1.mp4")
    boards(tmp_path, BOARD)
    (tmp_path / "boards" / "nan.toml").write_text(BOARD.replace("900.0", "nan").replace("deck board", "other"))
    (tmp_path / "boards" / "far.toml").write_text(BOARD.replace("[40.0, 760.0]", "[9000.0, 760.0]").replace("deck board", "far"))
    lenses(tmp_path, FISHEYE.replace("713.7", "inf"))
    folder = read_trip(tmp_path)
    assert sorted(b.name for b in folder.boards) == ["deck board", "far"] and folder.lenses == {}
    told = [str(p) for p in (*folder.problems, *measure_clips(folder).problems)]
    for where in ("boards/nan.toml", "boards/far.toml", "lenses/chest.toml"):
        assert sum(t.startswith(where) for t in told) == 1, told


def lens(width: int, height: int) -> Lens:
    matrix = ((700.0, 0.0, width / 2), (0.0, 700.0, height / 2), (0.0, 0.0, 1.0))
    return Lens("chest", "fisheye", width, height, matrix, (0.0,) * 4, source="lenses/chest.toml")


def clip(name: str, width: int, height: int, turned: int = 0) -> Clip:
    return Clip(name, Path(name), "chest", width_px=width, height_px=height, rotation_deg=turned)


@pytest.mark.parametrize(
    ("size", "turned", "fits"),
    [
        ((1280, 720), 0, True),
        ((3840, 2160), 0, True),
        ((1920, 1088), 0, True),  # rounded up to whole blocks of 16
        ((1440, 1080), 0, False),
        ((1080, 1080), 0, False),
        ((1280, 720), 90, False),  # filmed upright
        ((720, 1280), 90, True),
    ],
)
def test_a_lens_holds_for_pictures_of_its_own_shape(tmp_path, make_clip, size, turned, fits):
    given_lens, shot = lens(1280, 720), clip("a.mp4", *size, turned)
    assert given_lens.fits(*shot.shown_size_px) is fits
    assert (LensModel.from_record(given_lens, *shot.shown_size_px) is not None) is fits
    problems = misfits([Camera("chest", lens="lenses/chest.toml")], [shot], {"lenses/chest.toml": given_lens})
    assert [p.where for p in problems] == ([] if fits else ["lenses/chest.toml"])
    if not fits:
        assert "1280 x 720" in problems[0].what and "a.mp4" in problems[0].what and "solved from the board" in problems[0].done


def test_a_lens_that_fits_some_clips_of_its_camera_is_no_file_set_aside():
    shots = [clip("a.mp4", 1280, 720), clip("b.mp4", 1080, 1080), clip("c.mp4", 1080, 1080)]
    (problem,) = misfits([Camera("chest", lens="l")], shots, {"l": lens(1280, 720)})
    assert not problem.serious and "b.mp4 and 1 more" in problem.what
    assert misfits([Camera("chest")], shots, {"l": lens(1280, 720)}) == []
    assert misfits([Camera("chest", lens="l")], [replace(shots[1], set_aside="empty")], {"l": lens(1280, 720)}) == []


def test_a_trip_says_so_and_measures_such_clips_without_the_lens(tmp_path, make_clip):
    make_clip(tmp_path / "clips/chest/CLIP1.mp4", size=(64, 64))
    make_clip(tmp_path / "clips/chest/CLIP2.mp4", size=(128, 72))
    lenses(tmp_path, FISHEYE)
    # The lens is named in short: what the setting means is settled once, and held to everywhere.
    (tmp_path / "trip.toml").write_text('[[camera]]\nname = "chest"\nlens = "chest"\n')
    folder = read_trip(tmp_path)
    assert lens_meant("chest", folder.lenses) == "lenses/chest.toml"
    assert ["64 x 64" in p.what for p in folder.problems if p.where == "lenses/chest.toml"] == [True]
    assert [lens_of(c, folder) is not None for c in folder.clips] == [False, True]

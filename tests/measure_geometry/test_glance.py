"""The glance lets every drawn board through, and turns water away. None of these pictures were trained on."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import NARROW, WIDE, draw_board, fish, looking, render

from reelnotes.measure.glance import UNLIKELY, board_likeness

BOARDS = {
    "bars": {},
    "dark": {"paper": (55, 50, 50), "ink": (60, 190, 230)},
    "ticks alone": {"bar": 10_000, "paper": (235, 238, 236)},
    "long": {"length": 900, "width": 180, "bar": 100, "ink": (40, 40, 190)},
}


@pytest.mark.parametrize("name", BOARDS)
@pytest.mark.parametrize("lens", [WIDE, NARROW], ids=["fisheye", "pinhole"])
@pytest.mark.parametrize("height", [420.0, 900.0])
def test_a_board_is_let_through(name, lens, height):
    design = {"length": 500, "width": 160} | BOARDS[name]
    length, width = design["length"], design["width"]
    for n, spin in enumerate((0.0, 65.0, 180.0)):
        R, t = looking(length, width, height=height, spin_deg=spin, aside=(20.0 * n, -15.0 * n))
        frame = render(draw_board(**design), lens, R, t, seed=n, noise=4.0, cover=fish(0, 0.7 * length, width / 2, 40))
        assert board_likeness(frame) > UNLIKELY
        assert board_likeness(np.ascontiguousarray(np.rot90(frame))) > UNLIKELY, "the same, filmed upright"


def water(rng, w=480, h=270):
    """Sky over waves that shorten toward the horizon."""
    line = int(h * rng.uniform(0.2, 0.5))
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    depth = 40.0 / np.maximum(y - line + 3.0, 1.0)
    waves = np.sin(x * depth * 0.05 + rng.uniform(0, 6)) * np.sin(depth * 30.0) + 0.5 * np.sin(x * 0.3 + depth * 55.0)
    sea = np.array([120.0, 105, 70]) + 14 * waves[..., None]
    sky = np.array([225.0, 205, 185]) - 0.2 * y[..., None]
    return _noisy(np.where((y < line)[..., None], sky, sea), rng)


def planks(rng, w=480, h=270):
    """Boards of a deck, seen from straight above."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    a, pitch = rng.uniform(0, np.pi), rng.uniform(25, 60)
    u, v = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    shade = rng.uniform(0.85, 1.1, 64)[(np.floor(u / pitch).astype(int)) % 64] * np.where(u % pitch < 2.5, 0.45, 1.0)
    grain = 1 + 0.06 * np.sin(u * 1.9 + 2 * np.sin(v * 0.02))
    return _noisy(np.array([80.0, 115, 150]) * (shade * grain)[..., None], rng)


def blinds(rng, w=480, h=270):
    """Even dark and pale slats over the whole picture."""
    y = np.mgrid[0:h, 0:w][0].astype(np.float32)
    pitch = rng.uniform(9, 30)
    return _noisy(np.where((y % pitch < pitch / 2)[..., None], 200.0, 90.0) * np.ones(3), rng)


def _noisy(picture, rng):
    return np.clip(picture + rng.normal(0, 3, picture.shape), 0, 255).astype(np.uint8)


def test_water_is_turned_away():
    rng = np.random.default_rng(5)
    for _ in range(6):
        frame = water(rng)
        assert board_likeness(frame) < UNLIKELY
        assert board_likeness(np.ascontiguousarray(np.rot90(frame))) < UNLIKELY


@pytest.mark.parametrize("scene", [planks, blinds])
def test_bare_stripes_look_less_like_a_board_than_a_board_does(scene):
    # They may be let through, which costs a search; but a clip's board is searched before its deck.
    rng = np.random.default_rng(5)
    R, t = looking(500, 160, height=520.0)
    boards = [board_likeness(render(draw_board(), WIDE, R, t, seed=n, cover=fish(0, 350, 80, 40))) for n in range(3)]
    assert all(board_likeness(scene(rng)) < min(boards) for _ in range(6))


def test_a_code_strip_at_the_foot_tells_nothing():
    rng = np.random.default_rng(6)
    for _ in range(4):
        frame = water(rng)
        frame[-14:] = np.kron(rng.integers(0, 2, (1, 60)) * 255, np.ones((14, 8)))[..., None]
        assert board_likeness(frame) < UNLIKELY


def test_no_picture_of_any_size_or_colour_breaks_it_and_twice_is_the_same():
    @settings(max_examples=25, deadline=None)
    @given(st.integers(2, 400), st.integers(2, 400), st.integers(0, 255), st.integers(0, 60))
    def check(w, h, level, spread):
        rng = np.random.default_rng(w * 1000 + h)
        picture = np.clip(rng.normal(level, spread, (h, w, 3)), 0, 255).astype(np.uint8)
        likeness = board_likeness(picture)
        assert 0.0 <= likeness <= 1.0
        assert board_likeness(picture.copy()) == likeness

    check()


def test_the_caller_keeps_the_threads_and_sees_no_output(capfd):
    before = cv2.getNumThreads()
    board_likeness(np.zeros((90, 160, 3), np.uint8))
    assert cv2.getNumThreads() == before
    assert capfd.readouterr() == ("", "")

"""Shapes drawn by hand: a straight fish, a curled one, two side by side, and what ends in a tail."""

import cv2
import numpy as np
import pytest

from reelnotes.measure.shape import shape_of, tail_likeness
from reelnotes.measure.verdict import verdict


def spindle(bend_deg=0.0, y=100):
    """A body 300 px long along an arc that turns by ``bend_deg``, with a fan at its end."""
    mask = np.zeros((400, 420), np.uint8)
    angle, point = np.radians(-bend_deg / 2), np.array([20.0, float(y)])
    for s in np.linspace(0, 1, 301):
        half = 32 * np.sin(np.pi * min(s / 0.92, 1.0) ** 0.7) + 7 if s < 0.9 else 8 + (s - 0.9) * 260
        step = np.array([np.cos(angle), np.sin(angle)])
        across = np.array([-step[1], step[0]]) * half
        cv2.line(mask, *(tuple(np.round(point + sign * across).astype(int)) for sign in (-1, 1)), 1, 3)
        point, angle = point + step, angle + np.radians(bend_deg) / 300
    return mask > 0


def test_a_straight_fish_is_straight_and_one():
    shape = shape_of(spindle())
    assert shape.bend_deg < 3
    assert shape.twofold == 0
    assert shape.depth_px == pytest.approx(78, abs=8)


@pytest.mark.parametrize("bend", [50, 80])
def test_an_arc_shows_its_turn(bend):
    # source: geometry: the mean directions of the two halves of an arc differ by half of its turn
    assert shape_of(spindle(bend, 200)).bend_deg == pytest.approx(bend / 2, abs=9)


def test_two_bodies_side_by_side_are_told():
    assert shape_of(spindle(y=100) | spindle(y=180)).twofold > 0.5


def test_a_fan_is_a_tail_and_a_cut_is_none():
    fish = spindle()
    assert tail_likeness(fish, 320.0, 66.0, 0.0) > 0.7
    cut = fish.copy()
    cut[:, 200:] = False
    assert tail_likeness(cut, 200.0, 66.0, 0.0) < 0.5
    assert tail_likeness(fish, 320.0, 66.0, 0.6) < 0.5  # one half reaches much farther: a stain


def test_an_interval_wider_than_three_percent_is_a_matter_to_check():
    assert verdict(400.0, 390.0, 410.0, ()) == ("measured", "")
    assert verdict(400.0, 387.0, 413.0, ())[0] == "check"
    assert verdict(400.0, 399.0, 401.0, ["the fish is curled"]) == ("check", "the fish is curled")


def test_two_tails_abreast_are_told_from_a_fin_that_sweeps_back():
    mask = np.zeros((160, 600), bool)
    mask[20:80, 20:420] = True  # a body
    mask[38:60, 420:560] = True  # its peduncle and tail
    fin = mask.copy()
    fin[80:86, 300:330] = True
    mask[78:140, 20:330] = True  # another body against it
    mask[90:120, 330:500] = True
    assert shape_of(mask).abreast > 0.15
    assert shape_of(fin).abreast == 0.0

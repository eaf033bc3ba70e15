"""Height above the board: the law, its inverse, and what a tilted fish loses."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.measure.parallax import appears_at, grounded, nose_height, tail_height
from reelnotes.records.estimates import Estimate

# source: reference PAR-01 (pinhole geometry, camera H metres straight above, outline h cm above the board):
# apparent length too long by h / (H - h)
PAR_01 = [
    (1000, 20, 2.04), (1000, 40, 4.17), (1000, 60, 6.38), (600, 20, 3.45), (600, 40, 7.14), (600, 60, 11.11),
    (1500, 20, 1.35), (1500, 40, 2.74), (1500, 60, 4.17),
]  # fmt: skip


@pytest.mark.parametrize(("camera_height", "height", "percent"), PAR_01)
def test_a_fish_above_the_board_reads_long_by_the_published_law(camera_height, height, percent):
    camera = (200.0, camera_height)
    seen = appears_at(450.0, height, camera) - appears_at(50.0, height, camera)
    assert (seen / 400.0 - 1.0) * 100 == pytest.approx(percent, abs=0.006)


@given(
    st.floats(0, 1000), st.floats(0, 90), st.floats(-500, 1500), st.floats(300, 2500)
)  # fmt: skip
def test_grounding_undoes_what_height_does(x, z, camera_x, camera_height):
    camera = (camera_x, camera_height)
    back = grounded(appears_at(x, z, camera), Estimate(z, 1.0), camera)
    assert back.x_mm == pytest.approx(x, abs=1e-6)
    assert back.correction_mm == pytest.approx(back.x_mm - appears_at(x, z, camera), abs=1e-6)


def test_a_tilted_fish_seen_from_above_loses_the_cosine():
    # source: reference PAR-02 (trigonometry): 10 degrees out of plane shorten by 1.52 %. Each end is grounded at its
    # own height, so what remains is the length along the board: the cosine, not the parallax.
    tilt, length, camera = math.radians(10.0), 400.0, (150.0, 900.0)
    x_end, z_end = length * math.cos(tilt), length * math.sin(tilt)
    start = grounded(appears_at(0.0, 0.0, camera), Estimate(0.0, 0.1), camera)
    end = grounded(appears_at(x_end, z_end, camera), Estimate(z_end, 0.1), camera)
    assert ((end.x_mm - start.x_mm) / length - 1.0) * 100 == pytest.approx(-1.52, abs=0.006)


def test_doubt_about_height_counts_only_off_the_plumb_line():
    camera = (300.0, 800.0)
    assert grounded(300.0, Estimate(3.0, 1.5), camera).u_mm == 0.0
    assert grounded(700.0, Estimate(3.0, 1.5), camera).u_mm == pytest.approx(0.75)


@given(st.floats(80, 1500))
def test_the_tail_lies_low_and_the_nose_stands_higher(length):
    assert 0 < tail_height(length).value < 0.02 * length
    assert nose_height(0.25 * length).value > tail_height(length).value

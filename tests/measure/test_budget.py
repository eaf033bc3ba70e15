"""The sum of doubts, against the Guide's own worked example and against a Monte Carlo after its supplement."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.measure.budget import combined, interval, scatter_of_mean
from reelnotes.records.lengths import BudgetLine


def lines(*u):
    return [BudgetLine(f"line {i}", value) for i, value in enumerate(u)]


def test_end_gauge_example_of_the_guide():
    # source: JCGM 100:2008, annex H.1 (calibration of an end gauge): first-order components 25, 9.7, 2.9 and 16.6 nm
    # combine to 32 nm (table H.1; value from memory, the sum re-derived: sqrt(1002) = 31.7)
    assert combined(lines(25e-6, 9.7e-6, 2.9e-6, 16.6e-6)) == pytest.approx(32e-6, abs=0.5e-6)


def test_interval_holds_95_percent_in_a_monte_carlo():
    # source: JCGM 101:2008, propagation of distributions; independent normal inputs
    rng = np.random.default_rng(7)
    u = [0.4, 0.25, 0.6, 0.1]
    total = sum(rng.normal(0.0, s, 200_000) for s in u)
    low, high = interval(0.0, combined(lines(*u)))
    assert np.mean((total >= low) & (total <= high)) == pytest.approx(0.95, abs=0.003)


def test_scatter_of_the_mean_is_the_spread_over_root_n():
    # source: JCGM 100:2008, 4.2.3
    rng = np.random.default_rng(3)
    made = [scatter_of_mean(list(rng.normal(100.0, 2.0, 40))) for _ in range(400)]
    assert np.median(made) == pytest.approx(2.0 / np.sqrt(40), rel=0.12)


def test_one_wild_reading_hardly_moves_the_scatter():
    rng = np.random.default_rng(5)
    readings = list(rng.normal(0.0, 0.3, 12))
    assert scatter_of_mean([*readings, 90.0]) < 3 * scatter_of_mean(readings) + 0.05


@given(st.lists(st.floats(0, 50), min_size=1, max_size=9))
def test_the_sum_is_never_less_than_its_largest_part(u):
    assert combined(lines(*u)) >= max(u) - 1e-9

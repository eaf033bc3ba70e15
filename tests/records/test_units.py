"""Factors against scipy.constants (CODATA and the 1959 agreement): reference values UNI-01 to UNI-05."""

import pytest
import scipy.constants as si

from reelnotes.records import units


def test_factors() -> None:
    assert si.nautical_mile == units.NAUTICAL_MILE_M
    assert pytest.approx(si.knot, rel=1e-12) == units.KNOT_MPS
    assert pytest.approx(si.inch * 1000, rel=1e-12) == units.INCH_MM
    assert pytest.approx(si.foot, rel=1e-12) == units.FOOT_M and pytest.approx(6 * si.foot) == units.FATHOM_M
    assert pytest.approx(si.pound, rel=1e-12) == units.POUND_KG and pytest.approx(si.oz, rel=1e-12) == units.OUNCE_KG
    assert units.knots(si.knot) == pytest.approx(1.0)


def test_lengths_in_the_trips_own_unit() -> None:
    assert units.length_words(635.0, "metric") == "63.5 cm" and units.length_words(635.0, "imperial") == "25.0 in"
    assert units.span_words(629.0, 641.0, "metric") == "62.9 to 64.1 cm"
    assert units.span_words(629.0, 641.0, "imperial") == "24.8 to 25.2 in"

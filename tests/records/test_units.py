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

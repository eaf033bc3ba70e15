"""The law of a tail's tip, against sums and slopes worked out another way."""

import numpy as np
import pytest
from scipy.optimize import approx_fprime, least_squares

from reelnotes.measure.tip_fit import TipLaw, fit_law

LAW = TipLaw(np.arange(0, 40), 1.7)


@pytest.mark.parametrize("power", [0.08, 0.5, 1.0, 2.3])
def test_the_widths_are_the_power_blurred(power):
    # source: the blur's definition, a Gaussian of this standard deviation, summed finely
    nodes = np.linspace(-6.0, 6.0, 4001)
    kernel = np.exp(-(nodes**2) / 2) / np.exp(-(nodes**2) / 2).sum()
    run = np.clip(31.3 - (LAW.u[:, None] + nodes * LAW.blur_px), 0.0, None)
    wanted = 2.0 * (np.where(run > 0, np.maximum(run, 1e-12) ** power, 0.0) @ kernel)
    assert np.abs(LAW.widths(np.array([31.3, 2.0, power])) - wanted).max() < 0.02 * wanted.max()


@pytest.mark.parametrize("power", [0.08, 0.7, 2.0])
def test_the_slopes_are_those_of_small_steps(power):
    law = np.array([31.3, 2.0, power])
    slopes = LAW.with_slopes(law)[1]
    for i in range(len(LAW.u)):
        numeric = approx_fprime(law, lambda x, i=i: LAW.widths(x)[i], 1e-6)
        assert slopes[i] == pytest.approx(numeric, rel=1e-3, abs=1e-4)


@pytest.mark.parametrize(("end", "size", "power"), [(31.3, 2.0, 0.5), (28.0, 6.0, 0.2), (33.0, 0.6, 1.1)])
def test_the_law_found_is_the_one_that_another_search_finds(end, size, power):
    # source: SciPy's trust region search (Branch, Coleman and Li 1999) for the same loss, by slopes from small steps
    rng = np.random.default_rng(5)
    seen = LAW.widths(np.array([end, size, power])) + rng.normal(0.0, 0.05, len(LAW.u))
    seen[4] += 3.0  # a large misfit counts in proportion only
    spread = 0.05 * seen.max() + 0.03 * np.abs(seen)
    start, low, high = np.array([30.0, 1.0, 0.7]), np.array([20.0, 1e-3, 0.08]), np.array([40.0, 80.0, 2.5])
    found = fit_law(seen, spread, LAW, start, low, high)
    other = least_squares(
        lambda x: (LAW.widths(x) - seen) / spread, start, bounds=(low, high), loss="soft_l1", ftol=1e-12, xtol=1e-12
    ).x
    assert found[0] == pytest.approx(other[0], abs=0.02)
    assert LAW.widths(found) == pytest.approx(LAW.widths(other), abs=0.01)

"""The fine search's core against other programs and analytic cases."""

import math

import numpy as np
import pytest
from scipy.signal import correlate
from sound_scenes import RATE_HZ, band_noise

from reelnotes.clocks.clues.sound_fine import PATH_M, PATH_S, SEARCH_S, SPEED_OF_SOUND_M_S, delays, window_peaks


def shifted(signal: np.ndarray, delay_s: float) -> np.ndarray:
    """The band-limited signal later by any delay: exact by the shift theorem of the DFT (periodic)."""
    hz = np.fft.rfftfreq(len(signal), 1 / RATE_HZ)
    return np.fft.irfft(np.fft.rfft(signal) * np.exp(-2j * np.pi * hz * delay_s), len(signal))


@pytest.mark.parametrize("delay_s", [0.0, 0.0123, -0.00731, 1.5 / RATE_HZ, -0.05])
def test_known_fractional_delay_of_band_limited_noise(delay_s: float) -> None:
    # source: Knapp & Carter 1976, IEEE Trans. ASSP 24, 320-327: x2(t) = x1(t + D) + noise; the delay is the argmax of
    # the prefiltered cross-correlation. The shift theorem makes D exact, fractions of a sample too.
    rng = np.random.default_rng(1)
    signal = band_noise(rng, 2 * RATE_HZ, 300, 6000)
    a = (shifted(signal, delay_s) + 0.5 * rng.standard_normal(len(signal))).astype(np.float32)
    b = (signal + 0.5 * rng.standard_normal(len(signal))).astype(np.float32)
    (found, height), *_ = window_peaks(*delays(a, b))
    assert found == pytest.approx(delay_s, abs=0.2 / RATE_HZ)
    assert height > 10


def test_agrees_with_plain_cross_correlation_where_that_works() -> None:
    # source: scipy.signal.correlate; white noise needs no prefilter, so both must find the same sample.
    rng = np.random.default_rng(2)
    sound = rng.standard_normal(3 * RATE_HZ)
    a, b = sound[1000 : 1000 + 2 * RATE_HZ], sound[1237 : 1237 + 2 * RATE_HZ]
    plain = correlate(a, b, mode="full")
    lag = int(np.argmax(plain)) - (len(b) - 1)
    assert lag == 237
    (found, _), *_ = window_peaks(*delays(a.astype(np.float32), b.astype(np.float32)))
    assert round(found * RATE_HZ) == lag


def test_phase_transform_survives_an_echo_and_colour() -> None:
    # source: the phase transform whitens the cross-spectrum and so is robust to reverberation (Knapp & Carter 1976 and
    # the papers on PHAT that follow it).
    rng = np.random.default_rng(3)
    signal = band_noise(rng, 2 * RATE_HZ, 300, 900) + 0.05 * band_noise(rng, 2 * RATE_HZ, 900, 6000)
    a = shifted(signal, 0.004) + 0.6 * shifted(signal, 0.011)
    (found, _), *_ = window_peaks(*delays(a.astype(np.float32), signal.astype(np.float32)))
    assert found == pytest.approx(0.004, abs=0.5 / RATE_HZ)


def test_unrelated_noise_has_no_peak() -> None:
    rng = np.random.default_rng(4)
    for _ in range(50):
        a, b = rng.standard_normal((2, 2 * RATE_HZ)).astype(np.float32)
        assert window_peaks(*delays(a, b)) == []


def test_silence_has_no_peak() -> None:
    silence = np.zeros(RATE_HZ, np.float32)
    assert window_peaks(*delays(silence, silence)) == []
    lags, _ = delays(silence, silence)
    assert lags[-1] == pytest.approx(SEARCH_S, abs=1 / RATE_HZ)


def test_speed_of_sound_and_what_a_metre_costs() -> None:
    # source: c = 331.3 * sqrt(1 + T/273.15) m/s: 343.21 at 20 °C (practical formula for dry air; the linear rule
    # 331.3 + 0.606 T gives 343.42; another published value is 342.63).
    assert pytest.approx(331.3 * math.sqrt(1 + 20 / 273.15), abs=0.05) == SPEED_OF_SOUND_M_S
    assert abs(SPEED_OF_SOUND_M_S - 342.63) < 0.7 and abs(SPEED_OF_SOUND_M_S - (331.3 + 0.606 * 20)) < 0.4
    # value from memory, derived: 2.914 ms a metre at 20 °C, 3.018 at 0 °C. Temperature hardly matters over 2 m.
    assert pytest.approx(2.914, abs=0.003) == 1000 / SPEED_OF_SOUND_M_S
    assert PATH_S == PATH_M / SPEED_OF_SOUND_M_S
    assert PATH_M * (3.018e-3 - 2.914e-3) < 0.25e-3

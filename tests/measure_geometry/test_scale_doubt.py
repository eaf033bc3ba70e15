import numpy as np
import pytest
from scenes import WIDE, looking

from reelnotes.measure.posed import Observations, PosedFrame
from reelnotes.measure.scale_doubt import FLOOR, doubted, stretch_misfit


def frame(bend_mm=0.0, noise_px=0.0, seed=0) -> PosedFrame:
    """A frame whose print is seen ``bend_mm`` off along x, in a wave over the board, and with independent noise."""
    R, t = looking(500, 160, height=430.0)
    x, y = np.meshgrid(np.linspace(5, 495, 60), np.linspace(5, 155, 20))
    mm = np.stack([x.ravel(), y.ravel()], axis=1)
    seen_at = mm + np.column_stack([bend_mm * np.sin(mm[:, 0] / 500 * 4 * np.pi), np.zeros(len(mm))])
    px = WIDE.project(np.column_stack([seen_at, np.zeros(len(mm))]) @ R.T + t)
    ok = np.isfinite(px).all(axis=1)
    px = px[ok] + np.random.default_rng(seed).normal(0, noise_px, (int(ok.sum()), 2))
    print_ = Observations(mm[ok], px, np.tile(np.eye(2), (len(px), 1, 1)))
    rms = max(noise_px, bend_mm, 0.05)
    return PosedFrame(0, 0.0, np.zeros((4, 4, 3), np.uint8), WIDE, R, t, rms, len(px), 1.0, 1.0, 1e-5, 1.0, print_)


def test_errors_that_neighbours_share_are_not_averaged_away():
    bent, _ = stretch_misfit(frame(bend_mm=0.5))
    # source: the standard deviation of a sine of amplitude a over whole periods is a / sqrt(2).
    assert bent == pytest.approx(0.5 / np.sqrt(2), rel=0.2)


def test_independent_noise_is():
    noisy, mm_per_px = stretch_misfit(frame(noise_px=0.4))
    # source: a median of n normal readings scatters by 1.2533 sigma / sqrt(n); some 100 pieces lie in a stretch.
    assert 0.02 * mm_per_px < noisy < 0.1 * mm_per_px


def test_doubt_grows_with_misfit_and_never_falls_under_the_floor():
    still, bent = doubted([frame(), frame(bend_mm=0.5)], 500.0)
    assert FLOOR <= still.scale_sigma < 1.2 * FLOOR
    # source: two readings each off by 0.35 mm, over two thirds of 500 mm
    assert bent.scale_sigma == pytest.approx(np.hypot(np.sqrt(2) * 0.354 / 333.3, FLOOR), rel=0.3)

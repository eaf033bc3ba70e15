"""Frames laid on each other: the median picture against numpy's own median."""

import numpy as np
import pytest

from reelnotes.measure.stack import median_picture


@pytest.mark.parametrize("count", range(1, 10))
def test_the_median_picture_is_numpys_median(count: int) -> None:
    rng = np.random.default_rng(count)
    levels = [rng.integers(0, 256, (6, 11, 3)).astype(np.uint8) for _ in range(count)]
    reals = [rng.normal(size=(6, 11)).astype(np.float32) for _ in range(count)]
    assert np.array_equal(median_picture(levels), np.median(np.stack(levels), axis=0))
    assert np.array_equal(median_picture(reals), np.median(np.stack(reals), axis=0))

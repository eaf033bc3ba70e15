"""A wide blur on a small picture, against the blur itself."""

import cv2
import numpy as np
import pytest

from reelnotes.measure.smooth import smoothed


@pytest.mark.parametrize("sigma_px", [2.0, 6.0, 24.0])
def test_it_is_the_blur_itself(sigma_px):
    # source: OpenCV's blur at full size
    values = np.zeros((301, 402, 2), np.float32)
    values[100:180, 120:260] = (1.0, -3.0)
    wanted = cv2.GaussianBlur(values, (0, 0), sigma_px)
    assert np.abs(smoothed(values, sigma_px) - wanted).max() < 0.03 * np.abs(wanted).max()

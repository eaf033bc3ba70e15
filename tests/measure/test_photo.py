"""A photo goes the way of a clip of one frame, pixel for pixel."""

import cv2
import numpy as np
import pytest

from reelnotes.measure.photo import as_clip
from reelnotes.media.decode import pictures
from reelnotes.records.problems import UnreadableError


def test_a_photo_comes_back_pixel_for_pixel(tmp_path):
    pixels = np.random.default_rng(2).integers(0, 256, (96, 130, 3), np.uint8)
    photo = tmp_path / "fish.png"
    photo.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())
    with as_clip(photo) as clip:
        frames = list(pictures(clip))
    assert len(frames) == 1
    assert np.array_equal(frames[0].pixels, pixels)
    assert not clip.exists()


def test_what_is_no_picture_is_told(tmp_path):
    photo = tmp_path / "fish.jpg"
    photo.write_bytes(b"no picture at all")
    with pytest.raises(UnreadableError, match="cannot be read"), as_clip(photo):
        pass


def test_a_clip_is_left_alone(tmp_path):
    with as_clip(tmp_path / "a.mp4") as clip:
        assert clip == tmp_path / "a.mp4"

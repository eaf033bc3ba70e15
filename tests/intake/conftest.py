"""Tiny clips, made on the spot with PyAV."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest


def write_clip(
    path: Path,
    *,
    rate: Fraction = Fraction(30),
    frames: int = 12,
    size: tuple[int, int] = (64, 48),
    sound: bool = True,
    sound_late_s: float = 0.0,
    tags: dict[str, str] | None = None,
    ticks: Sequence[int] | None = None,
    time_base: Fraction | None = None,
    rotation: int = 0,
    shade: int = 0,
    options: dict[str, str] | None = None,
    b_frames: int = 0,
) -> Path:
    """Write a small clip; ``ticks`` (in ``time_base``) give frame times of their own, else they follow ``rate``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(path), "w", options=options or {}) as box:
        box.metadata.update(tags or {})
        picture = box.add_stream("libx264", rate=rate, options={"preset": "ultrafast"})
        picture.width, picture.height, picture.pix_fmt = *size, "yuv420p"
        picture.codec_context.max_b_frames = b_frames
        if time_base:
            picture.codec_context.time_base = time_base
        if rotation:
            picture.set_display_rotation(rotation)
        voice = box.add_stream("aac", rate=48000, layout="mono") if sound else None
        for number in range(frames):
            pixels = np.full((size[1], size[0], 3), (number * 7 + shade) % 256, np.uint8)
            frame = av.VideoFrame.from_ndarray(pixels, format="rgb24")
            frame.pts = ticks[number] if ticks is not None else number
            frame.time_base = time_base or 1 / rate
            box.mux(picture.encode(frame))
        box.mux(picture.encode(None))
        if voice:
            length_s = float(frames / rate)
            for block in range(int(length_s * 48000) // 1024 + 1):
                hiss = np.random.default_rng(block).normal(0, 0.05, (1, 1024)).astype(np.float32)
                part = av.AudioFrame.from_ndarray(hiss, format="fltp", layout="mono")
                part.sample_rate, part.time_base = 48000, Fraction(1, 48000)
                part.pts = block * 1024 + round(sound_late_s * 48000)
                box.mux(voice.encode(part))
            box.mux(voice.encode(None))
    return path


@pytest.fixture(scope="session")
def make_clip() -> Callable[..., Path]:
    return write_clip

"""Sound between two instants: the same samples as the whole, at the same times."""

from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest

from reelnotes.media.decode import sound

RATE_HZ = 48000


@pytest.fixture
def ramp(tmp_path: Path) -> Path:
    """20 s of 16-bit sound whose level tells the time: sample k is k / n."""
    path = tmp_path / "ramp.mov"
    n = 20 * RATE_HZ
    whole = (np.arange(n) / n * 32000).astype(np.int16)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        for first in range(0, n, 1024):
            frame = av.AudioFrame.from_ndarray(whole[None, first : first + 1024], format="s16", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, first, Fraction(1, RATE_HZ)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


@pytest.mark.parametrize(("start_s", "end_s"), [(0.5, 2.0), (7.3, 9.3), (12.0, None), (0.0, 3.0)])
def test_a_stretch_is_that_stretch(ramp: Path, start_s: float, end_s: float | None) -> None:
    blocks = list(sound(ramp, rate_hz=16000, start_s=start_s, end_s=end_s))
    samples = np.concatenate([block.samples for block in blocks])
    assert blocks[0].time_s == pytest.approx(start_s, abs=1 / 16000)
    assert len(samples) == pytest.approx(((end_s or 20.0) - start_s) * 16000, abs=2)
    told_s = samples * 32768 / 32000 * 20.0
    inner = slice(400, -400)  # the resampler's filter has no neighbours at the stream's very ends
    times = blocks[0].time_s + np.arange(len(samples)) / 16000
    assert np.abs(told_s - times)[inner].max() < 0.002


def test_blocks_follow_each_other(ramp: Path) -> None:
    blocks = list(sound(ramp, rate_hz=16000, block_s=1.5, start_s=3.0, end_s=14.0))
    assert len(blocks) > 5
    for before, after in pairwise(blocks):
        assert after.time_s == pytest.approx(before.time_s + len(before.samples) / 16000, abs=1e-9)


def test_a_stretch_behind_the_end_is_empty(ramp: Path) -> None:
    assert list(sound(ramp, rate_hz=16000, start_s=30.0, end_s=31.0)) == []

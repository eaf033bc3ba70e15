"""What a clip's sound is boiled down to: levels that are true, onsets that only change leaves a trace in."""

import numpy as np
import pytest
from sound_scenes import RATE_HZ, voices

from reelnotes.clocks.audio_features import (
    FRAME_HZ,
    LOUDNESS_EDGES_HZ,
    LOUDNESS_STEP_S,
    ONSET_SCALE,
    AudioFeatures,
    features_of,
)
from reelnotes.media.decode import SoundBlock


def of(samples: np.ndarray, block_s: float = 10.0, start_s: float = 0.0) -> AudioFeatures | None:
    n = int(block_s * RATE_HZ)
    pieces = [samples[i : i + n].astype(np.float32) for i in range(0, len(samples), n)]
    return features_of(SoundBlock(start_s + k * block_s, piece) for k, piece in enumerate(pieces))


def test_loudness_of_a_tone_is_its_mean_square() -> None:
    # source: the mean square of a sine of amplitude A is A^2 / 2 (Parseval: the bins of its band hold all of it).
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    heard = of(0.2 * np.sin(2 * np.pi * 470 * t))
    assert heard is not None
    band = int(np.searchsorted(LOUDNESS_EDGES_HZ, 470.0)) - 1
    assert heard.loudness[band] == pytest.approx(np.full(heard.loudness.shape[1], np.log(0.2**2 / 2)), abs=0.01)


def test_times_of_steps_and_frames() -> None:
    # A click at 7.0 s lies in the step and near the frame whose time says so, wherever the sound begins.
    samples = 1e-3 * np.random.default_rng(1).standard_normal(12 * RATE_HZ)
    samples[int(7.0 * RATE_HZ) : int(7.0 * RATE_HZ) + 80] += 0.5
    heard = of(samples, start_s=2.5)
    assert heard is not None
    step = int(np.argmax(heard.loudness.sum(axis=0)))
    assert abs(heard.loudness_start_s + step * LOUDNESS_STEP_S - 9.5) <= LOUDNESS_STEP_S / 2 + 0.02
    frame = int(np.argmax(heard.onsets.astype(int).sum(axis=0)))
    assert abs(heard.start_s + frame / FRAME_HZ - 9.5) <= 1.5 / FRAME_HZ
    assert heard.end_s == pytest.approx(2.5 + 12.0, abs=0.05)


@pytest.mark.parametrize("block_s", [0.3, 1.7, 4.0])
def test_how_the_sound_is_cut_into_blocks_changes_nothing_much(block_s: float) -> None:
    samples = 0.1 * voices(np.random.default_rng(2), 14.2)
    whole, cut = of(samples, 60.0), of(samples, block_s)
    assert whole is not None and cut is not None
    assert cut.loudness == pytest.approx(whole.loudness, abs=1e-4)
    assert cut.onsets.shape == whole.onsets.shape
    # Only the size is taken block by block, as gain control would.
    assert np.corrcoef(cut.onsets.ravel(), whole.onsets.ravel())[0, 1] > 0.9


def test_gain_leaves_no_trace_in_onsets() -> None:
    samples = 0.1 * voices(np.random.default_rng(3), 12) + 5e-3 * np.random.default_rng(4).standard_normal(12 * RATE_HZ)
    quiet, loud = of(0.3 * samples), of(3 * samples)
    assert quiet is not None and loud is not None
    # A frame in a thousand lies at the floor under which there is only rounding, and there a gain does show.
    differs = np.abs(quiet.onsets.astype(int) - loud.onsets)
    assert np.mean(differs > 0.1 * ONSET_SCALE) < 1e-3


def test_silence_is_silence() -> None:
    heard = of(np.zeros(5 * RATE_HZ))
    assert heard is not None
    assert not heard.onsets.any()


@pytest.mark.parametrize("seconds", [0.0, 0.01, 0.5])
def test_too_little_sound_is_none(seconds: float) -> None:
    assert of(np.zeros(int(seconds * RATE_HZ))) is None

"""What the clock clues need of a clip's sound, from one decode: onsets for lining up, loudness for the engine.

A pure function of the sound, in bounded memory: about 3 MB an hour of footage.

The onsets are log energies in bands (spacing as of hearing, from above the worst of the wind to below
where small microphones and codecs stop), freed of their slow part and of their size. So neither
automatic gain, nor a louder microphone, nor a steady drone leaves a trace in them: only change does.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from reelnotes.media.decode import SoundBlock, sound
from reelnotes.records.clips import Clip

log = logging.getLogger(__name__)

RATE_HZ = 16000
HOP = 256  # samples: 16 ms
WINDOW = 512
FRAME_HZ = RATE_HZ / HOP  # onset frames a second
ONSET_EDGES_HZ = np.geomspace(300.0, 7000.0, 13)
LOUDNESS_EDGES_HZ = np.array([40.0, 80.0, 160.0, 320.0, 640.0, 1280.0, 2560.0, 5120.0])
LOUDNESS_STEP_S = 0.512  # 32 hops
ONSET_SCALE = 32  # int8 steps a standard deviation
_SLOW_FRAMES = 31  # half a second: what changes more slowly is level, not onset
_HOPS_A_STEP = 32
_FLOOR = 1e-9  # mean square in a band; under it there is only rounding (a 16-bit step is 3e-5)


@dataclass(frozen=True, slots=True, eq=False)
class AudioFeatures:
    """The sound of one clip, boiled down.

    start_s     seconds from the clip's first picture to the middle of the first onset frame
    onsets      (bands, frames) int8: change of log energy, ONSET_SCALE a standard deviation, FRAME_HZ frames a second
    loudness    (bands, steps) float32: natural log of the mean square in each band, one step every LOUDNESS_STEP_S
    loudness_start_s  seconds from the first picture to the middle of the first step
    """

    start_s: float
    onsets: NDArray[np.int8]
    loudness_start_s: float
    loudness: NDArray[np.float32]

    @property
    def end_s(self) -> float:
        """Seconds from the clip's first picture to the middle of the last onset frame."""
        return self.start_s + (self.onsets.shape[1] - 1) / FRAME_HZ


def audio_features(clip: Clip) -> AudioFeatures | None:
    """Listen to a clip once. None when it has no sound or less than a second of it.

    Raises UnreadableError when the clip cannot be opened.
    """
    return features_of(sound(clip.path, rate_hz=RATE_HZ))


def features_of(blocks: Iterator[SoundBlock]) -> AudioFeatures | None:
    """The features of a stream of mono sound at RATE_HZ, whose blocks follow each other without a hole."""
    onsets: list[NDArray[np.int8]] = []
    loudness: list[NDArray[np.float32]] = []
    tail: NDArray[np.float32] | None = None  # log energies that the slow part of the next stretch needs
    partial = np.zeros((len(LOUDNESS_EDGES_HZ) - 1, 0), np.float32)  # hops that fill no whole step yet
    start_s = 0.0
    for start_s, power in _spectra(blocks):  # noqa: B007  (the same at every turn; wanted after the loop)
        hops = power.shape[1]
        logs, tail = _joined(np.log(_onset_bands() @ power + _FLOOR), tail)
        onsets.append(_changes(logs, lead=logs.shape[1] - hops))
        partial = np.concatenate([partial, _loudness_bands() @ power], axis=1)
        steps = partial.shape[1] // _HOPS_A_STEP
        whole = partial[:, : steps * _HOPS_A_STEP].reshape(len(partial), steps, _HOPS_A_STEP)
        loudness.append(np.log(whole.mean(axis=2) + _FLOOR))
        partial = partial[:, steps * _HOPS_A_STEP :]
    if sum(piece.shape[1] for piece in onsets) < FRAME_HZ:
        return None
    middle_s = start_s + WINDOW / 2 / RATE_HZ
    return AudioFeatures(
        middle_s,
        np.concatenate(onsets, axis=1),
        middle_s + (_HOPS_A_STEP - 1) / 2 * HOP / RATE_HZ,
        np.concatenate(loudness, axis=1),
    )


def _spectra(blocks: Iterator[SoundBlock]) -> Iterator[tuple[float, NDArray[np.float32]]]:
    """(start of the sound, power spectra (bins, hops)) of stretches that follow each other hop by hop, to the last."""
    rest = np.zeros(0, np.float32)
    start_s: float | None = None
    for block in blocks:
        start_s = block.time_s if start_s is None else start_s
        rest = np.concatenate([rest, block.samples])
        hops = (len(rest) - WINDOW) // HOP + 1
        if hops >= 2 * _SLOW_FRAMES:
            yield start_s, _power(rest, hops)
            rest = rest[hops * HOP :]
    hops = (len(rest) - WINDOW) // HOP + 1
    if hops > 0 and start_s is not None:
        yield start_s, _power(rest, hops)


def _power(samples: NDArray[np.float32], hops: int) -> NDArray[np.float32]:
    """(bins, hops) power spectrum: bins of a band add up to the mean square of the sound in it."""
    taper = np.hanning(WINDOW).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::HOP][:hops]
    spectrum = scipy.fft.rfft(frames * taper, axis=1)
    power: NDArray[np.float32] = (spectrum.real**2 + spectrum.imag**2).T * np.float32(2.0 / (WINDOW * np.sum(taper**2)))
    return power


def _joined(logs: NDArray[np.float32], tail: NDArray[np.float32] | None) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    joined = logs if tail is None else np.concatenate([tail, logs], axis=1)
    return joined, joined[:, -_SLOW_FRAMES:]


def _changes(logs: NDArray[np.float32], *, lead: int) -> NDArray[np.int8]:
    """Onsets of the frames after the first ``lead``, which only serve to know the slow part."""
    quick = logs - uniform_filter1d(logs, _SLOW_FRAMES, axis=1, mode="nearest")
    size = np.maximum(quick.std(axis=1, keepdims=True), 0.05)  # digital silence stays silence
    return np.clip(np.rint(quick[:, lead:] / size * ONSET_SCALE), -127, 127).astype(np.int8)


@cache
def _onset_bands() -> NDArray[np.float32]:
    return _bands(ONSET_EDGES_HZ)


@cache
def _loudness_bands() -> NDArray[np.float32]:
    return _bands(LOUDNESS_EDGES_HZ)


def _bands(edges_hz: NDArray[np.float64]) -> NDArray[np.float32]:
    """(bands, bins) of ones where a bin lies in a band."""
    bins_hz = np.fft.rfftfreq(WINDOW, 1 / RATE_HZ)
    inside = (bins_hz >= edges_hz[:-1, None]) & (bins_hz < edges_hz[1:, None])
    return inside.astype(np.float32)

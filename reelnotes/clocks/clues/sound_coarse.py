"""Where two takes may overlap: their onsets cross-correlated over every lag there is.

No prior at all: the offset may be years. The correlation costs n log n by FFT, so all pairs of takes are tried.
What comes out are candidates only. Something heard twice (a drag, a knock, an alarm) correlates as well
as the same moment heard by two cameras; telling these apart is the fine search's work.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from reelnotes.clocks.audio_features import FRAME_HZ, ONSET_SCALE, AudioFeatures
from reelnotes.records.clips import Clip

BLOCK_FRAMES = 36000  # 9.6 minutes: 40 ppm of drift across it is 23 ms, about one onset frame
BLOCK_OVERLAP_FRAMES = 1875  # 30 s, so that a short overlap is whole in at least one block
MIN_OVERLAP_S = 3.0
CANDIDATES_A_PAIR = 3
APART_FRAMES = 32  # candidates closer than half a second are one
# A Gaussian correlation passes 5.5 once in 5e7 lags; real sound is less tame, so the fine search decides.
LEAST_SCORE = 5.5
LEAST_REST = 1.5  # agreement besides the best seconds; one in fifteen unrelated candidates has it, the fine search decides


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One recording of one camera: its chapters in order, the features of each, and its length in seconds."""

    camera: str
    clips: tuple[Clip, ...]
    features: tuple[AudioFeatures, ...]

    @property
    def frames(self) -> int:
        """Onset frames from the recording's first picture to its end."""
        return max(
            round((clip.lead_s + heard.start_s) * FRAME_HZ) + heard.onsets.shape[1]
            for clip, heard in zip(self.clips, self.features, strict=True)
        )

    def blocks(self) -> Iterator[tuple[int, NDArray[np.float32]]]:
        """(first frame, onsets (bands, frames)) of stretches that together cover the take and overlap a little."""
        total, step = self.frames, BLOCK_FRAMES - BLOCK_OVERLAP_FRAMES
        for first in range(0, max(1, total - BLOCK_OVERLAP_FRAMES), step):
            yield first, self.onsets(first, min(total, first + BLOCK_FRAMES))

    def onsets(self, first: int, end: int) -> NDArray[np.float32]:
        """Onsets from one frame to another (exclusive) of the recording; zeros where there is no sound."""
        out = np.zeros((self.features[0].onsets.shape[0], end - first), np.float32)
        for clip, heard in zip(self.clips, self.features, strict=True):
            at = round((clip.lead_s + heard.start_s) * FRAME_HZ) - first
            low, high = max(0, at), min(end - first, at + heard.onsets.shape[1])
            if high > low:
                out[:, low:high] = heard.onsets[:, low - at : high - at] / np.float32(ONSET_SCALE)
        return out


@dataclass(frozen=True, slots=True)
class Candidate:
    """Two takes may overlap: ``lag_s`` = start(b) - start(a) of the recordings, good to about 10 ms.

    a, b       indices of the takes
    score      peak of the correlation in standard deviations of the correlation over all lags
    at_s       middle of the overlap that it was found in, in a's seconds
    """

    a: int
    b: int
    lag_s: float
    score: float
    at_s: float


def takes_of(clips: Sequence[Clip], features: Mapping[str, AudioFeatures]) -> list[Take]:
    """Group clips that have sound into takes, chapters in order."""
    groups: dict[tuple[str, str], list[Clip]] = {}
    for clip in clips:
        if clip.usable and clip.name in features:
            groups.setdefault((clip.camera, clip.recording or clip.name), []).append(clip)
    takes = []
    for (camera, _), members in groups.items():
        members.sort(key=lambda clip: clip.lead_s)
        takes.append(Take(camera, tuple(members), tuple(features[clip.name] for clip in members)))
    return takes


def candidates(a: int, b: int, takes: Sequence[Take]) -> list[Candidate]:
    """The lags at which two takes may overlap, best first; lags that differ by under half a second are kept
    apart only where they come from different blocks (a long overlap drifts)."""
    found: list[Candidate] = []
    for first_a, block_a in takes[a].blocks():
        spectra: dict[int, NDArray[np.complex64]] = {}  # of block_a, by length: most blocks of b are as long
        for first_b, block_b in takes[b].blocks():
            for lag, score, middle in _peaks(block_a, block_b, spectra):
                candidate = Candidate(a, b, (first_a - first_b + lag) / FRAME_HZ, score, (first_a + middle) / FRAME_HZ)
                if without_the_best(takes[a], takes[b], candidate) >= LEAST_REST:
                    found.append(candidate)
    return sorted(found, key=lambda candidate: -candidate.score)


def _peaks(
    a: NDArray[np.float32], b: NDArray[np.float32], spectra: dict[int, NDArray[np.complex64]]
) -> Iterator[tuple[float, float, float]]:
    """(lag in frames, score, middle of the overlap in a's frames) of the best peaks; ``spectra`` keeps a's."""
    n_a, n_b = a.shape[1], b.shape[1]
    if min(n_a, n_b) < MIN_OVERLAP_S * FRAME_HZ:
        return
    lags, score = correlation(a, b, spectra)
    left_over = score.copy()
    for _ in range(CANDIDATES_A_PAIR):
        i = int(np.argmax(left_over))
        if left_over[i] < LEAST_SCORE:
            return
        lag = float(lags[i])
        if 0 < i < len(lags) - 1:
            before, top, after = score[i - 1 : i + 2]
            bend = before - 2 * top + after
            # On the shoulder of a higher peak there is no top of its own: the parabola would run away.
            lag += float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0 else 0.0
        yield lag, float(score[i]), (max(0.0, lag) + min(n_a, lag + n_b)) / 2
        left_over[max(0, i - APART_FRAMES) : i + APART_FRAMES + 1] = -math.inf


def without_the_best(a: Take, b: Take, candidate: Candidate) -> float:
    """How well the onsets agree besides their best seconds, in standard deviations of wrong lags; inf: cannot tell.

    One loud thing that was heard twice makes a peak, and leaves nothing when it is taken out; a shared scene
    leaves plenty. 4 s are taken out, of at most a block about the candidate; under 10 s too little would be left.
    """
    lag, middle = round(candidate.lag_s * FRAME_HZ), round(candidate.at_s * FRAME_HZ)
    low = max(0, lag, middle - BLOCK_FRAMES // 2)
    seconds = round((min(a.frames, lag + b.frames, middle + BLOCK_FRAMES // 2) - low) / FRAME_HZ)
    second = round(FRAME_HZ)
    if seconds < 10:
        return math.inf
    ours = a.onsets(low, low + seconds * second)

    def agreement(shift: int) -> NDArray[np.float32]:
        theirs = b.onsets(low - lag + shift, low - lag + shift + seconds * second)
        return np.einsum("bf,bf->f", ours, theirs).reshape(seconds, second).sum(axis=1)

    wrong = np.concatenate([agreement(sign * k * second) for k in (3, 5, 7, 9, 12) for sign in (-1, 1)])
    wrong = wrong[wrong != 0]
    if len(wrong) < 10:
        return math.inf
    rest = np.sort(agreement(0))[: seconds - 4]
    return float(rest.sum() / (wrong.std() * math.sqrt(seconds)))


def correlation(
    a: NDArray[np.float32], b: NDArray[np.float32], spectra: dict[int, NDArray[np.complex64]] | None = None
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Cross-correlation of two (bands, frames) onset maps over every lag with enough overlap, summed over bands.

    Each band is whitened over modulation frequency, so that a regular beat (an idling engine, slaps on the
    hull) is no strong agreement at each of its periods. Scores are in units of the correlation's own robust
    standard deviation, at any overlap; lag l: frame t of b goes with frame t + l of a. ``spectra`` holds whitened
    spectra of ``a`` by length, and takes up new ones.
    """
    n_a, n_b = a.shape[1], b.shape[1]
    n = scipy.fft.next_fast_len(n_a + n_b, real=True)
    spectra = {} if spectra is None else spectra
    if n not in spectra:
        spectra[n] = _whitened(a, n)
    spectrum = np.einsum("bf,bf->f", spectra[n], _whitened(b, n).conj())
    every = scipy.fft.irfft(spectrum, n)
    least = int(MIN_OVERLAP_S * FRAME_HZ)
    lags = np.arange(-(n_b - least), n_a - least + 1)
    overlap = np.minimum(n_a, lags + n_b) - np.maximum(0, lags)
    score = every[lags % n] / np.sqrt(overlap)
    spread = 1.4826 * float(np.median(np.abs(score - np.median(score))))
    return lags, score / spread if spread > 0 else np.zeros(len(lags))


def _whitened(onsets: NDArray[np.float32], n: int) -> NDArray[np.complex64]:
    spectrum: NDArray[np.complex64] = scipy.fft.rfft(onsets, n, axis=1)
    power = uniform_filter1d(spectrum.real**2 + spectrum.imag**2, 25, axis=1, mode="nearest")
    level = power.mean(axis=1, keepdims=True)
    return spectrum / np.sqrt(power + 1e-3 * level + 1e-12)

"""From a candidate to a proof: the waveforms themselves compared, window by window, to a tenth of a millisecond.

Generalised cross-correlation with the phase transform: the cross-spectrum is set to unit size before it is
turned back, so every frequency that both microphones heard votes for one delay. (C. H. Knapp and G. C. Carter,
"The generalized correlation method for estimation of time delay", IEEE Trans. ASSP 24 (1976) 320-327.)

Sound of one moment is coherent nearly everywhere in the overlap: voices, engine, water. Something that was
heard twice is coherent only while it lasts. So what counts is how many seconds agree *besides* the longest
unbroken stretch of agreement, or beyond what one such event lasts.
"""

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from reelnotes.clocks.audio_features import RATE_HZ

SPEED_OF_SOUND_M_S = 343.2  # dry air at 20 °C; 331.3 at 0 °C, so a metre is 2.9 to 3.0 ms
PATH_M = 2.0  # how far apart microphones in a small boat are, as a rule
PATH_S = PATH_M / SPEED_OF_SOUND_M_S  # 5.8 ms: a source can reach one microphone this much before the other
PATH_DOUBT_S = 1.0e-3  # a third of a metre: how roughly PATH_M is known
SEARCH_S = 0.064  # about the coarse lag
BAND_HZ = (250.0, 7000.0)
PEAKS_A_WINDOW = 2
# In Gaussian noise a window of 2 x 64 ms has some 1700 independent lags: one passes 6.5 by chance in 1e7 windows.
LEAST_PEAK = 6.5
EVENT_S = 4.0  # how long something lasts that may be heard twice, alike to the waveform: a drag, an alarm
MOST_PPM = 100.0  # of two sample clocks against each other


@dataclass(frozen=True, slots=True, eq=False)
class Peaks:
    """What each window said.

    window_s  windows' length
    at_s      (windows,) middles, in seconds of the first take
    window    (peaks,) index of the window that a peak belongs to
    delay_s   (peaks,) lag minus the coarse lag: how much later than that the second take began
    height    (peaks,) standard deviations above the window's other lags
    """

    window_s: float
    at_s: NDArray[np.float64]
    window: NDArray[np.int64]
    delay_s: NDArray[np.float64]
    height: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Alignment:
    """How two takes lie, from their waveforms.

    delay_s, sigma_s   at ``about_s`` (first take's seconds), with the spread of sound paths in sigma
    slope_ppm          change of the delay over the first take's seconds, None when not measurable
    sources            delays of the sources told apart, s
    agree_s, heard_s   seconds of windows that agree, and that were compared
    longest_s          the longest unbroken stretch of agreement
    """

    delay_s: float
    sigma_s: float
    about_s: float
    slope_ppm: float | None
    slope_sigma_ppm: float | None
    sources: tuple[float, ...]
    agree_s: float
    heard_s: float
    longest_s: float
    confidence: float


def delays(a: NDArray[np.float32], b: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """GCC-PHAT of two equally long windows: (lags_s, heights), within SEARCH_S.

    A positive lag: the same sound comes later in ``a`` than in ``b``. Heights are in standard deviations of the
    correlation over its lags, taken robustly, so that peaks do not raise their own bar.
    """
    n = scipy.fft.next_fast_len(len(a) + int(SEARCH_S * RATE_HZ), real=True)
    taper = np.hanning(len(a)).astype(np.float32)
    cross = scipy.fft.rfft(a * taper, n) * scipy.fft.rfft(b * taper, n).conj()
    size = np.abs(cross)
    hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    inside = (hz >= BAND_HZ[0]) & (hz <= BAND_HZ[1])
    floor = 1e-6 * float(size[inside].mean()) + 1e-20  # bins that hold nothing but rounding do not vote
    phase = np.where(inside & (size > floor), cross / np.maximum(size, floor), 0)
    every = scipy.fft.irfft(phase, n)
    most = int(SEARCH_S * RATE_HZ)
    near = np.concatenate([every[-most:], every[: most + 1]])
    spread = 1.4826 * float(np.median(np.abs(near)))
    lags = np.arange(-most, most + 1) / RATE_HZ
    return lags, near / spread if spread > 0 else np.zeros(len(near))


def window_peaks(lags_s: NDArray[np.float64], heights: NDArray[np.float64]) -> list[tuple[float, float]]:
    """(delay_s, height) of a window's highest peaks over LEAST_PEAK, to a part of a sample by a parabola."""
    left = heights.copy()
    found = []
    for _ in range(PEAKS_A_WINDOW):
        i = int(np.argmax(left))
        if left[i] < LEAST_PEAK:
            break
        delay = lags_s[i]
        if 0 < i < len(heights) - 1:
            before, top, after = heights[i - 1 : i + 2]
            bend = before - 2 * top + after
            delay += float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) / RATE_HZ if bend < 0 else 0.0
        found.append((float(delay), float(heights[i])))
        left[max(0, i - 12) : i + 13] = 0  # 0.75 ms: nearer peaks are its side lobes
    return found


def align(peaks: Peaks) -> Alignment | None:
    """The delay that the windows agree on, or None when they do not.

    Each window's peaks belong to sources at different places, so they scatter within the sound paths;
    the clocks' drift moves them all alike. First the slope is found that draws them together most sharply,
    then the band, as wide as sound paths allow, that holds most; what lies in it agrees.
    """
    if len(peaks.delay_s) == 0:
        return None
    about = float(peaks.at_s[peaks.window].mean())
    time = peaks.at_s[peaks.window] - about
    slope = _sharpest_slope(time, peaks.delay_s)
    level = peaks.delay_s - slope * time
    inside = _fullest_band(level, peaks.height)
    voters = np.unique(peaks.window[inside])
    heard_s = len(peaks.at_s) * peaks.window_s
    agree_s = len(voters) * peaks.window_s
    longest_s = _longest_run(voters) * peaks.window_s
    slope, slope_sigma = _refined_slope(time[inside], level[inside], slope)
    level = peaks.delay_s - slope * time
    sources = _sources(level[inside], peaks.height[inside])
    low, high = min(sources), max(sources)
    width = max(0.0, 2 * PATH_S - (high - low))
    # The middle of what paths of this length leave open, evenly spread; boats differ, so never surer than PATH_DOUBT_S.
    sigma = math.hypot(width / math.sqrt(12), PATH_DOUBT_S)
    stands = slope_sigma is not None and slope_sigma < 30e-6
    return Alignment(
        (low + high) / 2,
        sigma,
        about,
        slope * 1e6 if stands else None,
        slope_sigma * 1e6 if stands and slope_sigma is not None else None,
        tuple(sources),
        agree_s,
        heard_s,
        longest_s,
        _confidence(agree_s, heard_s, longest_s, peaks.window_s),
    )


def _sharpest_slope(time: NDArray[np.float64], delay: NDArray[np.float64]) -> float:
    """The drift under which most pairs of peaks fall together, to a few ppm."""
    if len(time) < 3 or np.ptp(time) < 5.0:
        return 0.0
    # Over the span a slope step must not move the ends apart by more than the kernel's width.
    step = min(10e-6, 0.2e-3 / float(np.ptp(time)))
    slopes = np.arange(-MOST_PPM * 1e-6, MOST_PPM * 1e-6 + step / 2, step)
    gap_t, gap_d = time[:, None] - time[None, :], delay[:, None] - delay[None, :]
    near = np.triu(np.abs(gap_d) < 2 * PATH_S + MOST_PPM * 1e-6 * np.abs(gap_t), 1)
    gap_t, gap_d = gap_t[near], gap_d[near]
    sharpness = [float(np.exp(-0.5 * ((gap_d - slope * gap_t) / 0.2e-3) ** 2).sum()) for slope in slopes]
    prior = -0.5 * (slopes / 40e-6) ** 2  # a tie goes to the smaller drift: sample clocks are good to tens of ppm
    return float(slopes[int(np.argmax(np.array(sharpness) + prior))])


def _fullest_band(level: NDArray[np.float64], height: NDArray[np.float64]) -> NDArray[np.bool_]:
    """The peaks in the band of sound paths' width that holds the most height."""
    lows = np.sort(level)
    totals = [float(height[(level >= low) & (level <= low + 2 * PATH_S)].sum()) for low in lows]
    low = lows[int(np.argmax(totals))]
    return (level >= low) & (level <= low + 2 * PATH_S)


def _refined_slope(time: NDArray[np.float64], level: NDArray[np.float64], slope: float) -> tuple[float, float | None]:
    """Least squares for one slope and a level of each source; its standard uncertainty (None: too little to tell)."""
    order = np.argsort(level)
    source = np.empty(len(level), int)
    source[order] = np.concatenate([[0], np.cumsum(np.diff(level[order]) > 0.4e-3)])
    t = np.concatenate([time[source == k] - time[source == k].mean() for k in range(source.max() + 1)])
    d = np.concatenate([level[source == k] - level[source == k].mean() for k in range(source.max() + 1)])
    free = len(t) - (source.max() + 1) - 1
    moment = float(t @ t)
    if free < 3 or moment < 50.0:
        return slope, None
    change = float(t @ d) / moment
    spread = math.hypot(math.sqrt(float(((d - change * t) ** 2).sum()) / free), 0.05e-3)
    return slope + change, spread / math.sqrt(moment)


def _sources(level: NDArray[np.float64], height: NDArray[np.float64]) -> list[float]:
    """Delays of the sources: groups of peaks 0.5 ms apart, without groups of few votes (echoes, chance)."""
    order = np.argsort(level)
    cuts = np.flatnonzero(np.diff(level[order]) > 0.5e-3) + 1
    groups = np.split(order, cuts)
    votes = [float(height[group].sum()) for group in groups]
    least = max(0.08 * sum(votes), 0.0)
    kept = [g for g, v in zip(groups, votes, strict=True) if v >= least and (len(g) > 1 or len(level) < 4)]
    return [float(np.median(level[group])) for group in kept or [max(groups, key=len)]]


def _longest_run(voters: NDArray[np.int64]) -> int:
    if len(voters) == 0:
        return 0
    cuts = np.flatnonzero(np.diff(voters) > 1) + 1
    return max(len(run) for run in np.split(voters, cuts))


def _confidence(agree_s: float, heard_s: float, longest_s: float, window_s: float) -> float:
    """How surely this is one moment heard twice, and no event that happened twice.

    Seconds that agree besides the longest stretch count in full. The longest one itself counts only beyond what one
    event lasts (it may touch a window more than it fills), and little of it where it stands alone in a long overlap.
    An overlap that agrees from end to end needs less, for then the background agrees too.
    """
    event_s = EVENT_S if longest_s >= 0.5 * heard_s else 2.5 * EVENT_S
    beyond = max(agree_s - longest_s, longest_s - event_s - window_s)
    if agree_s >= 0.8 * heard_s and agree_s >= 3 * window_s:
        beyond += 0.5 * agree_s
    share = agree_s / heard_s
    return float((1 - math.exp(-max(0.0, beyond))) * min(1.0, share / 0.25))

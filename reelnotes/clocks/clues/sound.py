"""Shared sound: takes of different cameras that heard the same moment, found and lined up by ear.

    sound_coarse   every lag of every pair of takes, by their onsets: candidates
    sound_fine     the waveforms about a candidate, window by window: proof and a tenth of a millisecond

What sound cannot tell: a source that stands nearer to one microphone is heard there first, by 2.9 ms a
metre (20 °C). Two microphones two metres apart differ by up to 5.8 ms either way, and that is no clock error
but looks like one. Where several sources are heard the middle of their delays is taken, and the standard
uncertainty says what the paths leave open.
"""

import logging
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from reelnotes.clocks.audio_features import RATE_HZ, AudioFeatures, audio_features
from reelnotes.clocks.clues.sound_coarse import Candidate, Take, candidates, takes_of
from reelnotes.clocks.clues.sound_fine import Alignment, Peaks, align, delays, window_peaks
from reelnotes.media.decode import sound
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue
from reelnotes.records.problems import UnreadableError

log = logging.getLogger(__name__)

Progress = Callable[[float, str], None]

LEAST_CONFIDENCE = 0.8  # below it nothing is claimed: a false line-up is worse than none
QUICK_WINDOWS, MOST_WINDOWS = 10, 32
MEDIA_PPM = 15.0  # how true a camera's sample clock is (standard deviation): what it adds over the wait between two starts


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """Two takes, and where their lag lay at moments of the first: candidates of one and the same overlap."""

    a: int
    b: int
    at_s: tuple[float, ...]
    lag_s: tuple[float, ...]
    score: float

    def lag(self, t_s: float) -> float:
        """start(b) - start(a) as it looks at a moment of the first take, good to about 10 ms."""
        return float(np.interp(t_s, self.at_s, self.lag_s))


@dataclass(frozen=True, slots=True)
class Window:
    """A stretch of an overlap: chapter numbers in both takes, its start in each clip's own seconds and in take a's."""

    chapter_a: int
    chapter_b: int
    start_a_s: float
    start_b_s: float
    at_s: float
    length_s: float


def features_of_clips(clips: Sequence[Clip], progress: Progress | None = None) -> dict[str, AudioFeatures]:
    """Listen to every usable clip once: clip name -> features. Clips without sound are left out."""
    heard: dict[str, AudioFeatures] = {}
    for number, clip in enumerate(clips):
        if progress:
            progress(number / len(clips), f"listening to {clip.name}")
        if not clip.usable:
            continue
        try:
            features = audio_features(clip)
        except UnreadableError as error:
            log.warning("%s", error)
            continue
        if features is not None:
            heard[clip.name] = features
    return heard


def sound_clues(
    clips: Sequence[Clip], progress: Progress | None = None, features: Mapping[str, AudioFeatures] | None = None
) -> list[Clue]:
    """Every overlap of takes of different cameras that can be heard, as relative clues between chapters.

    No prior is used: offsets may be years. ``features`` (of ``features_of_clips``) spares a second listening.
    A clue's value is start(clip) - start(other) of the first pictures, in seconds; its sigma holds the sound
    paths and the cameras' own sample clocks. Nothing is claimed under LEAST_CONFIDENCE.
    """
    if features is None:
        features = features_of_clips(clips, (lambda share, what: progress(0.5 * share, what)) if progress else None)
    takes = takes_of(clips, features)
    pairs = [(a, b) for a, b in combinations(range(len(takes)), 2) if takes[a].camera != takes[b].camera]
    clues: list[Clue] = []
    for number, (a, b) in enumerate(pairs):
        if progress and number % 20 == 0:
            progress(0.5 + 0.5 * number / len(pairs), "looking for shared sound")
        try:
            clues += _pair_clues(takes, _hypotheses(candidates(a, b, takes)))
        except UnreadableError as error:  # a file that was there for listening, and is gone now
            log.warning("%s", error)
    return clues


def _hypotheses(found: Sequence[Candidate]) -> list[Hypothesis]:
    """Candidates whose lags agree (within drift over the time between them) are one hypothesis; best first."""
    groups: list[list[Candidate]] = []
    for candidate in found:
        for group in groups:
            if abs(group[0].lag_s - candidate.lag_s) < 0.05 + 1e-4 * abs(group[0].at_s - candidate.at_s):
                group.append(candidate)
                break
        else:
            groups.append([candidate])
    made = []
    for group in groups:
        group.sort(key=lambda candidate: candidate.at_s)
        at, lag = tuple(c.at_s for c in group), tuple(c.lag_s for c in group)
        made.append(Hypothesis(group[0].a, group[0].b, at, lag, math.hypot(*(c.score for c in group))))
    return sorted(made, key=lambda hypothesis: -hypothesis.score)[:3]


def _pair_clues(takes: Sequence[Take], hypotheses: Sequence[Hypothesis]) -> list[Clue]:
    """The clues of the hypothesis that the waveforms prove; none when two different ones are proved."""
    proved = []
    for hypothesis in hypotheses:
        a, b = takes[hypothesis.a], takes[hypothesis.b]
        if len(_heard(a, b, hypothesis, _windows(a, b, hypothesis, QUICK_WINDOWS)).delay_s) == 0:
            continue
        windows = _windows(a, b, hypothesis, MOST_WINDOWS)
        peaks = _heard(a, b, hypothesis, windows)
        whole = align(peaks)
        if whole is not None and whole.confidence >= LEAST_CONFIDENCE:
            proved.append((whole, a, b, hypothesis, windows, peaks))
    if not proved:
        return []
    proved.sort(key=lambda entry: -entry[0].agree_s)
    if len(proved) > 1 and proved[1][0].agree_s > 0.5 * proved[0][0].agree_s:
        log.info("%s and %s fit at more than one lag", proved[0][1].clips[0].name, proved[0][2].clips[0].name)
        return []
    return list(_chapter_clues(*proved[0]))


def _windows(a: Take, b: Take, hypothesis: Hypothesis, most: int) -> list[Window]:
    """Up to about ``most`` windows spread evenly over the overlap, each within one chapter of either take."""
    lag = hypothesis.lag(hypothesis.at_s[0])
    stretches = []
    for i, (clip_a, heard_a) in enumerate(zip(a.clips, a.features, strict=True)):
        for j, (clip_b, heard_b) in enumerate(zip(b.clips, b.features, strict=True)):
            low = max(clip_a.lead_s + max(0.0, heard_a.start_s), clip_b.lead_s + max(0.0, heard_b.start_s) + lag)
            high = min(clip_a.lead_s + heard_a.end_s, clip_b.lead_s + heard_b.end_s + lag)
            stretches.append((i, j, low + 0.1, high - 0.1))
    total = sum(max(0.0, high - low) for *_, low, high in stretches)
    # Long windows hear deeper into noise, short ones make more witnesses of a short overlap.
    length = 2.0 if total >= 16.0 else 1.0
    every = max(length, total / most)
    made = []
    for i, j, low, high in stretches:
        count = math.floor((high - low - length) / every + 1e-9) + 1
        slack = (high - low - length - (count - 1) * every) / 2
        for k in range(count):
            at = low + slack + k * every
            made.append(Window(i, j, at - a.clips[i].lead_s, at - hypothesis.lag(at) - b.clips[j].lead_s, at, length))
    return sorted(made, key=lambda window: window.at_s)


def _heard(a: Take, b: Take, hypothesis: Hypothesis, windows: Sequence[Window]) -> Peaks:
    """Compare the windows' waveforms; a window where either is silent or missing has no peak."""
    number, delay, height = [], [], []
    from_a = _samples([(a.clips[w.chapter_a], w.start_a_s, w.length_s) for w in windows])
    from_b = _samples([(b.clips[w.chapter_b], w.start_b_s, w.length_s) for w in windows])
    base = hypothesis.lag_s[0]
    for k, ((late_a, x), (late_b, y)) in enumerate(zip(from_a, from_b, strict=True)):
        if len(x) == 0 or len(x) != len(y) or min(x.std(), y.std()) < 1e-5:
            continue
        for d, h in window_peaks(*delays(x, y)):
            number.append(k)
            delay.append(d + late_a - late_b + hypothesis.lag(windows[k].at_s) - base)
            height.append(h)
    length = windows[0].length_s if windows else 1.0
    at = np.array([w.at_s + length / 2 for w in windows])
    return Peaks(length, at, np.array(number, np.int64), np.array(delay, np.float64), np.array(height, np.float64))


def _samples(wanted: Sequence[tuple[Clip, float, float]]) -> Iterator[tuple[float, NDArray[np.float32]]]:
    """For each (clip, start_s, length_s), in time order: (start of the first sample - start_s, samples), empty when
    the clip does not reach that far. Stretches that nearly touch are decoded in one go."""
    first = 0
    while first < len(wanted):
        clip, start, _ = wanted[first]
        last = first
        while last + 1 < len(wanted) and wanted[last + 1][0] is clip and wanted[last + 1][1] - sum(wanted[last][1:]) < 0.5:
            last += 1
        end = sum(wanted[last][1:])
        blocks = list(sound(clip.path, rate_hz=RATE_HZ, start_s=max(0.0, start - 0.01), end_s=end + 0.01))
        samples = np.concatenate([block.samples for block in blocks]) if blocks else np.zeros(0, np.float32)
        zero = blocks[0].time_s if blocks else 0.0
        for _, at, length in wanted[first : last + 1]:
            i, n = round((at - zero) * RATE_HZ), round(length * RATE_HZ)
            whole = 0 <= i <= len(samples) - n
            yield zero + i / RATE_HZ - at, samples[i : i + n] if whole else samples[:0]
        first = last + 1


def _chapter_clues(
    whole: Alignment, a: Take, b: Take, hypothesis: Hypothesis, windows: Sequence[Window], peaks: Peaks
) -> Iterator[Clue]:
    """One clue for each pair of chapters that overlap long enough to be measured by themselves."""
    chapters = sorted({(w.chapter_a, w.chapter_b) for w in windows})
    for i, j in chapters:
        mine = [k for k, w in enumerate(windows) if (w.chapter_a, w.chapter_b) == (i, j)]
        place = align(_only(peaks, mine)) if len(chapters) > 1 else whole
        if place is None or place.agree_s < 3 * peaks.window_s:
            continue
        clip, other = a.clips[i], b.clips[j]
        lag = hypothesis.lag_s[0] + place.delay_s + other.lead_s - clip.lead_s  # start(other) - start(clip), mid-overlap
        yield _clue(clip, other, lag, place, whole.confidence, place.about_s - clip.lead_s)


def _only(peaks: Peaks, windows: Sequence[int]) -> Peaks:
    """The peaks of some of the windows, renumbered."""
    place = {k: n for n, k in enumerate(windows)}
    keep = np.array([k in place for k in peaks.window.tolist()], bool)
    number = np.array([place[k] for k in peaks.window[keep].tolist()], np.int64)
    return Peaks(peaks.window_s, peaks.at_s[list(windows)], number, peaks.delay_s[keep], peaks.height[keep])


def _clue(clip: Clip, other: Clip, lag_s: float, place: Alignment, confidence: float, about_s: float) -> Clue:
    """The clue about two first pictures, from the lag in the middle of the overlap.

    Whichever clip began later, only the earlier one's sample clock ran in between; carried back along the slope to
    the later one's first picture, the lag is off by that clock's own error over the wait, which sound cannot tell.
    """
    slope = (place.slope_ppm or 0.0) * 1e-6
    begin_s = max(0.0, lag_s)  # in the clip's own seconds: the later of the two first pictures
    at_begin = lag_s + slope * (begin_s - about_s)
    unknown_slope = (place.slope_sigma_ppm if place.slope_sigma_ppm is not None else 2 * MEDIA_PPM) * 1e-6
    sigma = math.hypot(place.sigma_s, unknown_slope * (about_s - begin_s), MEDIA_PPM * 1e-6 * lag_s)
    words = f"{place.agree_s:.0f} of {place.heard_s:.0f} s compared sound alike in {clip.name} and {other.name}"
    return Clue(
        "sound",
        clip.name,
        -at_begin,
        sigma,
        confidence,
        other.name,
        words,
        # The lag grows while the clip counts more seconds than the other: its media clock runs fast.
        place.slope_ppm,
        place.slope_sigma_ppm,
    )

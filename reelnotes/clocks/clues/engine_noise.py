"""Engine and hull noise against the boat's speed: the one clue of a lone camera whose clock tells nothing.

The louder the motor and the water, the faster the boat, by a law that differs from boat to boat but always
rises. So the footage's loudness is laid against the track's speed at every lag, all clips of a run at once,
and the lag where they rise and fall together is the clock.

The throttle leads the boat: v' = (u - v) / tau for throttle u and a boat that answers in tau seconds. Loudness
follows u = v + tau v', so tau is searched along with the lag; a wrong tau would shift the clock by about as much.
"""

import logging
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray
from scipy.ndimage import median_filter
from scipy.optimize import isotonic_regression
from scipy.stats import binom

from reelnotes.clocks.audio_features import LOUDNESS_STEP_S, AudioFeatures, audio_features
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue

log = logging.getLogger(__name__)

Floats = NDArray[np.float64]

STEP_S = LOUDNESS_STEP_S
ANSWER_S = (0.0, 1.0, 2.0, 3.0, 4.5, 6.0, 8.0)  # how long boats take to answer the throttle
POWERS = (0.35, 0.7, 1.0)  # log loudness against speed: from soon saturated to straight
FIRST_BAND = 2  # from 160 Hz: below is wind
LEAST_COVER = 0.7  # share of the footage that must lie on the track
ROUGH_S = 30.0  # steps in which the track's reach is looked for
LONGEST_TRACK_S = 30 * 86400.0
LEAST_R = 0.75
LEAST_SPEED_CHANGE_M_S = 1.5  # standard deviation of speed over the footage: less says nothing
LEAST_LOUDNESS_CHANGE = 0.5  # standard deviation, nepers of power: about 2 dB
CHANGE_S = 10.0  # a boat takes up to this long to change its speed
LEAST_STEP = 0.5  # a clear change of loudness, in standard deviations of loudness
ALIKE = 0.4  # a change fits when speed explains at least this share of it
MOST_CHANCE = 0.05  # expected places where an unrelated track would do as well; a trip's track seldom is unrelated
LEAST_GAIN = 9.0  # log likelihood over the next best peak: 1 in 8000
REFINE_S = 15.0  # how far from the best plain correlation the fine search looks
SAME_PEAK_S = 30.0  # shoulders of a peak are no rivals
# The throttle is heard before the boat answers and before a receiver's own filter lets it through; what the fit
# leaves of that is about this much, and about this unsure (judgement, no source).
LEAD_S, SYSTEMATIC_S = 0.5, 1.0


@dataclass(frozen=True, slots=True)
class EngineMatch:
    """Where a group of clips lies on the track.

    clue        absolute, of the group's first clip
    score       correlation at the best lag, 0..1
    next_score  correlation at the best lag elsewhere
    gain        log likelihood of the best over the next
    answer_s    how long the boat takes to answer the throttle, as found
    """

    clue: Clue
    score: float
    next_score: float
    gain: float
    sigma_s: float
    answer_s: float


def engine_clue(
    clips: Sequence[Clip],
    relative_start_s: Mapping[str, float],
    speed_at: Callable[[Floats], Floats],
    window: tuple[float, float],
    features: Mapping[str, AudioFeatures] | None = None,
) -> EngineMatch | None:
    """Place clips of one run on the track by their loudness, or None when that cannot be done surely.

    relative_start_s  clip name -> start on the group's own time line, s (good to about half a second)
    speed_at          POSIX seconds (n,) -> speed over ground, m/s (n,), NaN where the track is silent
    window            earliest and latest UTC of that time line's zero
    features          of ``features_of_clips``; spares listening again

    None: no sound, no engine, no change of speed, or more than one lag that fits about as well.
    """
    if features is None:
        heard = ((clip.name, audio_features(clip)) for clip in clips if clip.usable)
        features = {name: found for name, found in heard if found is not None}
    used = [clip for clip in clips if clip.name in features and clip.name in relative_start_s]
    if not used:
        return None
    used.sort(key=lambda clip: relative_start_s[clip.name])
    first_s, loudness = _laid_out([(relative_start_s[clip.name], features[clip.name]) for clip in used])
    if np.nanstd(loudness) < LEAST_LOUDNESS_CHANGE:
        return None
    fit = _search(loudness, first_s, speed_at, window)
    if fit is None:
        return None
    zero_s, sigma_s, score, next_score, gain, answer_s = fit
    words = (
        f"loudness follows the boat's speed: correlation {score:.2f}, next best {next_score:.2f}, "
        f"over {np.isfinite(loudness).sum() * STEP_S / 60:.0f} min"
    )
    confidence = 1 - math.exp(-gain / 3)
    first = used[0].name
    clue = Clue("engine", first, zero_s + relative_start_s[first], sigma_s, confidence, words=words)
    return EngineMatch(clue, score, next_score, gain, sigma_s, answer_s)


def _laid_out(clips: Sequence[tuple[float, AudioFeatures]]) -> tuple[float, Floats]:
    """(time of the first step on the group's line, loudness at every step, NaN where no clip is)."""
    pieces = [(start + heard.loudness_start_s, _loudness(heard)) for start, heard in clips]
    first = min(at for at, _ in pieces)
    steps = max(round((at - first) / STEP_S) + len(values) for at, values in pieces)
    line = np.full(steps, np.nan)
    for at, values in pieces:
        i = round((at - first) / STEP_S)
        line[i : i + len(values)] = values
    return first, line


def _loudness(heard: AudioFeatures) -> Floats:
    """One loudness a step: the middle of the bands, each freed of words and knocks by a running median of 2.5 s."""
    bands = heard.loudness[FIRST_BAND:].astype(np.float64)
    steady: Floats = np.median(median_filter(bands, size=(1, 5), mode="nearest"), axis=0)
    return steady


def _search(
    loudness: Floats, first_s: float, speed_at: Callable[[Floats], Floats], window: tuple[float, float]
) -> tuple[float, float, float, float, float, float] | None:
    """(zero, sigma, r, next r, gain, answer) over all lags in the window, or None when no lag stands out."""
    speed, start_s = _speeds(loudness, first_s, speed_at, window)
    if speed is None:
        return None
    best_r = _best_correlation(loudness, speed)
    if not np.isfinite(best_r).any():
        return None
    k = int(np.nanargmax(best_r))
    here = np.where(np.isfinite(loudness), speed[k : k + len(loudness)], np.nan)
    if best_r[k] < LEAST_R or np.nanstd(here) < LEAST_SPEED_CHANGE_M_S:
        return None
    witnesses = _independent(loudness, here)
    likelihood = -0.5 * witnesses * np.log(1 - np.clip(best_r, 0, 0.999) ** 2)
    # The two tests look at the changes and at the levels; they share the footage, so the second counts by its root.
    chance = coincidence(loudness, speed, k) * math.sqrt(min(1.0, 100 * lonely(likelihood, k)))
    if chance > MOST_CHANCE:
        log.info("engine noise: best correlation %.2f, but an unrelated track might fit as well (%.2g)", best_r[k], chance)
        return None
    away = np.abs(np.arange(len(best_r)) - k) * STEP_S > SAME_PEAK_S
    rivals = likelihood[away & np.isfinite(likelihood)]
    next_best = float(rivals.max()) if len(rivals) else 0.0
    gain = float(likelihood[k]) - next_best
    if gain < LEAST_GAIN:
        log.info("engine noise: best lag %.2f, but only %.1f nats over the next", best_r[k], gain)
        return None
    lag_s, sigma_s, answer_s = _refined(loudness, speed, k, witnesses)
    next_r = math.sqrt(1 - math.exp(-2 * next_best / witnesses))
    zero_s = start_s + lag_s - first_s - LEAD_S
    return zero_s, math.hypot(sigma_s, SYSTEMATIC_S), float(best_r[k]), next_r, gain, answer_s


def throttle(speed: Floats, answer_s: float) -> Floats:
    """The speed that the throttle asks for, of a boat that answers in ``answer_s`` (first-order lag), m/s; NaN kept."""
    rate = np.gradient(speed, STEP_S) if len(speed) > 1 else np.zeros_like(speed)
    return np.maximum(speed + answer_s * rate, 0.0)


def _best_correlation(loudness: Floats, speed: Floats) -> Floats:
    """Best correlation at each lag over the boat's answer and a few laws of loudness, shape (lags,), NaN where too little."""
    best = np.full(len(speed) - len(loudness) + 1, np.nan)
    for answer in ANSWER_S:
        for power in POWERS:
            best = np.fmax(best, masked_correlation(loudness, throttle(speed, answer) ** power))
    return best


def _refined(loudness: Floats, speed: Floats, k: int, witnesses: float) -> tuple[float, float, float]:
    """(lag in s, its standard deviation, boat's answer): mean of the posterior about lag ``k``, any rising law.

    At each lag and answer the law is the best rising one (isotonic regression, pool adjacent violators).
    """
    heard = np.flatnonzero(np.isfinite(loudness))
    y = loudness[heard]
    reach = round(REFINE_S / STEP_S)
    rows = []
    for answer in ANSWER_S:
        law = throttle(speed, answer)
        for lag in range(max(0, k - reach), min(len(speed) - len(loudness), k + reach) + 1):
            x = law[heard + lag]
            good = np.isfinite(x)
            if good.sum() < LEAST_COVER * len(y):
                continue
            order = np.argsort(x[good], kind="stable")
            z = y[good][order]
            left = z - isotonic_regression(z).x
            rows.append((lag * STEP_S, answer, 0.5 * witnesses * -math.log(max(1e-6, float(left.var() / z.var())))))
    if not rows:
        return k * STEP_S, REFINE_S, 0.0
    lag_s, answer_s, gain = np.array(rows).T
    weight = np.exp(gain - gain.max())
    weight /= weight.sum()
    middle = float(weight @ lag_s)
    return middle, math.sqrt(float(weight @ (lag_s - middle) ** 2)), float(weight @ answer_s)


def _speeds(
    loudness: Floats, first_s: float, speed_at: Callable[[Floats], Floats], window: tuple[float, float]
) -> tuple[Floats, float] | tuple[None, float]:
    """Speeds on the step grid wherever the footage could lie, and the grid's first instant; None: no track there."""
    begin, end = window[0] + first_s, window[1] + first_s + len(loudness) * STEP_S
    known = _known(speed_at, begin, end)
    if known is None:
        return None, begin
    reach = (1 - LEAST_COVER) * len(loudness) * STEP_S + 30.0 + len(loudness) * STEP_S
    begin, end = max(begin, known[0] - reach), min(end, known[1] + reach)
    if end - begin > LONGEST_TRACK_S:
        log.warning("engine noise: the track spans %.0f days, too long for one trip", (end - begin) / 86400)
        return None, begin
    times: Floats = begin + STEP_S * np.arange(max(len(loudness), int((end - begin) / STEP_S)), dtype=np.float64)
    return np.asarray(speed_at(times), np.float64), begin


def _known(speed_at: Callable[[Floats], Floats], begin: float, end: float) -> tuple[float, float] | None:
    """First and last instant with a speed, to half a minute; looked for in pieces, for a window may be years wide."""
    first = last = None
    piece_s = 100_000 * ROUGH_S
    for piece in range(math.ceil((end - begin) / piece_s)):
        low = begin + piece * piece_s
        times: Floats = low + ROUGH_S * np.arange(math.ceil(min(piece_s, end - low) / ROUGH_S), dtype=np.float64)
        found = times[np.isfinite(speed_at(times))]
        if len(found):
            first = first if first is not None else float(found[0])
            last = float(found[-1])
    return None if first is None or last is None else (first, last)


def masked_correlation(a: Floats, b: Floats) -> Floats:
    """Pearson's r of ``a`` (n,) against ``b[k : k + n]`` for every k, over the steps where neither is NaN.

    Shape (len(b) - n + 1,); NaN where less than LEAST_COVER of a's steps have a partner. By FFT, m log m.
    """
    n, m = len(a), len(b)
    size = scipy.fft.next_fast_len(m + n, real=True)
    in_a, in_b = np.isfinite(a), np.isfinite(b)
    x = np.where(in_a, a - np.mean(a[in_a]), 0.0)
    y = np.where(in_b, b - np.mean(b[in_b]) if in_b.any() else 0.0, 0.0)

    def slid(p: Floats, q: Floats) -> Floats:
        product = scipy.fft.rfft(q, size) * scipy.fft.rfft(p, size).conj()
        out: Floats = scipy.fft.irfft(product, size)[: m - n + 1]
        return out

    wa, wb = in_a.astype(float), in_b.astype(float)
    count = np.maximum(slid(wa, wb), 1.0)
    mean_x, mean_y = slid(x, wb) / count, slid(wa, y) / count
    var_x, var_y = slid(x**2, wb) / count - mean_x**2, slid(wa, y**2) / count - mean_y**2
    good = (count >= LEAST_COVER * wa.sum()) & (var_x > 1e-6) & (var_y > 1e-6)
    r = (slid(x, y) / count - mean_x * mean_y) / np.sqrt(np.where(good, var_x * var_y, 1.0))
    return np.where(good, np.clip(r, -1, 1), np.nan)


def coincidence(loudness: Floats, speed: Floats, k: int) -> float:
    """In how many places of an unrelated, but alike restless track the changes of loudness would fit as well.

    A boat keeps its speed for minutes, so thousands of steps may hold only a few facts: the changes. Each clear
    change of loudness should find the speed changing there, the same way and by about as much under the law fitted
    at lag ``k``. By chance it does so with a probability that the track itself tells: the share of its time spent
    changing like that. One change can always be laid on another, so n changes are n - 1 facts, and there are as many
    ways to begin as the track has changes.
    """
    heard = np.flatnonzero(np.isfinite(loudness) & np.isfinite(speed[k : k + len(loudness)]))
    order = heard[np.argsort(speed[heard + k], kind="stable")]
    law = isotonic_regression(loudness[order]).x
    told = np.where(np.isfinite(speed), np.interp(speed, speed[order + k], law), np.nan)
    change, told_change = _change(loudness), _change(told)
    peaks = _steps(change, LEAST_STEP * float(np.nanstd(loudness)))
    places = len(_steps(told_change, LEAST_STEP * float(np.nanstd(loudness))))
    everywhere = told_change[np.isfinite(told_change)]
    alike = [np.sign(change[i]) * told_change[i + k] >= ALIKE * abs(change[i]) for i in peaks]
    by_chance = [float(np.mean(np.sign(change[i]) * everywhere >= ALIKE * abs(change[i]))) for i in peaks]
    if sum(alike) < 2:
        return math.inf
    return max(1, places) * float(binom.sf(sum(alike) - 2, len(peaks) - 1, max(by_chance[0], float(np.mean(by_chance)))))


def lonely(likelihood: Floats, k: int) -> float:
    """How often the best of as many places would rise so far above the others by chance.

    Heights of peaks have an exponential tail (extreme value theory); its scale is taken from the peaks above the
    median of all those farther than SAME_PEAK_S from each other and from the best.
    """
    reach = round(SAME_PEAK_S / STEP_S)
    height = np.where(np.isfinite(likelihood), likelihood, -1.0)
    best = height[k]
    height[max(0, k - reach) : k + reach + 1] = -1.0
    peaks = []
    while height[i := int(np.argmax(height))] >= 0:
        peaks.append(height[i])
        height[max(0, i - reach) : i + reach + 1] = -1.0
    if len(peaks) < 6:
        return 1.0
    middle = float(np.median(peaks))
    upper = np.array([peak - middle for peak in peaks if peak > middle])
    return float(min(1.0, len(upper) * math.exp(-(best - middle) / max(1e-6, float(upper.mean())))))


def _change(line: Floats) -> Floats:
    """How much a line changes over CHANGE_S about each step; NaN where an end is missing."""
    half = round(CHANGE_S / 2 / STEP_S)
    out = np.full(len(line), np.nan)
    out[half:-half] = line[2 * half :] - line[: -2 * half]
    return out


def _steps(change: Floats, least: float) -> list[int]:
    """Where the change is greatest, at least ``least``; one for each CHANGE_S, the greatest first."""
    size = np.where(np.isfinite(change), np.abs(change), 0.0)
    reach = round(CHANGE_S / STEP_S)
    found = []
    while len(size) and size[i := int(np.argmax(size))] >= least:
        found.append(i)
        size[max(0, i - reach) : i + reach + 1] = 0.0
    return found


def _independent(loudness: Floats, speed: Floats) -> float:
    """How many independent observations the footage amounts to (Bartlett's formula for two autocorrelated series):
    n / sum over k of rho_residual(k) rho_speed(k), from steps that follow each other in a clip."""
    both = np.isfinite(loudness) & np.isfinite(speed)
    order = np.flatnonzero(both)[np.argsort(speed[both], kind="stable")]
    residual, y = np.zeros(len(loudness)), np.zeros(len(loudness))
    residual[order] = loudness[order] - isotonic_regression(loudness[order]).x
    y[order] = speed[order] - speed[order].mean()
    total, n = 1.0, int(both.sum())
    for k in range(1, min(len(loudness) - 1, round(120 / STEP_S))):
        pairs = int((both[k:] & both[:-k]).sum())
        if pairs < 0.3 * n:
            break
        rho = float((residual[k:] * residual[:-k]).sum() / pairs) / max(1e-12, float(residual[order].var()))
        if rho < 0.02:
            break
        total += 2 * rho * max(0.0, float((y[k:] * y[:-k]).sum() / pairs) / float(y[order].var()))
    return n / total

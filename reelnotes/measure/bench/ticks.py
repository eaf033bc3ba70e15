"""Even ticks read along a board's edge: how many there are, to a fraction of one, and where they begin.

The spectrum of a thin band along the edge proposes spacings. Each is then walked from tick to tick, for a spectrum alone
cannot tell a comb of thin lines from one of half or twice its spacing: nearly every tick must be there, with none between.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

LONG_PX, ACROSS_PX = 8192, 160
FEWEST, MOST = 20, 1500
# All judgement, no source: drawn and warped rules have 0.95 and more of their ticks, 0.08 of a spacing off their places at most;
# a wrong spacing has half of them.
_PEAKS = 3  # of the spectrum, that propose a spacing
_MULTIPLES = (1, 2, 4, 5, 10)  # longer ticks stand at every second, fourth (of an inch), fifth and tenth
_NEAR = 0.25  # of a spacing, from the last one, that a tick is looked for
_FAINT = 0.35  # of the usual tick's height, from which something is a tick
_MOST_GONE, _MOST_BETWEEN = 0.15, 0.15  # share of ticks that are hidden; share of the spaces that have another tick in them
_SOON = 12  # ticks, of which so many are hidden that it is no use to walk on
_AT_EDGE = 2  # of the first ticks may be the board's edge and its shade
_LEAST_RUN = 0.6  # of the board's length
_OFF = 0.09  # of a spacing: root mean square of the ticks about a smooth course


@dataclass(frozen=True, slots=True)
class Ticks:
    """An even rule.

    count   spacings along the board, not whole
    first   how many spacings inside the board's stop end the first tick lies
    """

    count: float
    first: float


def read_ticks(photo: NDArray[np.uint8], unit: NDArray[np.float64]) -> Ticks | None:
    """The smallest even ticks along the board (length 1 in ``unit``), or None when there are none to be read.

    ``unit`` maps photo pixels to the unit square of the board, y = 0 at the edge with the rule.
    """
    stretch = np.diag([LONG_PX, ACROSS_PX, 1.0])
    grey = cv2.cvtColor(photo, cv2.COLOR_BGR2GRAY) if photo.ndim == 3 else photo
    flat = cv2.warpPerspective(grey, stretch @ unit, (LONG_PX, ACROSS_PX), flags=cv2.INTER_LINEAR).astype(np.float32)
    near = flat[: ACROSS_PX // 5]
    near = near - cv2.GaussianBlur(near, (0, 0), 40.0, sigmaY=0.1)
    # Ticks and figures are narrow and of one ink: which of the two is darker shows on all of the rule.
    near *= 1.0 if float((near.astype(np.float64) ** 3).sum()) > 0 else -1.0
    found: list[Ticks] = []
    for start in range(0, len(near) - 2, 2):  # thin bands; the smallest ticks fill only some of them
        lines = near[start : start + 3].mean(0)
        found += [ticks for count in _proposed(lines) if (ticks := _walked(lines, LONG_PX / count)) is not None]
    # Farther in than the smallest ticks reach, the longer ones are a rule of their own.
    return max(found, key=lambda ticks: ticks.count, default=None)


def _proposed(profile: NDArray[np.float32]) -> Iterator[float]:
    """Numbers of spacings that the strongest lines of the spectrum stand for, or are multiples or parts of."""
    padded = 4
    power = np.abs(np.fft.rfft(profile * np.hanning(len(profile)).astype(np.float32), padded * len(profile)))
    count = np.arange(len(power)) / padded
    usable = np.where((count >= FEWEST / max(_MULTIPLES)) & (count <= MOST), power, 0.0)
    told: list[float] = []
    for _ in range(_PEAKS):
        peak = int(np.argmax(usable))
        if usable[peak] <= 0.0:
            break
        for multiple in _MULTIPLES:
            for new in (count[peak] * multiple, count[peak] / multiple):
                if FEWEST <= new <= MOST and all(abs(new - old) > 0.5 for old in told):
                    told.append(float(new))
                    yield told[-1]
        usable[max(peak - 2 * padded, 0) : peak + 2 * padded + 1] = 0.0


def _walked(profile: NDArray[np.float32], spacing: float) -> Ticks | None:
    """The ticks about ``spacing`` samples apart, walked from the middle to both ends; None where that is no rule."""
    middle = len(profile) // 2
    begin = middle + int(np.argmax(profile[middle : middle + int(np.ceil(spacing))]))
    usual = _usual_height(profile, spacing)
    places: dict[int, float] = {}
    for step in (1, -1):
        at, k, now = float(begin), 0, spacing
        while 0 <= at < len(profile):
            if abs(k) == _SOON and len(places) < (1 - 2 * _MOST_GONE) * _SOON:
                return None
            seen = _tick_at(profile, at, spacing, usual)
            if seen is not None:
                places[k] = seen
                if abs(k) > 3 and k - 3 * step in places:  # a photo's perspective is never quite undone: the spacing drifts
                    now = float(np.clip(0.7 * now + 0.1 * abs(seen - places[k - 3 * step]), 0.9 * spacing, 1.1 * spacing))
            at, k = (seen if seen is not None else at) + step * now, k + step
    if len(places) < FEWEST // 2:
        return None
    order = sorted(places)
    numbers, x = np.array(order, np.float64), np.array([places[i] for i in order])
    there = (order[-1] - order[0] + 1) * (1 - _MOST_GONE) <= len(order) and x[-1] - x[0] >= _LEAST_RUN * len(profile)
    if not there or _between(profile, x, spacing, usual) > _MOST_BETWEEN:
        return None
    mean = float(np.polyfit(numbers, x, 1)[0])
    # A lens bends a rule smoothly, by more than its smallest ticks are apart.
    if float(np.sqrt(np.mean((x - np.polyval(np.polyfit(numbers, x, 3), numbers)) ** 2))) > _OFF * mean:
        return None
    return Ticks(len(profile) / mean, _first(numbers, x) / mean)


def _first(numbers: NDArray[np.float64], places: NDArray[np.float64]) -> float:
    """Where the first tick stands, by those after it: the board's own edge may pass for a tick out of step."""
    near = slice(_AT_EDGE, _AT_EDGE + 2 * _SOON)
    line = np.polyfit(numbers[near], places[near], 1)
    step = np.abs(places - np.polyval(line, numbers))[:_AT_EDGE] < 2 * _OFF * line[0]
    kept = int(np.argmax(step)) if step.any() else _AT_EDGE
    return float(np.polyval(line, numbers[kept]))


def _usual_height(profile: NDArray[np.float32], spacing: float) -> float:
    """The median, over the stretches of one spacing, of how far a profile rises in it."""
    wide = max(int(np.ceil(spacing)), 3)
    whole = profile[: len(profile) // wide * wide].reshape(-1, wide)
    return max(float(np.median(whole.max(axis=1) - whole.min(axis=1))), 1e-3)


def _tick_at(profile: NDArray[np.float32], at: float, spacing: float, usual: float) -> float | None:
    """Where a tick stands near a place, to a fraction of a sample; None where there is none."""
    low, high = int(max(at - _NEAR * spacing, 1)), int(min(at + _NEAR * spacing + 1, len(profile) - 2))
    if high < low:
        return None
    peak = low + int(np.argmax(profile[low : high + 1]))
    around = profile[max(int(peak - 0.6 * spacing), 0) : int(peak + 0.6 * spacing) + 1]
    a, b, c = (float(v) for v in profile[peak - 1 : peak + 2])
    if b - float(around.min()) < _FAINT * usual or b < max(a, c):
        return None
    return peak + (0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c < 0 else 0.0)


def _between(profile: NDArray[np.float32], places: NDArray[np.float64], spacing: float, usual: float) -> float:
    """Share of the spaces from tick to tick in which another one stands: the profile rises there between two falls."""
    spaces = [(a, b) for a, b in pairwise(places) if b - a < 1.5 * spacing]
    rises = []
    for a, b in spaces:
        part = profile[round(a) : round(b) + 1]
        valley = np.maximum(np.minimum.accumulate(part), np.minimum.accumulate(part[::-1])[::-1])
        rises.append(float((part - valley)[1:-1].max(initial=0.0)) > _FAINT * usual)
    return float(np.mean(rises)) if rises else 1.0

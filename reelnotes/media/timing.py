"""Frame rates from packet times: constant or variable, and the exact rational rate. Integers in, no file opened."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

# What cameras run at.
COMMON_RATES = (
    *(Fraction(whole) for whole in (8, 10, 12, 15, 20, 24, 25, 30, 48, 50, 60, 90, 100, 120, 200, 240)),
    *(Fraction(whole * 1000, 1001) for whole in (15, 24, 30, 48, 60, 120, 240)),
    Fraction(25, 2),
)


@dataclass(frozen=True, slots=True)
class Pace:
    """How a clip's frames follow each other: the rate (of a variable one, the nearest common) and which it is."""

    rate: Fraction
    variable: bool


def nearest_common_rate(rate: float, told: Sequence[Fraction] = ()) -> Fraction:
    """The common camera rate nearest to ``rate`` (> 0, frames a second), by ratio.

    A rate that wanders cannot tell 30 from 30000/1001. Of such a pair the one that the container tells is
    taken, else the whole one: devices with a wandering rate count in whole frames a second.
    """
    nearest = min(COMMON_RATES, key=lambda common: abs(np.log(float(common) / rate)))
    pair = [common for common in COMMON_RATES if abs(float(common / nearest) - 1.0) < 0.005]
    return min(pair, key=lambda common: (common not in told, common.denominator))


def pace(ticks: Sequence[int] | NDArray[np.int64], time_base: Fraction, told: Sequence[Fraction | None] = ()) -> Pace:
    """Frame times in presentation order (``time_base`` seconds a tick) -> Pace.

    A clip is constant when every frame lies within a quarter of a frame (and the tick's rounding) of the
    grid k / rate; then frame numbers and times can stand for each other. ``told``: rates the container
    names; they break ties in clips too short to tell 30 from 30000/1001, and bring in uncommon rates.
    With fewer than three frames the container is believed.
    """
    times = np.asarray(ticks, dtype=np.int64)
    believed = [_as_meant(rate) for rate in told if rate is not None and 0 < rate <= 1000]
    if len(times) < 3:
        return Pace(believed[0] if believed else Fraction(30), variable=False)
    span_s = float((int(times[-1]) - int(times[0])) * time_base)
    if span_s <= 0:
        return Pace(believed[0] if believed else Fraction(30), variable=True)
    mean = (len(times) - 1) / span_s
    exact = [rate for rate in believed if rate.denominator <= 1001]
    near = sorted({*COMMON_RATES, *exact}, key=lambda rate: abs(float(rate) / mean - 1.0))[:4]
    for rate in sorted(near, key=lambda rate: (rate not in COMMON_RATES, rate not in believed)):
        if _on_grid(times, time_base, rate):
            return Pace(rate, variable=False)
    typical = float(np.median(np.diff(times)) * float(time_base))
    return Pace(nearest_common_rate(1.0 / typical if typical > 0 else mean, believed), variable=True)


def _as_meant(rate: Fraction) -> Fraction:
    """A rate that a container could only tell as a whole number of nanoseconds (Matroska), as it was meant."""
    common = min(COMMON_RATES, key=lambda common: abs(common - rate))
    return common if abs(float(rate / common) - 1.0) < 1e-4 else rate


def _on_grid(times: NDArray[np.int64], time_base: Fraction, rate: Fraction) -> bool:
    seconds = (times - times[0]).astype(np.float64) * float(time_base)
    off = seconds - np.arange(len(times)) / float(rate)
    off -= (off.max() + off.min()) / 2  # the first frame's own rounding is no reason to fail the rest
    return bool(np.abs(off).max() <= max(0.25 / float(rate), 1.0 * float(time_base)))

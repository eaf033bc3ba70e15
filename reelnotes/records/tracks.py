"""The track: raw fixes, the cleaned and smoothed track, and its legs.

Raw fixes pass as a pandas frame with these columns (one row a fix, in time order):

    time_utc_s   float64, POSIX seconds
    lat, lon     float64, WGS 84 degrees
    speed_mps    float64 or NaN, speed over ground as the receiver gave it
    course_deg   float64 or NaN, true course as the receiver gave it
    hdop         float64 or NaN
    ele_m        float64 or NaN, above mean sea level
    source       str, the file it came from
"""

import math
from dataclasses import dataclass

import pandas as pd

LEG_KINDS = ("not moving", "under way", "trolling", "drifting", "circling")
FIX_COLUMNS = ("time_utc_s", "lat", "lon", "speed_mps", "course_deg", "hdop", "ele_m", "source")
_TELLING_MPS = 0.5 * 1852 / 3600


@dataclass(frozen=True, slots=True)
class Position:
    """Where the boat was at one instant.

    sigma_m       standard uncertainty of the place, per axis
    interpolated  True when the nearest fixes lie apart (a short gap was bridged)
    course_deg    true course over ground, None when too slow to tell
    """

    time_utc_s: float
    lat: float
    lon: float
    sigma_m: float
    speed_mps: float
    speed_sigma_mps: float
    course_deg: float | None
    interpolated: bool = False

    @property
    def speed_tells(self) -> bool:
        """Whether the speed is known to half a knot: less tells nothing of how the boat was moving."""
        return math.isfinite(self.speed_mps) and self.speed_sigma_mps < _TELLING_MPS


@dataclass(frozen=True, slots=True)
class Leg:
    """A stretch of one way of moving. ``number`` counts from 1; ``kind`` is one of LEG_KINDS."""

    number: int
    kind: str
    start_utc_s: float
    end_utc_s: float
    distance_m: float
    mean_speed_mps: float

    @property
    def label(self) -> str:
        """Short text that names the leg in tables and folders, ``03 trolling``."""
        return f"{self.number:02d} {self.kind}"


@dataclass(frozen=True)
class Track:
    """The cleaned, smoothed track.

    points   frame: time_utc_s, lat, lon, sigma_m, speed_mps, speed_sigma_mps, course_deg (NaN when slow),
             piece (int, counts up at every gap); one row a kept fix, strictly increasing time
    legs     in time order, never overlapping; none lies across a gap longer than the track bridges
    gaps     (start_utc_s, end_utc_s) stretches without fixes, kept as gaps
    dropped  reason -> number of fixes removed ("duplicate", "outlier", "no fix", ...)
    """

    points: pd.DataFrame
    legs: tuple[Leg, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()
    dropped: tuple[tuple[str, int], ...] = ()

    @property
    def empty(self) -> bool:
        """True when there is no usable fix at all."""
        return len(self.points) == 0

    def leg_at(self, t_utc_s: float) -> Leg | None:
        """The leg that holds an instant, or None."""
        return next((leg for leg in self.legs if leg.start_utc_s <= t_utc_s < leg.end_utc_s), None)

"""Creation stamps: what they can mean, and how rough they are.

A stamp's digits are known; their meaning is not. QuickTime and MP4 count seconds since 1904-01-01 and
recommend UTC, but many cameras write their local time into that field, keep summer time in winter,
or lose the date with the battery. (Apple, QuickTime File Format, "Calendar date and time values".)
"""

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

EPOCH_1904_S = -2_082_844_800.0  # 1904-01-01T00:00:00Z as POSIX seconds: 24 107 days before 1970
SET_SIGMA_S = 30.0  # how well people set a camera's clock by hand or by its app
START_DELAY_S = 0.6  # from the stamp to the first frame: 0 .. this, evenly spread: the encoder wakes up
END_DELAY_S = 0.2

# Zone offsets of the wrong half of the year stay plausible: many cameras are never changed to and from summer time.
UTC_SHARE, LOCAL_SHARE, OTHER_SEASON_SHARE = 0.35, 0.35, 0.08
# The share of camera clocks that are wrong by anything at all, spread over years before and after.
WRONG_SHARE = 0.2
WRONG_SPREAD_S = 4 * 365.25 * 86400.0


@dataclass(frozen=True, slots=True)
class Reading:
    """One meaning of a run's stamps: ``offset_s`` (add to the stamp to get UTC) with its spread, and its share of belief."""

    name: str
    offset_s: float
    sigma_s: float
    share: float


@dataclass(frozen=True, slots=True)
class Roughness:
    """Where in the seconds after its stamp a recording began (or ended): mean and standard deviation, s."""

    mean_s: float
    sigma_s: float


def roughness(marks: str, step_s: float = 1.0, named_later_s: float | None = None) -> Roughness:
    """How far the first frame lies behind the stamp (for "end": the last frame's end).

    A stamp is cut off to ``step_s``; recording then begins some tenths later. ``named_later_s`` is by how much
    the time in the file's name, itself cut off to a second and taken when the first frame was written, is later than
    the stamp (0 or 1 s when both are one clock's): it narrows the range.
    """
    delay = END_DELAY_S if marks == "end" else START_DELAY_S
    u = np.linspace(0.0, step_s + delay, 400)
    # Density of a uniform (0..step) plus a uniform (0..delay): a trapezoid.
    density = np.minimum.reduce([u / delay, np.ones_like(u), (step_s + delay - u) / delay])
    if named_later_s is not None and marks != "end" and step_s <= 1.0 and -0.5 < named_later_s < 1.5:
        inside = (u >= named_later_s - 0.05) & (u < named_later_s + 1.05)
        if density[inside].sum() > 0:
            density = np.where(inside, density, 0.0)
    density = density / density.sum()
    mean = float(np.sum(u * density))
    return Roughness(mean, math.sqrt(float(np.sum((u - mean) ** 2 * density)) + 0.05**2))


def zone_offsets_s(zone: ZoneInfo, around_utc_s: float) -> tuple[list[float], list[float]]:
    """(offsets in force within a day of an instant, the zone's other offsets of that year), seconds east of UTC.

    On the night of a change both offsets are in force: both readings of the doubled hour stay open.
    """

    def offset(t_s: float) -> float:
        delta = dt.datetime.fromtimestamp(t_s, tz=zone).utcoffset()
        return 0.0 if delta is None else delta.total_seconds()

    near = sorted({offset(around_utc_s + h * 3600.0) for h in range(-24, 25, 3)})
    year = sorted({offset(around_utc_s + d * 86400.0) for d in range(-190, 191, 10)} - set(near))
    return near, year


def readings(zone: ZoneInfo | None, around_utc_s: float, clock: str = "unknown", sigma_s: float = SET_SIGMA_S) -> list[Reading]:
    """All plausible meanings of a camera's stamps near an instant.

    clock  "utc" or "local" when the user's settings say so, else "unknown"
    """
    found = []
    if clock in ("unknown", "utc"):
        found.append(Reading("UTC", 0.0, sigma_s, UTC_SHARE))
    if clock in ("unknown", "local") and zone is not None:
        near, other = zone_offsets_s(zone, around_utc_s)
        name = "local time written as UTC"
        taken = {0.0} if clock == "unknown" else set()
        local = [(o, LOCAL_SHARE / len(near)) for o in near] + [(o, OTHER_SEASON_SHARE) for o in other]
        found += [Reading(name, -o, sigma_s, share) for o, share in local if o not in taken]
    return found


def is_date_reset(stamps: Sequence[float], trip_utc_s: float | None) -> bool:
    """Do these stamps look like a clock that began again: within three days of a factory date, and not of this trip?

    Factory dates are 1 January of a year as a rule, or the GPS epoch of 6 January 1980.
    """
    first = min(stamps)
    if trip_utc_s is not None and abs(first - trip_utc_s) < 10 * 86400.0:
        return False
    moment = dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(seconds=first)
    since = (moment - dt.datetime(moment.year, 1, 1, tzinfo=dt.UTC)).total_seconds()
    return since < 3 * 86400.0 or moment.year <= 1980

"""What was written -> instants: dates filled in, midnight passed, the hour that comes twice told apart.

Each row may mean several instants: a time without a date any of the days around, a local time in the night when clocks go
back either of two. The reading chosen for the whole log is the one that makes it shortest, going back in time costing
double (rows may stand out of order, but seldom do): a shortest path over the rows (Viterbi 1967). Where another
instant would do as well, the row says so, and its precision covers both.
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from reelnotes.intake.catchlog.times import Written
from reelnotes.records.instants import from_datetime

# What going back in time costs, against going on. So much that a step back by more than ten minutes in the night when clocks
# go back is the change, and one by less is two rows in the wrong order.
BACKWARD, ANY_BACKWARD_S = 2.0, 1800.0
FIRST_DAY_OFF_S = 3600.0  # cost of a first row on another day than the trip's
OUTSIDE_S = 3 * 3600.0  # cost of an instant outside what is known of the trip
MARGIN_S = 15 * 60.0
AS_GOOD_S = 10 * 60.0  # another reading within this cost is as good
MOST_DAYS = 14


@dataclass(frozen=True, slots=True)
class Remark:
    """What was odd about a time, and what was done about it."""

    what: str
    done: str


UNSURE = Remark(
    "this time comes twice in the night when clocks go back, and nothing tells which is meant", "both were allowed for"
)
TWICE = Remark("this time comes twice in the night when clocks go back", "the rows around it tell which")
SKIPPED = Remark("this time does not exist: clocks jumped over it that night", "it was read by the clock as it was before")


@dataclass(frozen=True, slots=True)
class Settled:
    """A row's instant. step_s grows where the reading is unsure; ``remark`` tells about it, None when all is plain."""

    time_utc_s: float
    step_s: float
    remark: Remark | None = None


@dataclass(frozen=True, slots=True)
class _Reading:
    time: float
    cost: float
    twice: bool = False  # this local time comes twice
    skipped_s: float = 0.0  # this local time does not exist: clocks jumped over it by so much


def settle(
    rows: list[Written], zone: ZoneInfo, date: dt.date | None, within: tuple[float, float] | None = None
) -> list[Settled | None]:
    """Rows in the order written -> instants, same order; None for a row without a date when nothing tells the day.

    date    the trip's local date, for rows without one before any that has one
    within  the span (UTC, POSIX seconds) in which the trip is known to lie, from its track: helps to choose, never forbids
    """
    options = [_readings(rows, k, zone, date, within) for k in range(len(rows))]
    open_rows = [k for k, readings in enumerate(options) if readings]
    total = _best_totals([options[k] for k in open_rows])
    out: list[Settled | None] = [None] * len(rows)
    for k, costs in zip(open_rows, total, strict=True):
        best = min(range(len(costs)), key=lambda n: (costs[n], options[k][n].time))
        rivals = [options[k][n] for n in range(len(costs)) if n != best and costs[n] < costs[best] + AS_GOOD_S]
        out[k] = _settled(rows[k], options[k][best], rivals)
    return out


def _settled(row: Written, best: _Reading, rivals: list[_Reading]) -> Settled:
    other = next((r for r in rivals if r.twice and best.twice and 0 < abs(r.time - best.time) <= 2 * 3600), None)
    if other is not None:
        early, late = sorted((best.time, other.time))
        return Settled(early, row.step_s + late - early, UNSURE)
    if best.twice:
        return Settled(best.time, row.step_s, TWICE)
    if best.skipped_s:
        return Settled(best.time, row.step_s + best.skipped_s, SKIPPED)
    return Settled(best.time, row.step_s)


def _readings(
    rows: list[Written], k: int, zone: ZoneInfo, date: dt.date | None, within: tuple[float, float] | None
) -> list[_Reading]:
    row = rows[k]
    if row.date is not None:
        days = [(row.date, 0.0)]
    else:
        days = _possible_days(rows, k, date)
    return [
        _Reading(r.time, cost + _outside(r.time, within), r.twice, r.skipped_s)
        for day, cost in days
        for r in _instants(row, day, zone)
    ]


def _possible_days(rows: list[Written], k: int, date: dt.date | None) -> list[tuple[dt.date, float]]:
    """Days that a time without a date may belong to, with what each costs on its own."""
    earlier = next((j for j in range(k - 1, -1, -1) if rows[j].date is not None), None)
    later = next((j for j in range(k + 1, len(rows)) if rows[j].date is not None), None)
    since = earlier if earlier is not None else 0
    # One more day for every time the clock ran backwards since the last known day.
    turns = sum(rows[j].clock_s < rows[j - 1].clock_s - 3600 for j in range(since + 1, k + 1))
    ahead = min(turns + 1, MOST_DAYS)
    if earlier is not None:
        base, back, first = rows[earlier].date, 1, False
    elif later is not None:
        base, back, first = rows[later].date, min(MOST_DAYS, 1 + len(rows)), False
    else:
        base, back, first = date, 1, k == 0
    if base is None:
        return []
    days = []
    for n in range(-back, ahead + 1):
        try:
            days.append((base + dt.timedelta(days=n), abs(n) * FIRST_DAY_OFF_S * (1.5 if n < 0 else 1.0) if first else 0.0))
        except OverflowError:
            continue
    return days


def _instants(row: Written, day: dt.date, zone: ZoneInfo) -> list[_Reading]:
    """The instants that a clock time on a day can mean: one, or two in the hour that comes twice."""
    try:
        midnight = dt.datetime(day.year, day.month, day.day)
        local = midnight + dt.timedelta(seconds=row.clock_s)
        if row.offset_s is not None:
            return [_Reading(from_datetime(local.replace(tzinfo=dt.UTC)) - row.offset_s, 0.0)]
        first, second = (local.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
        a, b = from_datetime(first.astimezone(dt.UTC)), from_datetime(second.astimezone(dt.UTC))
    except (OverflowError, ValueError):
        return []
    if a == b:
        return [_Reading(a, 0.0)]
    if a < b:
        return [_Reading(a, 0.0, twice=True), _Reading(b, 0.0, twice=True)]
    # In the gap fold 0 reads by the offset before it, fold 1 by the one after, which is earlier by the jump (PEP 495).
    return [_Reading(a, 0.0, skipped_s=a - b)]


def _outside(t: float, within: tuple[float, float] | None) -> float:
    return OUTSIDE_S if within is not None and not within[0] - MARGIN_S <= t <= within[1] + MARGIN_S else 0.0


def _step_cost(a: _Reading, b: _Reading) -> float:
    return b.time - a.time if b.time >= a.time else ANY_BACKWARD_S + BACKWARD * (a.time - b.time)


def _best_totals(options: list[list[_Reading]]) -> list[list[float]]:
    """For every reading of every row, the cost of the cheapest reading of the whole log that goes through it."""
    forward: list[list[float]] = []
    for k, readings in enumerate(options):
        ways = [
            min((f + _step_cost(a, b) for f, a in zip(forward[-1], options[k - 1], strict=True)), default=0.0) if k else 0.0
            for b in readings
        ]
        forward.append([way + b.cost for way, b in zip(ways, readings, strict=True)])
    backward = [[0.0] * len(readings) for readings in options]
    for k in range(len(options) - 2, -1, -1):
        following = list(zip(backward[k + 1], options[k + 1], strict=True))
        backward[k] = [min(rest + b.cost + _step_cost(a, b) for rest, b in following) for a in options[k]]
    return [[f + b for f, b in zip(fs, bs, strict=True)] for fs, bs in zip(forward, backward, strict=True)]

"""What a group's stamps mean, decided for the whole group at once.

A group of tied runs has one unknown: its place on the UTC line. Every plausible meaning of every run's stamps proposes
a place. Each proposal is weighed by Bayes' rule: do the other runs' stamps mean something there too; does the
footage fall into the day of the track and the log; is there footage where things were logged. Beside all of
them stands the chance that every clock of the group is simply wrong. A proposal that does not win clearly is
not taken: a group without a place is better than one an hour off.
"""

import datetime as dt
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field

from reelnotes.clocks.clues.logged_events import coverage_score, event_windows
from reelnotes.clocks.clues.stamps import WRONG_SHARE, WRONG_SPREAD_S, Reading
from reelnotes.clocks.ties import Board, Tied
from reelnotes.records.log import LogEvent
from reelnotes.records.tracks import Track

SURE = 0.97
NEAR_DAY_S = 900.0  # rigging and packing up lie this close to the track without doubt
OUTSIDE_COST = 1.0  # natural log, for each recording outside the track's time
ALL_OUTSIDE_COST = 8.0  # a camera that filmed nothing at all of the trip it lies with is a rare thing
TRUSTED_WRONG = 1e-4  # how much rarer a trusted clock is wrong
ELSEWHERE_S = 10 * 86400.0


@dataclass(frozen=True)
class Day:
    """When the trip was, as far as track and log tell: spans in UTC, and the windows of logged events."""

    spans: tuple[tuple[float, float], ...] = ()
    windows: tuple[tuple[float, float, float], ...] = ()

    @property
    def known(self) -> bool:
        """False when neither track nor log says when the trip was."""
        return bool(self.spans)

    @property
    def limits(self) -> tuple[float, float]:
        """(first, last) instant known."""
        return min(a for a, _ in self.spans), max(b for _, b in self.spans)

    @property
    def length_s(self) -> float:
        """Seconds between first and last."""
        return self.limits[1] - self.limits[0]

    def away_s(self, start_s: float, end_s: float) -> float:
        """Seconds from a stretch of footage to the nearest span; 0 when they touch."""
        return min(max(0.0, a - end_s, start_s - b) for a, b in self.spans)


def day_of(track: Track, events: Sequence[LogEvent], date: dt.date | None = None, zone: dt.tzinfo = dt.UTC) -> Day:
    """The day from the track's pieces, from the log where it lies elsewhere, and from the user's local date likewise."""
    windows = tuple(event_windows(events))
    spans: list[tuple[float, float]] = []
    if not track.empty:
        times = track.points["time_utc_s"].to_numpy()
        first = 0
        for i in range(1, len(times) + 1):
            if i == len(times) or times[i] - times[i - 1] > 4 * 3600.0:
                spans.append((float(times[first]), float(times[i - 1])))
                first = i
    for first_s, last_s in _logged_stretches(windows):
        if not spans or Day(tuple(spans)).away_s(first_s, last_s) > 2 * 3600.0:
            spans.append((first_s, last_s))
    if date is not None:
        midnight = dt.datetime.combine(date, dt.time(), tzinfo=zone).timestamp()
        if not spans or Day(tuple(spans)).away_s(midnight, midnight + 86400.0) > 0:
            spans.append((midnight, midnight + 86400.0))
    return Day(tuple(spans), windows)


def _logged_stretches(windows: Sequence[tuple[float, float, float]]) -> list[tuple[float, float]]:
    """Stretches that hold a good part of the log, half an hour wider; a row with a mistyped date makes none."""
    groups: list[list[tuple[float, float]]] = []
    for early, late, _ in sorted(windows):
        if not groups or early - groups[-1][-1][1] > 6 * 3600.0:
            groups.append([])
        groups[-1].append((early, late))
    least = max(1, round(0.3 * len(windows)))
    return [(g[0][0] - 1800.0, max(b for _, b in g) + 1800.0) for g in groups if len(g) >= least]


@dataclass(frozen=True, slots=True)
class Placed:
    """The chosen place of a group: shift to add to its line, the reading of each run that has one there, and how sure."""

    shift_s: float
    readings: dict[int, Reading]
    sure: float


@dataclass
class _Proposal:
    shift_s: float
    score: float = 0.0
    readings: dict[int, Reading] = field(default_factory=dict)


def _density(x: float, reading: Reading) -> float:
    """Student's t with 3 degrees of freedom: people's clocks have longer tails than a normal distribution."""
    z = x / reading.sigma_s
    return 0.3675525969 / reading.sigma_s * (1 + z * z / 3) ** -2


def place_group(
    table: Board,
    tied: Tied,
    group: int,
    meanings: dict[int, list[Reading]],
    day: Day,
    evidence: Callable[[float], float] | None = None,
    trusted: Collection[int] = (),
) -> Placed | None:
    """The place that the group's stamps mean, or None when none wins clearly.

    meanings   run -> its plausible readings (empty for a run whose date began again)
    evidence   shift -> log-odds of further weak clues
    trusted    runs of trusted cameras, whose clocks are hardly ever wrong by anything at all
    """
    runs = [r for r in range(len(table.runs)) if tied.group_of[r] == group]
    proposals = _proposals(runs, tied, meanings)
    if not proposals:
        return None
    spans = [
        (table.base_s[i] + tied.position_s[table.run_of[i]], table.recordings[i].duration_s)
        for i in range(len(table.recordings))
        if table.run_of[i] in runs
    ]
    footage = [(s, s + d) for s, d in spans]
    wrong = {run: WRONG_SHARE / WRONG_SPREAD_S * (TRUSTED_WRONG if run in trusted else 1.0) for run in runs}
    for proposal in proposals:
        proposal.score += _fits_day(footage, day, proposal.shift_s) + coverage_score(footage, day.windows, proposal.shift_s)
        for run in runs:
            x = tied.position_s[run] + proposal.shift_s
            shares = [(m.share * _density(x - m.offset_s, m), m) for m in meanings.get(run, [])]
            proposal.score += math.log(sum(q for q, _ in shares) + wrong[run])
            if shares and max(q for q, _ in shares) > 20 * wrong[run]:
                proposal.readings[run] = max(shares, key=lambda q: q[0])[1]
        if evidence is not None:
            proposal.score += evidence(proposal.shift_s)
    return _winner(proposals, sum(math.log(w) for w in wrong.values()))


def _proposals(runs: Sequence[int], tied: Tied, meanings: dict[int, list[Reading]]) -> list[_Proposal]:
    """One proposal a place: readings of several runs that mean the same place are averaged."""
    wanted = sorted((m.offset_s - tied.position_s[r], m.sigma_s) for r in runs for m in meanings.get(r, []))
    out: list[_Proposal] = []
    group: list[tuple[float, float]] = []
    for shift, sigma in [*wanted, (math.inf, 1.0)]:
        if group and shift - group[-1][0] > 3 * SET_NEAR_S:
            weights = [1 / s**2 for _, s in group]
            out.append(_Proposal(sum(w * x for w, (x, _) in zip(weights, group, strict=True)) / sum(weights)))
            group = []
        group.append((shift, sigma))
    return out


SET_NEAR_S = 40.0  # readings of two cameras closer than three of these may well mean one place


def _fits_day(footage: Sequence[tuple[float, float]], day: Day, shift_s: float) -> float:
    """Log prior of a place: footage lies in the day as a rule; ln of a density in 1/s."""
    if not day.known:
        return -math.log(ELSEWHERE_S)
    away = [day.away_s(a + shift_s, b + shift_s) for a, b in footage]
    outside = sum(x > NEAR_DAY_S for x in away)
    if outside == len(away):
        return -ALL_OUTSIDE_COST - math.log(ELSEWHERE_S) - math.log1p(min(away) / 86400.0)
    return -min(OUTSIDE_COST * outside, ALL_OUTSIDE_COST) - math.log(day.length_s + 2 * NEAR_DAY_S)


def _winner(proposals: Sequence[_Proposal], wrong: float) -> Placed | None:
    """The best proposal's share of all belief; ``wrong``: log belief that every clock is wrong, anywhere in the day."""
    density = [p.score for p in proposals]
    # A proposal holds the mass of a window of about one minute; "all wrong" holds the whole day's.
    mass = [d + math.log(60.0) for d in density] + [wrong]
    top = max(mass)
    total = sum(math.exp(m - top) for m in mass)
    best = max(range(len(proposals)), key=lambda i: density[i])
    sure = math.exp(mass[best] - top) / total
    if sure < SURE or not proposals[best].readings:
        return None
    return Placed(proposals[best].shift_s, proposals[best].readings, sure)

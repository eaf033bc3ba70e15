"""Which runs are tied to each other, how roughly they lie, and which relative clues contradict the rest.

Within a run the stamps tie recordings to about a second; a shared sound ties two recordings of different
runs to a millisecond. Every sound says by how much two runs' clocks differ. True ones agree with each other; a
false one stands alone, and is dropped before the fine solution ever sees it. Where the difference changes
for good at some point, a clock was set or lost there: a run is cut in two.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from reelnotes.clocks.clues.stamps import is_date_reset
from reelnotes.clocks.marks import Marks, stamped_start
from reelnotes.clocks.runs import Recording, Run
from reelnotes.records.clocks import Clue

AGREE_S = 2.5  # two recordings' stamp roughness at its worst
DRIFT = 100e-6  # two crystals' worst difference in rate
LEAST_CONFIDENCE = 0.5


@dataclass(frozen=True)
class Board:
    """All recordings on one table: where each stands by its own clock, and to which run it belongs.

    base_s    start by the camera's own clock (0 for a recording without a stamp)
    sigma_s   roughness of that
    """

    runs: tuple[Run, ...]
    recordings: tuple[Recording, ...]
    run_of: tuple[int, ...]
    base_s: tuple[float, ...]
    sigma_s: tuple[float, ...]
    home: dict[str, tuple[int, float]]  # clip name -> (recording index, lead_s)

    def members(self, run: int) -> list[int]:
        """Indices of a run's recordings."""
        return [i for i, r in enumerate(self.run_of) if r == run]


def board(runs: Sequence[Run], marks: Mapping[str, Marks]) -> Board:
    """Lay all recordings out."""
    recordings: list[Recording] = []
    run_of, base, sigma = [], [], []
    home = {}
    for number, run in enumerate(runs):
        belief = marks[run.camera]
        usual = sum(r.end_span_s for r in run.recordings) / len(run.recordings)
        for recording in run.recordings:
            for clip in recording.clips:
                home[clip.name] = (len(recordings), clip.lead_s)
            recordings.append(recording)
            run_of.append(number)
            stands = stamped_start(recording, belief)
            base.append(0.0 if stands is None else stands[0])
            sigma.append(0.0 if stands is None else math.hypot(stands[1], belief.doubt * (recording.end_span_s - usual)))
    return Board(tuple(runs), tuple(recordings), tuple(run_of), tuple(base), tuple(sigma), home)


@dataclass(frozen=True, slots=True)
class Link:
    """One relative clue as it ties two runs: offset(run_a) - offset(run_b) = delta_s, with run_a < run_b."""

    clue: Clue
    run_a: int
    run_b: int
    at_a: int  # recording indices
    at_b: int
    delta_s: float


def links(table: Board, clues: Sequence[Clue]) -> list[Link]:
    """Relative clues between two runs; those too unsure to use, and those within a run, are left out."""
    found = []
    for clue in clues:
        if clue.other is None or clue.confidence < LEAST_CONFIDENCE:
            continue
        if clue.clip not in table.home or clue.other not in table.home:
            continue
        (i, lead_i), (j, lead_j) = table.home[clue.clip], table.home[clue.other]
        delta = clue.value_s - lead_i + lead_j - table.base_s[i] + table.base_s[j]
        if table.run_of[i] == table.run_of[j]:
            continue
        if table.run_of[i] > table.run_of[j]:
            i, j, delta = j, i, -delta
        found.append(Link(clue, table.run_of[i], table.run_of[j], i, j, delta))
    return found


def _tolerance(table: Board, group: Sequence[Link]) -> float:
    starts = [table.base_s[link.at_a] for link in group]
    rough = max(table.sigma_s[link.at_a] + table.sigma_s[link.at_b] for link in group)
    return max(AGREE_S, 3 * rough) + DRIFT * (max(starts) - min(starts))


def _groups(table: Board, between: Sequence[Link]) -> list[list[Link]]:
    """Links between one pair of runs, gathered by agreeing difference, the weightiest group first."""
    left = sorted(between, key=lambda link: link.delta_s)
    width = _tolerance(table, between)
    groups = []
    while left:
        best = max(
            ([q for q in left if 0 <= q.delta_s - p.delta_s <= width] for p in left),
            key=lambda g: sum(q.clue.confidence for q in g),
        )
        groups.append(best)
        left = [q for q in left if q not in best]
    return sorted(groups, key=lambda g: (len({(q.at_a, q.at_b) for q in g}), sum(q.clue.confidence for q in g)), reverse=True)


def hidden_breaks(table: Board, clues: Sequence[Clue]) -> dict[str, bool]:
    """First clips of recordings before which a clock was set or lost although its stamps went on forward.

    Two groups of agreeing links, one wholly before the other, each of two recordings at least (of one, when the
    later stamps look like a date reset) speak for that. False: it may as well have been the other camera's clock.
    """
    found: dict[str, bool] = {}
    all_links = links(table, clues)
    for pair in {(q.run_a, q.run_b) for q in all_links}:
        groups = _groups(table, [q for q in all_links if (q.run_a, q.run_b) == pair])
        if len(groups) < 2:
            continue
        one, two = sorted(groups[:2], key=lambda g: min(q.at_a for q in g))
        here: list[tuple[str, bool]] = []
        for side in ("at_a", "at_b"):
            before, after = {getattr(q, side) for q in one}, {getattr(q, side) for q in two}
            if max(before) >= min(after):
                continue
            first = table.recordings[min(after)]
            if first.stamp_s is None:
                continue
            reset = is_date_reset([first.stamp_s], None)
            if min(len(before), len(after)) >= 2 or (reset and min(q.clue.confidence for q in two) >= 0.8):
                here.append((first.first, reset))
        resets = [name for name, reset in here if reset]
        for name in resets or [name for name, _ in here]:
            found[name] = found.get(name, False) or len(resets or here) == 1
    return found


@dataclass
class Tied:
    """Runs in groups that are tied to each other.

    group_of     run -> group number
    position_s   run -> rough offset of its clock on the group's own time line
    used, dropped  relative clues kept, and those that contradict the rest (with why)
    """

    group_of: list[int]
    position_s: list[float]
    used: list[Clue] = field(default_factory=list)
    dropped: list[tuple[Clue, str]] = field(default_factory=list)


def tie(table: Board, clues: Sequence[Clue]) -> Tied:
    """Gather runs into groups by their links, the best supported first; what closes a loop must fit it."""
    n = len(table.runs)
    tied = Tied(list(range(n)), [0.0] * n)
    all_links = links(table, clues)
    edges: list[list[Link]] = []
    for pair in sorted({(q.run_a, q.run_b) for q in all_links}):
        groups = _groups(table, [q for q in all_links if (q.run_a, q.run_b) == pair])
        edges.append(groups[0])
        for group in groups[1:]:
            tied.dropped += [(q.clue, "it contradicts the other shared sounds of the two cameras") for q in group]
    edges.sort(key=lambda g: (len({(q.at_a, q.at_b) for q in g}), sum(q.clue.confidence for q in g)), reverse=True)
    for group in edges:
        deltas = sorted(q.delta_s for q in group)
        delta, a, b = deltas[len(deltas) // 2], group[0].run_a, group[0].run_b
        if tied.group_of[a] == tied.group_of[b]:
            misfit = abs(tied.position_s[a] - tied.position_s[b] - delta)
            if misfit > 2 * _tolerance(table, group):
                why = f"it lies {misfit:.0f} s off what better supported sounds say"
                tied.dropped += [(q.clue, why) for q in group]
                continue
        else:
            shift = tied.position_s[a] - delta - tied.position_s[b]
            old, new = tied.group_of[b], tied.group_of[a]
            for run in range(n):
                if tied.group_of[run] == old:
                    tied.group_of[run] = new
                    tied.position_s[run] += shift
        tied.used += [q.clue for q in group]
    same_run = [
        c
        for c in clues
        if c.other is not None
        and c.clip in table.home
        and c.other in table.home
        and table.run_of[table.home[c.clip][0]] == table.run_of[table.home[c.other][0]]
    ]
    tied.dropped += [(c, "one camera cannot have filmed both at once") for c in same_run]
    return tied

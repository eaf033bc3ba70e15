"""Clips of another day that lie in the folder: set aside, but only on evidence, and with the reason."""

from reelnotes.clocks.hypotheses import Day
from reelnotes.clocks.outcome import Placement
from reelnotes.clocks.solver import Solution
from reelnotes.clocks.ties import Board
from reelnotes.records.instants import iso_local

OTHER_DAY_S = 12 * 3600.0


def set_aside(table: Board, solution: Solution, placement: Placement, day: Day) -> tuple[dict[str, str], tuple[str, ...]]:
    """(clip -> reason, remarks): what was filmed half a day or more from all that track, log and date tell.

    Where everything lies elsewhere it is the track that is of another day, and no clip is set aside.
    """
    if not day.known:
        return _unheard(table, solution, placement), ()
    placed = {i for i, r in enumerate(table.run_of) if placement.tier[placement.group_of[r]]}
    away = {i: day.away_s(float(solution.start_s[i]), _end(table, solution, i)) for i in placed}
    if away and min(away.values()) > OTHER_DAY_S:
        days = min(away.values()) / 86400.0
        remark = f"the clips were filmed {days:.1f} days from the track and the log: is it the right track?"
        return _unheard(table, solution, placement), (remark,)
    aside: dict[str, str] = {}
    for i, apart in away.items():
        if apart > OTHER_DAY_S:
            local = iso_local(float(solution.start_s[i]), placement.zone)[:16].replace("T", " ")
            why = f"filmed on another day: {local}, {apart / 86400:.1f} days from the trip"
            aside.update({clip.name: why for clip in table.recordings[i].clips})
    return aside | _strays(table, solution, placement, day), ()


def _end(table: Board, solution: Solution, i: int) -> float:
    return float(solution.start_s[i]) + table.recordings[i].duration_s


def _unheard(table: Board, solution: Solution, placement: Placement) -> dict[str, str]:
    """Without a track of the day: recordings days away from all those that several cameras heard within one day."""
    aside: dict[str, str] = {}
    shared = {name for clue in placement.relative for name in (clue.clip, clue.other)}
    for group in dict.fromkeys(placement.group_of):
        mine = [i for i, r in enumerate(table.run_of) if placement.group_of[r] == group]
        heard = [float(solution.start_s[i]) for i in mine if any(c.name in shared for c in table.recordings[i].clips)]
        if len(heard) < 4 or max(heard) - min(heard) > 1.5 * 86400.0:
            continue
        for i in mine:
            apart = max(min(heard) - float(solution.start_s[i]), float(solution.start_s[i]) - max(heard)) / 86400.0
            if apart > 2.5:
                why = f"filmed {apart:.1f} days from all that several cameras filmed together"
                aside.update({clip.name: why for clip in table.recordings[i].clips})
    return aside


def _strays(table: Board, solution: Solution, placement: Placement, day: Day) -> dict[str, str]:
    """Of a run without a place on the UTC line: recordings days away from the bulk of it, when the trip took no days."""
    aside: dict[str, str] = {}
    least = max(OTHER_DAY_S, day.length_s + OTHER_DAY_S / 2)
    shared = {name for clue in placement.relative for name in (clue.clip, clue.other)}
    for r in range(len(table.runs)):
        if placement.tier[placement.group_of[r]]:
            continue
        sittings: list[list[int]] = []
        for i in sorted(table.members(r), key=lambda i: float(solution.start_s[i])):
            if not sittings or float(solution.start_s[i]) - _end(table, solution, sittings[-1][-1]) > least:
                sittings.append([])
            sittings[-1].append(i)
        heard = [sum(c.name in shared for i in sitting for c in table.recordings[i].clips) for sitting in sittings]
        weight = [(h, len(sitting)) for h, sitting in zip(heard, sittings, strict=True)]
        best = max(range(len(sittings)), key=lambda k: weight[k])
        if sum(w >= weight[best] for w in weight) > 1 or weight[best] < (0, 2):
            continue
        for k, sitting in enumerate(sittings):
            if k != best and heard[k] == 0:
                apart = abs(float(solution.start_s[sitting[0]]) - float(solution.start_s[sittings[best][0]])) / 86400.0
                why = f"filmed {apart:.1f} days apart from this camera's other clips, and the trip took less"
                aside.update({clip.name: why for i in sitting for clip in table.recordings[i].clips})
    return aside

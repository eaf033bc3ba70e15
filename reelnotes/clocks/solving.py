"""The flow from clues to clocks.

    recordings -> what stamps mark -> runs -> runs tied by sound -> a place on the UTC line for each group -> fine solution

A group takes its place from the best clue that it has, in this order: the human's word, a filmed clock, trusted
clocks, the engine against the track, and last what its stamps plausibly mean. Lesser clues join in where they agree,
and are dropped and told where they do not.
"""

import logging
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from reelnotes.clocks.clues.human import mark_clues
from reelnotes.clocks.clues.position import position_score
from reelnotes.clocks.clues.stamps import Reading, readings
from reelnotes.clocks.clues.trusted import OffsetClue, trusted_sigma_s
from reelnotes.clocks.hypotheses import Day, day_of, place_group
from reelnotes.clocks.marks import Marks, choose_marks
from reelnotes.clocks.otherdays import set_aside
from reelnotes.clocks.outcome import Placement, assemble
from reelnotes.clocks.runs import Recording, Run, recordings_of, runs_of
from reelnotes.clocks.solver import solve
from reelnotes.clocks.ties import Board, Tied, board, hidden_breaks, tie
from reelnotes.records.clips import Camera
from reelnotes.records.clocks import Clocks, Clue
from reelnotes.records.folder import TripFolder
from reelnotes.records.tracks import Track

log = logging.getLogger(__name__)

TIERS = ("human", "filmed clock", "trusted", "engine", "stamps")
SURE_ENOUGH = 0.8  # confidence below which an absolute clue places nothing
LOCATED_SIGMA_S = 2.0
AS_BEFORE_SHARE = 0.3  # that a camera's clock, cut into runs on others' word, was in truth not touched
ROUGH_S = 1.5  # roughness of the stamps that carry a clue across its group

EngineClues = Callable[[dict[str, float], tuple[float, float]], Sequence[Clue]]


@dataclass
class _Group:
    """What is known of one group's place while it is worked out."""

    number: int
    shift_s: float | None = None
    tier: str = ""
    readings: dict[int, Reading] = field(default_factory=dict)


def settle(
    folder: TripFolder, track: Track, relative: Sequence[Clue], absolute: Sequence[Clue], engine: EngineClues | None = None
) -> Clocks:
    """Solve all clocks of a trip from its stamps, its settings and the clues given.

    relative   clues that tie two clips (shared sound); absolute: that place one (filmed clocks)
    engine     called for a group without a better clue: ({clip: start on the group's line}, UTC window of that line's zero)
    """
    cameras = {c.name: c for c in folder.cameras}
    recordings = recordings_of(folder.cameras, folder.clips)
    for name in recordings:
        cameras.setdefault(name, Camera(name))
    if not recordings:
        return Clocks({}, set_aside={})
    marked, problems = mark_clues(folder.settings.time_mark, folder.clips, folder.zone)
    marks = choose_marks(cameras, recordings, relative)
    table = board(_runs(recordings, marks, ()), marks)
    breaks = hidden_breaks(table, relative)
    if breaks:
        table = board(_runs(recordings, marks, breaks), marks)
    tied = tie(table, relative)
    day = day_of(track, folder.events, folder.settings.date, folder.zone)
    placer = _Placer(table, tied, cameras, marks, day, folder, [*marked, *absolute], engine, track)
    placer.unsure = {name for name, sure in breaks.items() if not sure}
    groups = placer.place_all()
    conflicts = [f"{p.where}: {p.what}; {p.done}" for p in problems] + placer.conflicts

    position = [tied.position_s[r] + (groups[tied.group_of[r]].shift_s or 0.0) for r in range(len(table.runs))]
    solution = solve(table, position, tied.used, placer.taken, placer.offsets, _anchors(table, tied, groups, position))
    placement = Placement(
        group_of=tuple(tied.group_of),
        tier={g.number: g.tier for g in groups.values()},
        readings={r: m for g in groups.values() for r, m in g.readings.items()},
        marks=marks,
        relative=tuple(c for c in tied.used if c not in solution.dropped),
        absolute=tuple(c for c in placer.taken if c not in solution.dropped),
        offsets=tuple(placer.offsets),
        dropped=(
            *tied.dropped,
            *placer.dropped,
            *((c, f"it misses the rest by {n:.1f} of its standard uncertainties") for c, n in solution.dropped.items()),
        ),
        zone=folder.zone,
    )
    aside, remarks = set_aside(table, solution, placement, day)
    return assemble(table, solution, placement, aside, (*conflicts, *remarks))


def _runs(recordings: Mapping[str, Sequence[Recording]], marks: Mapping[str, Marks], breaks: Iterable[str]) -> list[Run]:
    return [run for name, mine in recordings.items() for run in runs_of(mine, marks[name].meaning, breaks)]


def _anchors(table: Board, tied: Tied, groups: Mapping[int, _Group], position: Sequence[float]) -> list[int]:
    """The earliest recording of each group without a place."""
    found = []
    for number, group in groups.items():
        if group.shift_s is None:
            mine = [i for i, r in enumerate(table.run_of) if tied.group_of[r] == number]
            found.append(min(mine, key=lambda i: table.base_s[i] + position[table.run_of[i]]))
    return found


@dataclass(frozen=True, slots=True)
class _Pointer:
    """One absolute clue as it bears on its group: the shift that it asks for."""

    tier: str
    shift_s: float
    sigma_s: float
    clue: Clue | OffsetClue

    @property
    def words(self) -> str:
        return self.clue.words


class _Placer:
    """Finds each group's place; gathers the clues taken, those dropped, and the conflicts."""

    def __init__(
        self,
        table: Board,
        tied: Tied,
        cameras: Mapping[str, Camera],
        marks: Mapping[str, Marks],
        day: Day,
        folder: TripFolder,
        absolute: Sequence[Clue],
        engine: EngineClues | None,
        track: Track,
    ) -> None:
        self.track = track
        self.table, self.tied, self.cameras, self.marks, self.day, self.folder = table, tied, cameras, marks, day, folder
        self.engine = engine
        self.absolute = absolute
        self.taken: list[Clue] = []
        self.offsets: list[OffsetClue] = []
        self.dropped: list[tuple[Clue, str]] = []
        self.conflicts: list[str] = []
        self.known: dict[str, list[float]] = {}  # camera -> offsets of its runs that are placed
        self.unsure: set[str] = set()  # first clips of runs that another camera's clock may have cut

    def place_all(self) -> dict[int, _Group]:
        """Every group of runs, placed where its clues allow."""
        groups = {number: _Group(number) for number in dict.fromkeys(self.tied.group_of)}
        for group in groups.values():
            pointers = self._pointers(group.number)
            if not any(p.tier in ("human", "filmed clock") for p in pointers):
                pointers += self._settled_by_stamps(group, trusted_only=True) or self._heard(group.number)
            if pointers:
                self._place(group, pointers)
        # What the better placed groups told of their cameras' clocks helps with the others; large groups before small.
        left = [g for g in groups.values() if g.shift_s is None]
        for group in sorted(left, key=lambda g: -sum(len(self.table.members(r)) for r in self._runs_in(g.number))):
            self._settled_by_stamps(group, trusted_only=False)
        return groups

    # -- clues that point at one place -------------------------------------------------------------
    def _runs_in(self, number: int) -> list[int]:
        return [r for r, g in enumerate(self.tied.group_of) if g == number]

    def _pointers(self, number: int) -> list[_Pointer]:
        runs = set(self._runs_in(number))
        found: list[_Pointer] = []
        for clue in self.absolute:
            home = self.table.home.get(clue.clip)
            if home is None or self.table.run_of[home[0]] not in runs or clue.other is not None:
                continue
            if clue.confidence < SURE_ENOUGH:
                self.dropped.append((clue, "it is too unsure to place a clip"))
                continue
            found.append(self._pointer(clue))
        for run in runs:
            camera = self.cameras[self.table.runs[run].camera]
            if camera.offset_s is not None and self.table.runs[run].stamped:
                found.append(self._offset_pointer(camera, run))
        return found

    def _pointer(self, clue: Clue) -> _Pointer:
        i, lead = self.table.home[clue.clip]
        stands = self.table.base_s[i] + self.tied.position_s[self.table.run_of[i]]
        return _Pointer(clue.kind, clue.value_s - lead - stands, clue.sigma_s, clue)

    def _offset_pointer(self, camera: Camera, run: int) -> _Pointer:
        """The user's offset_s, which is added to the stamp itself, not to the reading at the first frame."""
        assert camera.offset_s is not None
        recording = self.table.runs[run].recordings[0]
        i, _ = self.table.home[recording.first]
        assert recording.stamp_s is not None
        marks = self.marks[camera.name]
        share = marks.end_share if marks.meaning == "unknown" else float(marks.meaning == "end")
        rough = self.table.base_s[i] - recording.stamp_s + share * recording.end_span_s
        value = camera.offset_s - rough
        words = f"your offset for {camera.name}: {camera.offset_s:+.2f} s (± {camera.offset_sigma_s:g} s)"
        clue = OffsetClue("human", run, value, camera.offset_sigma_s, words)
        return _Pointer("human", value - self.tied.position_s[run], camera.offset_sigma_s, clue)

    def _heard(self, number: int) -> list[_Pointer]:
        """The engine against the track, for a group that nothing better places."""
        if self.engine is None or not self.day.known:
            return []
        line = {}
        for i, r in enumerate(self.table.run_of):
            if self.tied.group_of[r] == number:
                for clip in self.table.recordings[i].clips:
                    line[clip.name] = self.table.base_s[i] + self.tied.position_s[r] + clip.lead_s
        zero, length = min(line.values()), max(line.values()) - min(line.values())
        first, last = self.day.limits
        clues = self.engine({name: at - zero for name, at in line.items()}, (first - length, last))
        log.debug("engine: %d clue(s) for a group of %d clips", len(clues), len(line))
        pointers = []
        for clue in clues:
            if clue.confidence < SURE_ENOUGH:
                self.dropped.append((clue, "it is too unsure to place a clip"))
            else:
                pointers.append(self._pointer(clue))
        return pointers

    def _place(self, group: _Group, pointers: Sequence[_Pointer]) -> None:
        """Take the best tier's place; let the rest join where they agree with it."""
        pointers = sorted(pointers, key=lambda p: (TIERS.index(p.tier), p.sigma_s))
        best = self._consensus([p for p in pointers if p.tier == pointers[0].tier])
        group.shift_s, group.tier = best.shift_s, best.tier
        for pointer in pointers:
            apart = pointer.shift_s - best.shift_s
            if abs(apart) <= 5 * math.hypot(pointer.sigma_s, best.sigma_s) + 2 * ROUGH_S:
                self._take(pointer)
                continue
            sentence = f"{best.words}; but {pointer.words}: {abs(apart):.1f} s apart, the former was taken"
            self.conflicts.append(sentence)
            if isinstance(pointer.clue, Clue):
                self.dropped.append((pointer.clue, f"it lies {apart:+.1f} s from a better clue"))
        self._name_readings(group)
        self._remember(group)

    def _remember(self, group: _Group) -> None:
        assert group.shift_s is not None
        for run in self._runs_in(group.number):
            if self.table.runs[run].stamped:
                self.known.setdefault(self.table.runs[run].camera, []).append(self.tied.position_s[run] + group.shift_s)

    @staticmethod
    def _consensus(tier: Sequence[_Pointer]) -> _Pointer:
        """Of one tier's pointers, the one that most others agree with."""

        def friends(p: _Pointer) -> int:
            return sum(abs(p.shift_s - q.shift_s) <= 5 * math.hypot(p.sigma_s, q.sigma_s) + 2 * ROUGH_S for q in tier)

        return max(tier, key=friends)

    def _take(self, pointer: _Pointer) -> None:
        if isinstance(pointer.clue, OffsetClue):
            self.offsets.append(pointer.clue)
        else:
            self.taken.append(pointer.clue)

    # -- stamps ------------------------------------------------------------------------------------
    def _meanings(self, run: int) -> list[Reading]:
        """Plausible meanings of a run's stamps, near its own date and near the trip's."""
        if not self.table.runs[run].stamped:
            return []
        name = self.table.runs[run].camera
        camera, doubt = self.cameras[name], self._end_doubt_s(run)
        around = self.day.limits[0] if self.day.known else self.table.base_s[self.table.members(run)[0]]
        own = trusted_sigma_s(camera)
        written = all(r.clips[0].stamp_is_utc for r in self.table.runs[run].recordings)
        clock = "utc" if camera.clock == "unknown" and written else camera.clock
        if own is None:
            found = readings(self.folder.zone, around, clock)
        else:
            found = readings(self.folder.zone, around, clock, sigma_s=1.0)
            if clock == "unknown":  # networks and satellites give UTC; local time is possible
                found = [replace(m, share=0.99 if m.name == "UTC" else 0.01) for m in found]
        if own is None and sum(r.clips[0].location is not None for r in self.table.runs[run].recordings) * 2 > len(
            self.table.runs[run].recordings
        ):
            # What knows its place has its time from the same satellites or network.
            found += [Reading("UTC", 0.0, LOCATED_SIGMA_S, 0.3)] if clock in ("unknown", "utc") else []
        found += [Reading("as in its other run", o, 3.0, AS_BEFORE_SHARE) for o in self.known.get(name, [])]
        return [replace(m, sigma_s=math.hypot(m.sigma_s, doubt)) for m in found]

    def _positions(self, number: int) -> Callable[[float], float] | None:
        """What the positions that a group's clips carry say of its place."""
        clips = [
            (clip, self.table.base_s[i] + self.tied.position_s[r] + clip.lead_s)
            for i, r in enumerate(self.table.run_of)
            if self.tied.group_of[r] == number
            for clip in self.table.recordings[i].clips
            if clip.location is not None
        ]
        return position_score(clips, self.track)

    def _end_doubt_s(self, run: int) -> float:
        mine = self.table.runs[run].recordings
        return self.marks[self.table.runs[run].camera].doubt * sum(r.end_span_s for r in mine) / len(mine)

    def _settled_by_stamps(self, group: _Group, *, trusted_only: bool) -> list[_Pointer]:
        """Let stamps propose a place: first only those of trusted cameras, then all. Pointers of the trusted ones."""
        runs = self._runs_in(group.number)
        trusted = {r for r in runs if self.cameras[self.table.runs[r].camera].trusted}
        if trusted_only and not trusted:
            return []
        if not trusted and any(self.table.runs[r].recordings[0].first in self.unsure for r in runs):
            return []  # one of two clocks was set here: each meaning of the stamps has the other clock wrong
        meanings = {r: self._meanings(r) for r in trusted or runs}
        placed = place_group(self.table, self.tied, group.number, meanings, self.day, self._positions(group.number), trusted)
        if placed is None:
            return []
        if trusted_only:
            return [
                _Pointer("trusted", m.offset_s - self.tied.position_s[r], m.sigma_s, self._trusted_clue(r, m))
                for r, m in placed.readings.items()
                if r in trusted
            ]
        group.shift_s, group.tier, group.readings = placed.shift_s, "stamps", placed.readings
        for run, meaning in placed.readings.items():
            words = f"{self.table.runs[run].camera}'s stamps, read as {meaning.name}, fit the day"
            self.offsets.append(OffsetClue("stamps", run, meaning.offset_s, meaning.sigma_s, words))
        self._remember(group)
        return []

    def _trusted_clue(self, run: int, meaning: Reading) -> OffsetClue:
        camera = self.cameras[self.table.runs[run].camera]
        own = trusted_sigma_s(camera) or meaning.sigma_s
        words = f"{camera.name} is trusted; its stamps read as {meaning.name}"
        return OffsetClue("trusted", run, meaning.offset_s, math.hypot(own, self._end_doubt_s(run)), words)

    def _name_readings(self, group: _Group) -> None:
        """What the stamps of a placed group turn out to mean; trusted clocks that agree join in."""
        assert group.shift_s is not None
        for run in self._runs_in(group.number):
            offset = self.tied.position_s[run] + group.shift_s
            near = [m for m in self._meanings(run) if abs(offset - m.offset_s) < max(300.0, 3 * m.sigma_s)]
            if not near:
                continue
            meaning = group.readings[run] = min(near, key=lambda m: abs(offset - m.offset_s))
            if self.cameras[self.table.runs[run].camera].trusted and not any(o.run == run for o in self.offsets):
                self._join_trusted(run, meaning, offset, group)

    def _join_trusted(self, run: int, meaning: Reading, offset: float, group: _Group) -> None:
        clue = self._trusted_clue(run, meaning)
        if abs(offset - meaning.offset_s) <= 2 * ROUGH_S + 1.0:
            self.offsets.append(clue)
        else:
            apart = offset - meaning.offset_s
            self.conflicts.append(f"{clue.words}; but the {group.tier} says otherwise by {apart:+.1f} s, and was taken")

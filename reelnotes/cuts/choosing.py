"""Moments -> shots, within the wanted running time.

The order of giving is the order of the story's needs:

    1. every event its likeliest moment, the weightiest events first
    2. what raises most the chance that an uncertain event is on screen, second for second
       and a look into clips that are not shown at all
    3. the handles around all shots, evenly
    4. more scenes and longer shots, until the time is filled

So when time is short, handles go first and the least weighty moments last.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from reelnotes.cuts.shots import Reel, Shot
from reelnotes.records.cuts import Moment
from reelnotes.records.problems import SettingsError
from reelnotes.records.rates import nominal
from reelnotes.records.settings import EditSettings
from reelnotes.records.trip import LineUp, PlacedClip

LEAST_SHOT_S = 1.5
# A shot is planned this much longer, so that rounding to frames never takes it below the least.
PLANNED_LEAST_S = LEAST_SHOT_S + 0.1
SCENE_S = 5.0
SCENE = "scene"
# Of an event whose instant is uncertain this much of the probability is sought; a further moment must add at least so much.
# Those that the story turns on (weight 0.85 and more) are sought harder.
ENOUGH_CHANCE, ENOUGH_CHANCE_OF_LESSER, TURNING_WEIGHT = 0.95, 0.7, 0.85
LEAST_CHANCE = 0.005
# Evenly grown shots are better than one endless one: they grow in steps.
GROWTH_STEP_S = 0.5
LONGEST_GROWN_S = (20.0, 60.0, math.inf)
DEFAULT_RATE = Fraction(30)


@dataclass(slots=True)
class _Plan:
    """The reel as it fills, with what is known about the wish."""

    reel: Reel
    lineup: LineUp
    wanted_s: float
    handles_s: float

    @property
    def left_s(self) -> float:
        return self.wanted_s - self.reel.length_s


def choose_shots(moments: Sequence[Moment], lineup: LineUp, settings: EditSettings, rate: Fraction) -> list[Shot]:
    """Shots for an edit at ``rate``, in story order: no instant twice, each at least LEAST_SHOT_S.

    Together they have the wanted running time where the footage allows it; without a wish, the length
    that the moments themselves need.
    """
    wanted = settings.length_s if settings.length_s is not None else math.inf
    plan = _Plan(Reel(), lineup, wanted, settings.handles_s)
    usable = {c.clip.name: c for c in lineup.clips if c.clip.usable and c.clip.duration_s >= PLANNED_LEAST_S}
    known = [m for m in moments if m.clip in usable]
    first, further = _best_of_each([m for m in known if m.kind != SCENE])
    scenes = [m for m in known if m.kind == SCENE]
    for moment in first:
        _show(plan, usable[moment.clip], moment)
    _raise_chances(plan, usable, first, [*further, *scenes])
    _add_handles(plan, first)
    if math.isfinite(wanted):
        _fill(plan, usable, scenes)
    _open_at_rate(plan, usable, rate)
    if math.isfinite(wanted):
        _trim(plan)
    return plan.reel.in_story_order()


def edit_rate(lineup: LineUp, settings: EditSettings) -> Fraction:
    """The rate of the edit: as set, else the commonest rate of the usable clips (of two, the one with more footage).

    ``29.97`` and its like are taken for what they stand for, 30000/1001. Raises SettingsError for text that is no rate.
    """
    if settings.frame_rate:
        return _rate_of(settings.frame_rate)
    votes: dict[Fraction, tuple[int, float]] = {}
    for placed in lineup.clips:
        if placed.clip.usable and placed.clip.duration_s > 0 and nominal(placed.clip.rate) < 100:
            count, seconds = votes.get(placed.clip.rate, (0, 0.0))
            votes[placed.clip.rate] = count + 1, seconds + placed.clip.duration_s
    return max(votes, key=lambda rate: (votes[rate], rate)) if votes else DEFAULT_RATE


def _rate_of(text: str) -> Fraction:
    try:
        rate = Fraction(text.strip())
    except (ValueError, ZeroDivisionError):
        rate = Fraction(0)
    if not 1 <= rate <= 240:
        raise SettingsError("trip.toml, key edit.frame_rate", f"'{text}' is no frame rate", 'write it as "30000/1001" or "25"')
    television = Fraction(nominal(rate) * 1000, 1001)
    return television if abs(rate / television - 1) < Fraction(1, 5000) else rate


def _story_key(moment: Moment) -> tuple[str, ...]:
    """Moments of one event share a key; a moment of its own is its own."""
    return ("event", moment.event) if moment.event else ("clip", moment.clip, moment.kind, f"{moment.start_s:.3f}")


def _best_of_each(moments: Sequence[Moment]) -> tuple[list[Moment], list[Moment]]:
    """(the likeliest moment of each event, weightiest first; all others)."""
    best: dict[tuple[str, ...], Moment] = {}
    for moment in moments:
        key = _story_key(moment)
        if key not in best or moment.chance > best[key].chance:
            best[key] = moment
    chosen = {id(m) for m in best.values()}
    first = sorted(best.values(), key=lambda m: (-m.weight, m.order_s, m.clip, m.start_s))
    return first, [m for m in moments if id(m) not in chosen]


def _show(plan: _Plan, placed: PlacedClip, moment: Moment) -> None:
    """Put a moment's core on the reel if there is time for it."""
    low, high = moment.core_s
    middle, least = (low + high) / 2.0, PLANNED_LEAST_S
    low, high = min(low, middle - least / 2.0), max(high, middle + least / 2.0)
    if low < 0:
        low, high = 0.0, high - low
    if high > placed.clip.duration_s:
        low, high = max(0.0, low - (high - placed.clip.duration_s)), placed.clip.duration_s
    if plan.left_s >= high - low:
        plan.reel.add(placed, low, high, least_s=PLANNED_LEAST_S, moment=moment)
    elif plan.left_s >= least:
        plan.reel.add(placed, middle - plan.left_s / 2.0, middle + plan.left_s / 2.0, least_s=least, moment=moment)


def _raise_chances(plan: _Plan, usable: dict[str, PlacedClip], first: Sequence[Moment], further: Sequence[Moment]) -> None:
    """Show further moments of uncertain events, and scenes of clips not shown yet: those first that add most
    weight times chance a second."""
    reached: dict[tuple[str, ...], float] = {}
    for moment in first:
        key = _story_key(moment)
        reached[key] = reached.get(key, 0.0) + moment.chance
    worth = sorted(further, key=lambda m: (-m.weight * m.chance / max(m.core_s[1] - m.core_s[0], 0.5), m.order_s, m.clip))
    for moment in worth:
        key = _story_key(moment)
        enough = ENOUGH_CHANCE if moment.weight >= TURNING_WEIGHT else ENOUGH_CHANCE_OF_LESSER
        if moment.chance < LEAST_CHANCE or reached.get(key, 0.0) >= enough:
            continue
        if moment.kind == SCENE and any(shot.placed.clip.name == moment.clip for shot in plan.reel.shots):
            continue
        if plan.left_s < PLANNED_LEAST_S:
            return
        _show(plan, usable[moment.clip], moment)
        reached[key] = reached.get(key, 0.0) + moment.chance


def _add_handles(plan: _Plan, first: Sequence[Moment]) -> None:
    """Handles around the shots that hold an event's likeliest moment, and scenes; not around further windows in
    which an uncertain event is merely sought."""
    worth = {id(moment) for moment in first}
    steps = max(1, math.ceil(plan.handles_s / 0.25))
    for _ in range(steps):
        for shot in plan.reel.in_story_order():
            step = min(plan.handles_s / steps, plan.left_s / 2.0)
            if step <= 1e-9:
                return
            told = any(id(m) in worth or m.kind == SCENE for m in shot.moments)
            if told and shot in plan.reel.shots:  # it may just have joined its neighbour
                plan.reel.grow(shot, step, step)


def _fill(plan: _Plan, usable: dict[str, PlacedClip], scenes: Sequence[Moment]) -> None:
    """Use up what is left of the wanted time: the liveliest scenes, longer shots, then whatever is free."""
    for scene in sorted(scenes, key=lambda m: (-m.weight, m.order_s)):
        if plan.left_s < SCENE_S:
            break
        _show(plan, usable[scene.clip], scene)
    for longest in LONGEST_GROWN_S:
        _grow(plan, longest)
        if plan.left_s > 0.5 * PLANNED_LEAST_S:
            _add_scenes(plan, list(usable.values()))
    _grow(plan, math.inf)
    if 1e-6 < plan.left_s < PLANNED_LEAST_S:
        _make_room(plan, list(usable.values()))


def _grow(plan: _Plan, longest_s: float) -> None:
    won = True
    while won and plan.left_s > 1e-6:
        won = False
        for shot in plan.reel.in_story_order():
            if plan.left_s <= 1e-6:
                return
            if shot not in plan.reel.shots or shot.length_s >= longest_s:
                continue
            step = min(GROWTH_STEP_S, plan.left_s)
            gain = plan.reel.grow(shot, step / 2.0, step / 2.0)
            if gain < step - 1e-9 and plan.left_s > 1e-6:  # one side is closed: try the other
                gain += plan.reel.grow(shot, min(step, plan.left_s), 0.0) or plan.reel.grow(shot, 0.0, min(step, plan.left_s))
            won = won or gain > 1e-6


def _make_room(plan: _Plan, clips: Sequence[PlacedClip]) -> None:
    """Where shots have grown until what is left is too short for another one: take back enough of them for that."""
    plan.wanted_s -= PLANNED_LEAST_S
    _trim(plan, spare=(True,))
    plan.wanted_s += PLANNED_LEAST_S
    _add_scenes(plan, clips)
    _grow(plan, math.inf)


def _trim(plan: _Plan, spare: Sequence[bool] = (True, False)) -> None:
    """Take back what joining shots won beyond the wanted time: outside the cores first, then from the longest shots."""
    for spare_cores in spare:
        for shot in sorted(plan.reel.shots, key=lambda s: -s.length_s):
            over = -plan.left_s
            if over <= 1e-9:
                return
            high = max([shot.start_s, *(m.core_s[1] for m in shot.moments if m.clip == shot.placed.clip.name)])
            after = min(over, shot.length_s - PLANNED_LEAST_S, shot.end_s - high if spare_cores else math.inf)
            shot.end_s -= max(0.0, after)
            low = min([shot.end_s, *(m.core_s[0] for m in shot.moments if m.clip == shot.placed.clip.name)])
            before = min(-plan.left_s, shot.length_s - PLANNED_LEAST_S, low - shot.start_s if spare_cores else math.inf)
            shot.start_s += max(0.0, before)


def _add_scenes(plan: _Plan, clips: Sequence[PlacedClip]) -> None:
    """The middle of every free stretch of the clips, placed clips first, spread over the day, while time is left."""
    order = _spread(sorted(clips, key=lambda c: c.time.start_utc_s is None))
    for leave_no_scrap in (True, False):
        for placed in order:
            for low, high in plan.reel.gaps(placed):
                if plan.left_s < PLANNED_LEAST_S:
                    return
                length = min(SCENE_S, high - low, plan.left_s)
                # A stretch used up cannot grow: what it leaves of the time must be enough for another shot.
                if length == high - low and 1e-6 < plan.left_s - length < PLANNED_LEAST_S:
                    if plan.left_s >= 2 * PLANNED_LEAST_S:
                        length = plan.left_s - PLANNED_LEAST_S
                    elif leave_no_scrap:
                        continue
                if length >= PLANNED_LEAST_S:
                    start = (low + high - length) / 2.0
                    scene = _scene(placed, start, length)
                    plan.reel.add(placed, start, start + length, least_s=PLANNED_LEAST_S, moment=scene)


def _scene(placed: PlacedClip, start_s: float, length_s: float) -> Moment:
    span = (start_s, start_s + length_s)
    order = start_s + (placed.time.start_utc_s or 0.0)
    return Moment(SCENE, placed.clip.name, *span, span, 0.1, ("a look at the day",), order)


def _open_at_rate(plan: _Plan, usable: dict[str, PlacedClip], rate: Fraction) -> None:
    """Open on a shot of the edit's own rate, where the footage has one that comes first.

    Editing programs give a new sequence the rate of its first shot (common practice), so a list that
    opens on another rate would be conformed wrongly. Either another camera shows the same instants, or
    the earliest free footage of that rate gives an opening scene: before the first shot if it can, else
    a little out of its time.
    """
    first = next(iter(plan.reel.in_story_order()), None)
    if first is None or first.placed.clip.rate == rate or first.placed.time.start_utc_s is None:
        return
    at_utc = first.placed.time.start_utc_s + first.start_s
    tied = [c for c in usable.values() if c.clip.rate == rate and c.time.start_utc_s is not None]
    for placed in tied:
        own = at_utc - (placed.time.start_utc_s or 0.0)
        if own >= 0 and own + first.length_s <= placed.clip.duration_s:
            plan.reel.swap(first, placed, own)
            return
    for placed in sorted(tied, key=lambda c: c.time.start_utc_s or 0.0):
        for low, high in plan.reel.gaps(placed):
            length = min(SCENE_S / 2.0, high - low)
            if length >= PLANNED_LEAST_S:
                moment = _scene(placed, low, length)
                plan.reel.shots.append(Shot(placed, low, low + length, [moment], leads=True))
                return


def _spread(clips: Sequence[PlacedClip]) -> list[PlacedClip]:
    """Clips reordered so that the first few of them lie far apart: halves before quarters (van der Corput order)."""
    bits = max(1, (len(clips) - 1).bit_length())
    return [clips[i] for i in sorted(range(len(clips)), key=lambda i: int(f"{i:0{bits}b}"[::-1], 2))]

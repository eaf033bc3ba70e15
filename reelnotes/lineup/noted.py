"""When a noted event really happened.

A note is written after the fact, by someone who first lands the fish, and its clock time is coarse:
``06:42`` may be cut off or rounded. So the written time is turned into a probability over the
instants before it, and that is weighed by one more thing that is known: the angler films what
matters, so an instant inside footage is likelier than one outside. Mean and spread of the result
are the event's time and its standard uncertainty.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reelnotes.records.clips import Clip
from reelnotes.records.estimates import Estimate
from reelnotes.records.log import LogEvent
from reelnotes.records.rates import seconds_to_frame
from reelnotes.records.tracks import Position, Track
from reelnotes.records.trip import PlacedClip, PlacedEvent, Sight

GRID_S = 1.0
# How much likelier an instant is when no camera ran, against one that was filmed (a judgement: people
# who film the day start a camera when something happens, but not always).
UNFILMED_WEIGHT = 0.2
# A clip is named as holding an event when it holds at least this share of the event's probability.
SIGHT_SHARE = 0.1

BOARD_WAIT_S = 45.0
# Nobody fights or lands a fish, or looks after a bait, while the boat runs to another place; but a leg's
# ends are not sharp, and a fish may have been logged for a boat that was already running.
AT_FISHING_SPEED = frozenset(("strike", "hooked", "landed", "lost", "bait check", "rig change"))
UNDER_WAY_WEIGHT = 0.1

METRES_PER_DEGREE = 111_195.0  # of a great circle on a sphere of 6 371 km: for a doubt of some metres that is enough
_PARTS = 15  # of an event's probability, at which the boat is looked up
_HELD = 0.9  # mean resultant length from which a course was held (about 25 degrees either way)

Density = tuple[NDArray[np.float64], NDArray[np.float64]]


def place_events(
    events: Sequence[LogEvent],
    clips: Sequence[PlacedClip],
    track: Track,
    position_at: Callable[[float], Position | None],
    on_board_utc_s: Mapping[str, float],
) -> tuple[PlacedEvent, ...]:
    """Logged events in time order, each with its instant, place, leg and the clips that may hold it.

    ``on_board_utc_s``: log row of a landing -> when its fish lay on a board.
    """
    filmed = [c for c in clips if c.time.start_utc_s is not None and c.clip.usable]
    placed = []
    for event in events:
        density, from_what = noted_density(event), f"{event.source}: noted late and to {event.step_s:g} s"
        if event.source in on_board_utc_s:
            density = before_the_board(density, on_board_utc_s[event.source])
            from_what += ", before the fish lay on the board"
        if event.kind in AT_FISHING_SPEED:
            density = weigh_by_boat(density, track)
        instants, share = weigh_by_footage(density, filmed)
        mean = float(np.sum(instants * share))
        sigma = float(np.sqrt(np.sum((instants - mean) ** 2 * share)))
        time = Estimate(mean, max(sigma, GRID_S), from_what)
        fishing = _not_running(instants, share, track) if event.kind in AT_FISHING_SPEED else share
        where = whereabouts((instants, fishing), mean, position_at)
        placed.append((event, time, where, _sights((instants, share), mean, filmed)))
    placed.sort(key=lambda item: (item[1].value, item[0].time_utc_s))
    return tuple(
        PlacedEvent(f"E{n:02d}", event, time, where, track.leg_at(time.value), sights)
        for n, (event, time, where, sights) in enumerate(placed, start=1)
    )


def whereabouts(density: Density, mean_utc_s: float, position_at: Callable[[float], Position | None]) -> Position | None:
    """The boat's place at the likeliest instant, as sure as that instant is; None where the track does not reach it.

    Over the half minute in which a note leaves the instant open a boat may stop, turn and run off. So the speed is its mean
    over the instants that the event may have had, and both uncertainties hold what these differ by.
    """
    here = position_at(mean_utc_s)
    instants, share = density
    # Equal parts of the probability: their middles stand for the whole of it.
    middles = np.searchsorted(np.cumsum(share), (np.arange(_PARTS) + 0.5) / _PARTS).clip(0, len(instants) - 1)
    there = [p for t in instants[middles] if (p := position_at(float(t))) is not None]
    if here is None or not there:
        return here
    north_m = np.array([p.lat - here.lat for p in there]) * METRES_PER_DEGREE
    turn = np.array([(p.lon - here.lon + 180.0) % 360.0 - 180.0 for p in there])  # across the date line
    east_m = turn * METRES_PER_DEGREE * np.cos(np.radians(here.lat))
    away_m = float(np.sqrt(np.mean(north_m**2 + east_m**2) / 2))  # per axis
    speeds = np.array([p.speed_mps for p in there])
    return replace(
        here,
        sigma_m=float(np.hypot(here.sigma_m, away_m)),
        speed_mps=float(speeds.mean()),
        speed_sigma_mps=float(np.hypot(here.speed_sigma_mps, speeds.std())),
        course_deg=here.course_deg if _one_way(there) else None,
    )


def _one_way(there: Sequence[Position]) -> bool:
    """Whether the boat held its course: the mean of the courses' unit vectors is long (Mardia and Jupp 2000)."""
    courses = np.radians([p.course_deg for p in there if p.course_deg is not None])
    return len(courses) > len(there) / 2 and bool(abs(np.exp(1j * courses).mean()) > _HELD)


def noted_density(event: LogEvent) -> Density:
    """Probability of the event's true instant on a grid of seconds, from the note alone.

    The moment of writing: uniform over what the written digits allow, whether cut off ([t, t + step))
    or rounded ([t - step/2, t + step/2)). The lateness: half-normal with two thirds within half of
    ``late_s`` (common practice, no source: people note a fish within a minute or two).
    """
    step, late = event.step_s, max(event.late_s, GRID_S)
    back = np.arange(0.0, 1.5 * late + GRID_S, GRID_S)
    lateness = np.exp(-0.5 * (back / (late / 2.0)) ** 2)
    writing = np.arange(-step / 2.0, step + GRID_S, GRID_S)
    # Cut off and rounded overlap on [0, step/2): that half is twice as likely.
    written = np.where((writing >= 0) & (writing < step / 2.0), 2.0, 1.0)
    density = np.convolve(written, lateness[::-1])
    instants = event.time_utc_s + writing[0] - back[-1] + GRID_S * np.arange(len(density))
    return instants, density / density.sum()


def weigh_by_footage(density: Density, filmed: Sequence[PlacedClip]) -> Density:
    """The density again, with instants that no camera filmed made less likely."""
    instants, share = density
    seen = np.zeros(len(instants), bool)
    for clip in filmed:
        assert clip.time.start_utc_s is not None and clip.end_utc_s is not None
        seen |= (instants >= clip.time.start_utc_s) & (instants < clip.end_utc_s)
    weighed = share * np.where(seen, 1.0, UNFILMED_WEIGHT)
    return instants, weighed / weighed.sum()


def weigh_by_boat(density: Density, track: Track) -> Density:
    """The density again, for things that are not done at full speed: instants of a leg under way are made less likely.

    Where the whole stretch is under way (some troll that fast) nothing changes.
    """
    instants, share = density
    weighed = share * np.where(_running(instants, track), UNDER_WAY_WEIGHT, 1.0)
    return instants, weighed / weighed.sum()


def _running(instants: NDArray[np.float64], track: Track) -> NDArray[np.bool_]:
    running = np.zeros(len(instants), bool)
    for leg in track.legs:
        if leg.kind == "under way":
            running |= (instants >= leg.start_utc_s) & (instants < leg.end_utc_s)
    return running


def _not_running(instants: NDArray[np.float64], share: NDArray[np.float64], track: Track) -> NDArray[np.float64]:
    """The share without instants under way, unless little else is left: a run that may just have begun tells nothing of how the
    fish was caught."""
    left = np.where(_running(instants, track), 0.0, share)
    return left / left.sum() if left.sum() > 0.5 else share


def before_the_board(density: Density, on_board_utc_s: float) -> Density:
    """The density again, for a landing whose fish was filmed on a board.

    A fish is landed before it is laid down, and is laid down soon: the wait is half-normal with
    BOARD_WAIT_S (common practice, no source: unhooked and measured within a minute or so). Where the
    note and the board cannot both be true, the note stands alone.
    """
    instants, share = density
    wait = on_board_utc_s - instants
    weighed = share * np.where(wait >= 0, np.exp(-0.5 * (np.maximum(wait, 0) / BOARD_WAIT_S) ** 2), 0.0)
    return (instants, weighed / weighed.sum()) if weighed.sum() > 1e-6 else density


def _sights(density: Density, mean: float, filmed: Sequence[PlacedClip]) -> tuple[Sight, ...]:
    instants, share = density
    found = []
    for placed in filmed:
        start, end = placed.time.start_utc_s, placed.end_utc_s
        assert start is not None and end is not None
        inside = (instants >= start) & (instants < end)
        held = float(share[inside].sum())
        if held < SIGHT_SHARE:
            continue
        # Inside this clip the likeliest instant is the mean of what the clip holds of the density.
        part = share[inside] / held
        at = float(np.sum(instants[inside] * part))
        spread = float(np.sqrt(np.sum((instants[inside] - at) ** 2 * part)))
        at = mean if start <= mean < end else at
        sigma = float(np.hypot(spread, placed.time.sigma_s or 0.0))
        found.append((held, Sight(placed.clip.name, _frame(at - start, placed.clip), at - start, max(sigma, GRID_S / 2))))
    found.sort(key=lambda item: -item[0])
    return tuple(sight for _, sight in found)


def _frame(at_s: float, clip: Clip) -> int:
    last = (clip.frames or seconds_to_frame(clip.duration_s, clip.rate)) - 1
    return max(0, min(seconds_to_frame(max(at_s, 0.0), clip.rate), last))

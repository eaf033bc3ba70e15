"""A length against the angler's own limits: clear of them, too close to call, or short of them; and the kept fish against
the bag: within it, the whole of it, over it, or not to be told.

The interval decides, never the middle value, and nothing is rounded towards a limit (reference RND-04).
"""

import difflib
from collections import defaultdict
from collections.abc import Sequence
from datetime import date, tzinfo
from functools import partial

from reelnotes.records.folder import SizeLimit
from reelnotes.records.instants import to_datetime
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem
from reelnotes.records.trip import Catch, LineUp
from reelnotes.records.units import length_words, span_words

CAUTION = "a length from a picture is no legal proof; measure the fish itself by the local rule"
BAG_CAUTION = "the log counts what was written into it, and the local rule decides what counts"

_INCH_DIGITS = 2  # rules are written to a quarter or an eighth of an inch
_Interval = tuple[float, float]


def limit_notes(
    lengths: Sequence[FishLength], lineup: LineUp, limits: Sequence[SizeLimit], zone: tzinfo, units: str
) -> tuple[str, ...]:
    """One sentence for each length whose species (by its logged catch) has a limit of size, and for each bag limit and day.

    zone: whose midnights part the days; units: "metric" | "imperial", of the sentences
    """
    species = {catch.id: catch.species for catch in lineup.catches}
    named = [(fish, species.get(fish.catch, "")) for fish in lengths if fish.verdict != "refused"]
    sizes = tuple(
        f"{fish.clip}, {name}: {against(fish, limit, units)}; {CAUTION}."
        for fish, name in named
        for limit in limits
        if name and _same(name, limit.species) and limit.tells_size
    )
    return (*sizes, *bag_notes(lineup.catches, limits, zone))


def bag_notes(catches: Sequence[Catch], limits: Sequence[SizeLimit], zone: tzinfo) -> tuple[str, ...]:
    """One sentence for each bag limit and each day on which fish of its species were landed."""
    days: dict[date, list[Catch]] = defaultdict(list)
    for catch in catches:
        if catch.outcome == "landed":
            days[to_datetime(catch.time.value).astimezone(zone).date()].append(catch)
    notes = (
        f"{limit.species}{f' on {day}' * (len(days) > 1)}: {in_the_bag(landed, limit)}; {BAG_CAUTION}."
        for limit in limits
        for day, landed in sorted(days.items())
        if limit.bag is not None and any(_same(catch.species, limit.species) for catch in landed)
    )
    return tuple(dict.fromkeys(notes))  # two sizes of one species may name its bag twice


def in_the_bag(landed: Sequence[Catch], limit: SizeLimit) -> str:
    """One day's landed fish held against one bag limit, in words: only what the log calls kept counts as kept."""
    bag = limit.bag or 0
    kept = sum(_same(catch.species, limit.species) and catch.kept is True for catch in landed)
    # A fish of which the log tells no fate, or that was kept and bears no name, may count too.
    unknown = sum(
        (_same(catch.species, limit.species) and catch.kept is None) or (not catch.species.strip() and catch.kept is not False)
        for catch in landed
    )
    text, others = f"{kept} kept by the log", f"{unknown} of unknown species or fate"
    if kept > bag:
        return f"{text}, over the bag of {bag}"
    if kept + unknown < bag:
        return f"{text}, within the bag of {bag}" + (f", also with {others}" if unknown else "")
    if kept + unknown > bag:
        return f"{text}, and {others}: too little is logged to hold them against the bag of {bag}"
    if unknown:
        return f"{text}, at most the whole bag of {bag} with {others}"
    return f"{text}, the whole bag of {bag}: no more may be kept" if bag else f"none may be kept, and {text}"


def limit_remarks(lineup: LineUp, limits: Sequence[SizeLimit]) -> tuple[Problem, ...]:
    """What to say of limits that were held against nothing, since no fish of the trip bears their species: one remark."""
    logged = sorted({catch.species.strip() for catch in lineup.catches if catch.species.strip()}, key=str.casefold)
    idle = dict.fromkeys(limit.species for limit in limits if not any(_same(limit.species, name) for name in logged))
    if not idle or not lineup.catches:
        return ()
    what = f"no fish of this trip is logged as {', '.join(idle)}"
    by_name = {name.casefold(): name for name in logged}
    near = {
        name: by_name[close[0]]
        for name in idle
        if (close := difflib.get_close_matches(name.strip().casefold(), list(by_name), n=1, cutoff=0.75))
    }
    advice = f"the log names {', '.join(logged)}" if logged else "the log names no species"
    if near:
        advice += "; " + ", ".join(f"is '{name}' its '{meant}'?" for name, meant in near.items())
    return (Problem("limits.toml", what, "there was nothing to hold against these limits", advice, serious=False),)


def against(fish: FishLength, limit: SizeLimit, units: str = "metric") -> str:
    """The length of one fish held against one limit, in words and in the trip's units."""
    interval = _interval(fish, limit.measure)
    if interval is None:
        return f"no {limit.measure} length was measured, so the limit cannot be judged"
    doubt = "" if fish.verdict == "measured" else " (the length itself needs a check)"
    said = partial(length_words, units=units, inch_digits=_INCH_DIGITS)
    parts = []
    if limit.minimum_mm is not None:
        parts.append(f"{_beyond(interval, limit.minimum_mm)} the minimum of {said(limit.minimum_mm)}")
    if limit.maximum_mm is not None:
        parts.append(f"{_within(interval, limit.maximum_mm)} the maximum of {said(limit.maximum_mm)}")
    if limit.slot_mm is not None:
        low, high = limit.slot_mm
        parts.append(f"{_slot(interval, low, high)} the protected slot of {span_words(low, high, units, _INCH_DIGITS)}")
    span = f"{span_words(*interval, units, _INCH_DIGITS)} ({limit.measure} length, 95 %)"
    return f"{span} is {', '.join(parts)}{doubt}"


def _interval(fish: FishLength, measure: str) -> _Interval | None:
    if measure == "fork":
        if fish.fork_length_mm is None or fish.u_fork_mm is None:
            return None
        return fish.fork_length_mm - 1.96 * fish.u_fork_mm, fish.fork_length_mm + 1.96 * fish.u_fork_mm
    return None if fish.low_mm is None or fish.high_mm is None else (fish.low_mm, fish.high_mm)


def _beyond(interval: _Interval, bound: float) -> str:
    if interval[0] >= bound:
        return "clear of"
    return "short of" if interval[1] < bound else "too close to call against"


def _within(interval: _Interval, bound: float) -> str:
    if interval[1] <= bound:
        return "clear of"
    return "over" if interval[0] > bound else "too close to call against"


def _slot(interval: _Interval, low: float, high: float) -> str:
    if interval[1] < low or interval[0] > high:
        return "clear of"
    return "inside" if interval[0] >= low and interval[1] <= high else "too close to call against"


def _same(a: str, b: str) -> bool:
    return a.strip().casefold() == b.strip().casefold()

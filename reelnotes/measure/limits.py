"""A length against the angler's own limits: clear of them, too close to call, or short of them.

The interval decides, never the middle value, and nothing is rounded towards a limit (reference RND-04).
"""

from collections.abc import Sequence

from reelnotes.records.folder import SizeLimit
from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import LineUp

CAUTION = "a length from a picture is no legal proof; measure the fish itself by the local rule"

_Interval = tuple[float, float]


def limit_notes(lengths: Sequence[FishLength], lineup: LineUp, limits: Sequence[SizeLimit]) -> tuple[str, ...]:
    """One sentence for each length whose species (by its logged catch) has a limit."""
    species = {catch.id: catch.species for catch in lineup.catches}
    named = [(fish, species.get(fish.catch, "")) for fish in lengths if fish.verdict != "refused"]
    return tuple(
        f"{fish.clip}, {name}: {against(fish, limit)}; {CAUTION}."
        for fish, name in named
        for limit in limits
        if name and _same(name, limit.species)
    )


def against(fish: FishLength, limit: SizeLimit) -> str:
    """The length of one fish held against one limit, in words."""
    interval = _interval(fish, limit.measure)
    if interval is None:
        return f"no {limit.measure} length was measured, so the limit cannot be judged"
    doubt = "" if fish.verdict == "measured" else " (the length itself needs a check)"
    parts = []
    if limit.minimum_mm is not None:
        parts.append(f"{_beyond(interval, limit.minimum_mm)} the minimum of {limit.minimum_mm / 10:.1f} cm")
    if limit.maximum_mm is not None:
        parts.append(f"{_within(interval, limit.maximum_mm)} the maximum of {limit.maximum_mm / 10:.1f} cm")
    if limit.slot_mm is not None:
        low, high = limit.slot_mm
        parts.append(f"{_slot(interval, low, high)} the protected slot of {low / 10:.1f} to {high / 10:.1f} cm")
    span = f"{interval[0] / 10:.1f} to {interval[1] / 10:.1f} cm ({limit.measure} length, 95 %)"
    return f"{span} is {', '.join(parts)}{doubt}" if parts else f"{span}; the rule names no size{doubt}"


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

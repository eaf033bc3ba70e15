"""Which measured fish is which logged catch.

A fish is laid on the board soon after it is landed, and before the next one is. So a length belongs
to the latest landed catch before it, within some minutes. The clip tells the time where it has one;
where a clip has no UTC place, an event seen in that same clip still tells it. The logged length
only settles a doubt between two fish; it never ties a fish to a catch at another time.
"""

from collections.abc import Iterable
from dataclasses import replace

from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import Catch, LineUp

WITHIN_S = 180.0  # from the landing to the board; common practice, no source: fish are measured at once
DOUBT_CAP_S = 120.0  # however uncertain a noted time is, no more than this is granted on either side
CLOSE_SHARE = 0.08  # a logged length agrees with a measured one when they differ by less
FAR_SHARE = 0.15  # and disagrees when they differ by more


def join_lengths(lengths: Iterable[FishLength], lineup: LineUp) -> tuple[FishLength, ...]:
    """The lengths in their order, each with ``catch`` filled where a landed catch fits; '' where none does."""
    landed = [c for c in lineup.catches if c.outcome == "landed"]
    return tuple(replace(length, catch=_catch_of(length, landed, lineup)) for length in lengths)


def _catch_of(length: FishLength, landed: list[Catch], lineup: LineUp) -> str:
    after = {c.id: delay for c in landed if (delay := _delay_s(length, c, lineup)) is not None}
    near = [
        c
        for c in landed
        if c.id in after and -_doubt_s(c, length, lineup) <= after[c.id] <= WITHIN_S + _doubt_s(c, length, lineup)
    ]
    if not near:
        return ""
    # The latest landing before the board; if all lie (just) after it by their noted times, the earliest of those.
    best = min(near, key=lambda c: (after[c.id] < 0, abs(after[c.id])))
    return _settle_by_length(length, best, near).id


def _settle_by_length(length: FishLength, best: Catch, near: list[Catch]) -> Catch:
    """Another near catch only when its logged length fits and that of the best by time clearly does not."""
    apart = {
        c.id: abs(c.logged_length_mm / length.total_length_mm - 1) for c in near if c.logged_length_mm and length.total_length_mm
    }
    if apart.get(best.id, 0.0) <= FAR_SHARE:
        return best
    fitting = [c for c in near if apart.get(c.id, 1.0) < CLOSE_SHARE]
    return min(fitting, key=lambda c: apart[c.id], default=best)


def _delay_s(length: FishLength, catch: Catch, lineup: LineUp) -> float | None:
    """Seconds from the landing to the fish on the board, or None when nothing ties the two in time."""
    clip = lineup.clip(length.clip)
    if clip is not None and clip.time.start_utc_s is not None:
        return clip.time.start_utc_s + length.start_s - catch.time.value
    for event in lineup.events:
        if event.catch == catch.id and event.event.kind == "landed":
            for sight in event.sights:
                if sight.clip == length.clip:
                    return length.start_s - sight.at_s
    return None


def _doubt_s(catch: Catch, length: FishLength, lineup: LineUp) -> float:
    """Twice the standard uncertainty of the delay, capped."""
    clip = lineup.clip(length.clip)
    of_clip = clip.time.sigma_s if clip is not None and clip.time.sigma_s is not None else 0.0
    return min(2.0 * (catch.time.sigma**2 + of_clip**2) ** 0.5 + 2.0, DOUBT_CAP_S)

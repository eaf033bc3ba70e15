"""Events told together as fish.

Reading the log in time order as an angler would: a strike or a hook-up opens a fish; landed or lost
closes it; released belongs to the fish last landed. A landed or lost fish that nobody announced is a
fish all the same; a strike that nothing follows was missed, and makes no fish.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from reelnotes.records.trip import Catch, PlacedEvent

LONGEST_FIGHT_S = 45 * 60.0
LONGEST_UNTIL_RELEASE_S = 20 * 60.0


@dataclass
class _Fish:
    events: list[PlacedEvent] = field(default_factory=list)
    outcome: str = ""


def gather_catches(events: Sequence[PlacedEvent]) -> tuple[tuple[PlacedEvent, ...], tuple[Catch, ...]]:
    """(events with their catch named, catches in time order, ids C01, C02, ...)."""
    fish: list[_Fish] = []
    opened: _Fish | None = None
    for event in events:
        kind = event.event.kind
        if kind in ("strike", "hooked"):
            if opened is not None and kind == "hooked" and _strike_only(opened) and _within(opened, event, LONGEST_FIGHT_S):
                opened.events.append(event)
            else:
                opened = _Fish([event])
        elif kind in ("landed", "lost"):
            closing = opened if opened is not None and _within(opened, event, LONGEST_FIGHT_S) else _Fish()
            closing.events.append(event)
            closing.outcome = kind
            fish.append(closing)
            opened = None
        elif kind == "released":
            _release(fish, event)
    named = {}
    catches = []
    for number, one in enumerate(fish, start=1):
        catches.append(_catch(f"C{number:02d}", one))
        named.update({event.id: catches[-1].id for event in one.events})
    return tuple(replace(event, catch=named.get(event.id, "")) for event in events), tuple(catches)


def _strike_only(fish: _Fish) -> bool:
    return all(event.event.kind == "strike" for event in fish.events)


def _within(fish: _Fish, event: PlacedEvent, limit_s: float) -> bool:
    return event.time.value - fish.events[0].time.value <= limit_s


def _release(fish: list[_Fish], event: PlacedEvent) -> None:
    """A release belongs to the last landed fish that may be it; a lone release is a fish landed and let go."""
    for one in reversed(fish):
        landed = one.events[-1]
        if one.outcome != "landed" or not _within(one, event, LONGEST_FIGHT_S + LONGEST_UNTIL_RELEASE_S):
            continue
        names = {e.event.species.casefold() for e in (landed, event) if e.event.species}
        already = any(e.event.kind == "released" for e in one.events)
        if len(names) <= 1 and not already:
            one.events.append(event)
            return
    fish.append(_Fish([event], "landed"))


def _catch(name: str, fish: _Fish) -> Catch:
    closing = next((e for e in fish.events if e.event.kind in ("landed", "lost")), fish.events[-1])
    told = [closing, *[e for e in fish.events if e is not closing]]

    def first(field_name: str):  # type: ignore[no-untyped-def]  # one of LogEvent's optional fields
        return next((v for e in told if (v := getattr(e.event, field_name)) not in (None, "")), None)

    kept = False if any(e.event.kind == "released" for e in fish.events) else first("kept")
    clips = dict.fromkeys(sight.clip for e in told for sight in e.sights)
    return Catch(
        id=name,
        outcome=fish.outcome,
        time=closing.time,
        species=first("species") or "",
        kept=kept if fish.outcome == "landed" else None,
        position=closing.position,
        leg=closing.leg,
        events=tuple(e.id for e in fish.events),
        clips=tuple(clips),
        logged_length_mm=first("length_mm"),
        logged_weight_kg=first("weight_kg"),
        bait=first("bait") or "",
        rig=first("rig") or "",
        depth_m=first("depth_m"),
        setback_m=first("setback_m"),
        rod=first("rod") or "",
        note=first("note") or "",
    )

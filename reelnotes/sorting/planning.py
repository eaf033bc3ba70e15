"""Where each clip belongs in the sorted tree.

    <local day>/00 before the water/<number, local time, camera, name>
    <local day>/<leg>/...
    <local day>/<leg>/<catch>/...        a clip that holds two catches stands under both
    <local day>/99 after the water/...
    unplaced/<camera>/<number, name>     clips whose time nothing tells

Names begin with the clip's number in time order, so each folder sorts by time even in the night on
which the clocks go back. Clips that were set aside are not in the tree.
"""

from dataclasses import dataclass
from datetime import tzinfo
from pathlib import Path, PurePosixPath

from reelnotes.records.instants import to_datetime
from reelnotes.records.tracks import Leg
from reelnotes.records.trip import Catch, LineUp, PlacedClip
from reelnotes.sorting.naming import file_name, folder_name, numbered

UNPLACED = "unplaced"
PHASES = {"before": "00 before the water", "after": "99 after the water"}
NO_LEG = "50 no leg known"


@dataclass(frozen=True, slots=True)
class Place:
    """One wanted link: where in the tree (with forward slashes), and the clip that it shows."""

    path: str
    clip: str
    source: Path


def plan_tree(lineup: LineUp, zone: tzinfo) -> tuple[Place, ...]:
    """All wanted links in path order; no two paths are alike, not even where case is ignored."""
    places: list[Place] = []
    taken: set[str] = set()
    for number, placed in enumerate(lineup.clips, start=1):
        if not placed.clip.usable:
            continue
        for folder in _folders(placed, lineup, zone):
            name = file_name(_prefix(placed, number, zone), PurePosixPath(placed.clip.name).name)
            path, count = f"{folder}/{name}", 1
            while path.casefold() in taken:
                count += 1
                path = f"{folder}/{numbered(name, count)}"
            taken.add(path.casefold())
            places.append(Place(path, placed.clip.name, placed.clip.path))
    return tuple(sorted(places, key=lambda p: p.path))


def _folders(placed: PlacedClip, lineup: LineUp, zone: tzinfo) -> list[str]:
    held = [catch for catch in lineup.catches if placed.clip.name in catch.clips]
    if held:
        return [_catch_folder(catch, placed, zone) for catch in held]
    start = placed.time.start_utc_s
    if start is None:
        return [f"{UNPLACED}/{folder_name(placed.clip.camera or 'camera')}"]
    day = to_datetime(start).astimezone(zone).date().isoformat()
    return [f"{day}/{PHASES.get(placed.when) or _leg_folder(placed.leg)}"]


def _catch_folder(catch: Catch, placed: PlacedClip, zone: tzinfo) -> str:
    """All clips of one fish stand together, under the leg on which it was landed or lost."""
    day = to_datetime(catch.time.value).astimezone(zone).date().isoformat()
    words = " ".join(word for word in (catch.id, catch.species, catch.outcome) if word)
    return f"{day}/{_leg_folder(catch.leg or placed.leg)}/{folder_name(words)}"


def _leg_folder(leg: Leg | None) -> str:
    return folder_name(leg.label) if leg else NO_LEG


def _prefix(placed: PlacedClip, number: int, zone: tzinfo) -> str:
    camera = folder_name(placed.clip.camera) if placed.clip.camera else ""
    start = placed.time.start_utc_s
    if start is None:
        return f"{number:04d} {camera}".strip()
    return f"{number:04d} {to_datetime(start).astimezone(zone):%H.%M.%S} {camera}".strip()

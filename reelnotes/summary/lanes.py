"""Coverage lanes: each camera's clips on the trip's time line, with the boat's legs and what happened.

Only per cents along the time line are worked out here; the template turns them into an SVG whose
bars stretch with the page while its letters keep their size, so that it reads on a phone.
"""

import math
from collections.abc import Callable

from reelnotes.records.instants import to_datetime
from reelnotes.records.record import TripRecord
from reelnotes.records.trip import Catch, PlacedClip
from reelnotes.summary.privacy import Published
from reelnotes.summary.told import Bar, Lane, Lanes, Tick
from reelnotes.summary.words import THIN, Words, count, duration, good_to, listed

ROW, TOP, FOOT = 46, 34, 30  # pixels: a lane, the room above the lanes, the axis below
BARE_TOP = 4  # where there are no event marks
STEPS_S = (1, 2, 5, 10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400)
CROWD_PERCENT = 8.0  # fish closer than this have no room for a label each on a phone
SEEN_PERCENT = 0.4  # a doubt narrower than this cannot be seen


class Line:
    """A stretch of time drawn as 0..100 per cent, with a little room at both ends.

    ``zone_s`` is the local clock's lead on UTC: round times are round on the local clock, for people, and
    because three-hourly marks that are round in UTC would give the zone away.
    """

    def __init__(self, start_s: float, end_s: float, zone_s: float = 0.0) -> None:
        room = 0.015 * max(end_s - start_s, 1.0)
        self.start_s, self.end_s, self.zone_s = start_s - room, end_s + room, zone_s

    def at(self, t_s: float) -> float:
        """Place of an instant, per cent, one decimal."""
        return round(100.0 * (t_s - self.start_s) / (self.end_s - self.start_s), 2)

    def width(self, length_s: float) -> float:
        """Length of a stretch, per cent."""
        return round(100.0 * length_s / (self.end_s - self.start_s), 2)


def time_line(record: TripRecord) -> Line | None:
    """The trip's time line: track, clips that have a UTC place, and events; None when there is none of them."""
    times = [
        t for p in record.lineup.clips if p.end_utc_s is not None for t in (p.time.start_utc_s, p.end_utc_s) if t is not None
    ]
    times += [t for leg in record.track.legs for t in (leg.start_utc_s, leg.end_utc_s)]
    times += [e.time.value for e in record.lineup.events]
    if not times:
        return None
    lead = to_datetime((min(times) + max(times)) / 2).astimezone(record.zone).utcoffset()
    return Line(min(times), max(times), lead.total_seconds() if lead else 0.0)


def tell_lanes(record: TripRecord, published: Published, words: Words) -> Lanes | None:
    """The coverage picture, or None when nothing lies on the time line."""
    line = time_line(record)
    if line is None:
        return None
    lanes = []
    if record.track.legs:
        bars = tuple(
            Bar(
                line.at(leg.start_utc_s),
                line.width(leg.end_utc_s - leg.start_utc_s),
                leg.kind,
                f"{leg.kind}, {words.clock(leg.start_utc_s)} to {words.clock(leg.end_utc_s)}",
            )
            for leg in record.track.legs
        )
        lanes.append(Lane("Boat", "from the track", bars, TOP))
    said = []
    for name, clips in _by_camera(record, "utc").items():
        shown = published.camera(name)
        bars = tuple(_clip_bar(p, line, published, words) for p in clips)
        lanes.append(Lane(shown, good_to(p.time.sigma_s for p in clips), bars, TOP + ROW * len(lanes)))
        filmed = sum(p.clip.duration_s for p in clips)
        first, last = clips[0].time.start_utc_s, clips[-1].end_utc_s
        assert first is not None and last is not None
        span = f"between {words.clock(first)} and {words.clock(last)}"
        said.append(f"{shown}: {count(len(clips), 'clip')}, {duration(filmed)} of film {span}.")
    bottom = TOP + ROW * len(lanes)
    return Lanes(
        title="What was filmed, on the trip's time line",
        words=" ".join(said) or "No clip could be placed on the time line.",
        lanes=tuple(lanes),
        events=_events(record, line, words),
        axis=_ticks(line, lambda t, step: words.clock(t, seconds=step < 60)),
        height=bottom + FOOT,
        top=TOP,
        bottom=bottom,
        kinds=tuple(dict.fromkeys(leg.kind for leg in record.track.legs)),
    )


def tell_relative_lanes(record: TripRecord, published: Published) -> tuple[Lanes, ...]:
    """For each group of clips placed only against each other, a picture on the group's own time."""
    groups: dict[int, list[PlacedClip]] = {}
    for p in record.lineup.clips:
        if p.time.placed == "relative" and p.time.relative_start_s is not None:
            groups.setdefault(p.time.group, []).append(p)
    return tuple(_relative(clips, published) for clips in groups.values())


def _relative(clips: list[PlacedClip], published: Published) -> Lanes:
    starts = [p.time.relative_start_s or 0.0 for p in clips]
    line = Line(min(starts), max(s + p.clip.duration_s for s, p in zip(starts, clips, strict=True)))
    cameras = list(dict.fromkeys(p.clip.camera for p in clips))
    lanes = []
    for i, camera in enumerate(cameras):
        bars = tuple(
            Bar(line.at(s), line.width(p.clip.duration_s), "clip", published.clip(p.clip.name))
            for s, p in zip(starts, clips, strict=True)
            if p.clip.camera == camera
        )
        lanes.append(Lane(published.camera(camera), "", bars, BARE_TOP + ROW * i))
    bottom = BARE_TOP + ROW * len(lanes)
    names = listed([published.camera(camera) for camera in cameras])
    words = f"{count(len(clips), 'clip')} of {names}: lined up with each other, but nothing ties them to the time of day."
    axis = _ticks(line, _elapsed)
    return Lanes(f"Placed only against each other: {names}", words, tuple(lanes), (), axis, bottom + FOOT, BARE_TOP, bottom)


def _elapsed(t_s: float, step_s: float) -> str:
    """Time since the first clip of a group: ``+1:30`` (minutes and seconds), ``+6 h``, ``+2 days``."""
    if step_s < 3600:
        minutes, seconds = divmod(round(t_s), 60)
        return f"+{minutes}:{seconds:02d}"
    return f"+{t_s / 3600:.0f}{THIN}h" if step_s < 86400 else f"+{count(round(t_s / 86400), 'day')}"


def _by_camera(record: TripRecord, placed: str) -> dict[str, list[PlacedClip]]:
    cameras: dict[str, list[PlacedClip]] = {c.name: [] for c in record.folder.cameras}
    for p in record.lineup.clips:
        if p.time.placed == placed and p.time.start_utc_s is not None and not record.why_set_aside(p.clip.name):
            cameras.setdefault(p.clip.camera, []).append(p)
    return {name: clips for name, clips in cameras.items() if clips}


def _clip_bar(p: PlacedClip, line: Line, published: Published, words: Words) -> Bar:
    start = p.time.start_utc_s
    assert start is not None
    name = published.clip(p.clip.name)
    doubt_percent = line.width(1.959964 * (p.time.sigma_s or 0.0))
    return Bar(
        line.at(start),
        line.width(p.clip.duration_s),
        "clip",
        f"{name}, {words.clock(start, seconds=True)}, {duration(p.clip.duration_s)}",
        doubt_percent if doubt_percent >= SEEN_PERCENT else 0.0,
    )


def _events(record: TripRecord, line: Line, words: Words) -> tuple[Tick, ...]:
    """A mark for every fish, with its number or, in a crowd, one count; and a small mark for every other event."""
    ticks = []
    for crowd in _crowds([(line.at(c.time.value), c) for c in record.lineup.catches]):
        for place, (at, c) in enumerate(crowd):
            label = "" if place != len(crowd) // 2 else c.id if len(crowd) == 1 else f"{len(crowd)} fish"
            ticks.append(
                Tick(at, label, c.outcome, anchor=_anchor(at), words=f"{c.id}, {c.outcome}, {words.clock(c.time.value)}")
            )
    told = {name for c in record.lineup.catches for name in c.events}
    for e in record.lineup.events:
        if e.id not in told:
            at, said = line.at(e.time.value), f"{e.event.kind}, {words.clock(e.time.value)}"
            ticks.append(Tick(at, "", "other", anchor=_anchor(at), words=said))
    return tuple(ticks)


def _crowds(marks: list[tuple[float, Catch]]) -> list[list[tuple[float, Catch]]]:
    """Marks in runs whose neighbours are too close for a label each."""
    runs: list[list[tuple[float, Catch]]] = []
    for mark in sorted(marks, key=lambda m: m[0]):
        if runs and mark[0] - runs[-1][-1][0] < CROWD_PERCENT:
            runs[-1].append(mark)
        else:
            runs.append([mark])
    return runs


def _ticks(line: Line, label: Callable[[float, float], str]) -> tuple[Tick, ...]:
    """Round instants along the line; ``label(t, step)`` writes each. Every other one may be left out on a phone."""
    step = _step(line)
    ticks = []
    for k in range(math.ceil((line.start_s + line.zone_s) / step), math.floor((line.end_s + line.zone_s) / step) + 1):
        t = k * step - line.zone_s
        at = line.at(t)
        ticks.append(Tick(at, label(t, step), minor=bool(k % 2), anchor=_anchor(at)))
    return tuple(ticks)


def _step(line: Line) -> float:
    """A round step that gives at most nine ticks."""
    span = line.end_s - line.start_s
    return next((float(s) for s in STEPS_S if span / s <= 9), math.ceil(span / 9 / 86400) * 86400.0)


def _anchor(percent: float) -> str:
    return "start" if percent < 4 else "end" if percent > 96 else "middle"

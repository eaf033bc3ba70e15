"""Clips on the time line: leg, place, and whether they lie before, on or after the water."""

from collections.abc import Callable, Sequence

from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime, Clocks
from reelnotes.records.instants import Span
from reelnotes.records.tracks import Leg, Position, Track
from reelnotes.records.trip import PlacedClip

# A clip of the launch itself belongs to the water; only what ends clearly earlier is "before".
SHORE_MARGIN_S = 30.0


def place_clips(
    clips: Sequence[Clip], clocks: Clocks, track: Track, position_at: Callable[[float], Position | None]
) -> tuple[PlacedClip, ...]:
    """Placed clips in time order; those without a UTC place follow, by group and order, then by name."""
    water = time_on_the_water(track)
    placed = [_place(clip, clocks, track, position_at, water) for clip in clips]

    def order(p: PlacedClip) -> tuple[int, float, int, str]:
        if p.time.start_utc_s is not None:
            return 0, p.time.start_utc_s, 0, p.clip.name
        if p.time.relative_start_s is not None:
            return 1, p.time.relative_start_s, p.time.group, p.clip.name
        return 2, 0.0, 0, p.clip.name

    return tuple(sorted(placed, key=order))


def time_on_the_water(track: Track) -> Span | None:
    """From the start of the first leg that moves to the end of the last, or None when nothing tells."""
    moving = [leg for leg in track.legs if leg.kind != "not moving"]
    return Span(moving[0].start_utc_s, moving[-1].end_utc_s) if moving else None


def _place(
    clip: Clip, clocks: Clocks, track: Track, position_at: Callable[[float], Position | None], water: Span | None
) -> PlacedClip:
    time = clocks.clips.get(clip.name) or ClipTime(clip.name, "none")
    if time.start_utc_s is None:
        return PlacedClip(clip, time)
    shown = Span(time.start_utc_s, time.start_utc_s + clip.duration_s)
    return PlacedClip(
        clip,
        time,
        leg=_main_leg(shown, track),
        position=position_at((shown.start_s + shown.end_s) / 2),
        when=_phase(shown, water),
    )


def _main_leg(shown: Span, track: Track) -> Leg | None:
    """The leg that the clip shares most time with; None when it shares none."""

    def shared(leg: Leg) -> float:
        return shown.overlap_s(Span(leg.start_utc_s, leg.end_utc_s))

    best = max(track.legs, key=shared, default=None)
    return best if best is not None and shared(best) > 0 else None


def _phase(shown: Span, water: Span | None) -> str:
    if water is None:
        return ""
    if shown.end_s < water.start_s - SHORE_MARGIN_S:
        return "before"
    if shown.start_s > water.end_s + SHORE_MARGIN_S:
        return "after"
    return "on the water"

"""Line-up: every clip and every logged event on the trip's one time line.

    placing   clips with their time, leg, place, and whether they lie before, on or after the water
    noted     when a noted event really happened: notes are late and coarse
    catches   events told together as fish: strike, hooked, landed or lost, released

The verb is :func:`line_up`.
"""

from collections.abc import Callable, Sequence

from reelnotes.lineup.catches import gather_catches
from reelnotes.lineup.noted import place_events
from reelnotes.lineup.placing import place_clips
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clocks
from reelnotes.records.log import LogEvent
from reelnotes.records.tracks import Position, Track
from reelnotes.records.trip import LineUp

__all__ = ["line_up"]

PositionAt = Callable[[float], Position | None]


def line_up(
    clips: Sequence[Clip], clocks: Clocks, track: Track, position_at: PositionAt, events: Sequence[LogEvent]
) -> LineUp:
    """Join clips, clocks, track and log into the one trip record.

    ``position_at`` gives the boat's place at an instant (POSIX seconds) or None; it is passed in so
    that this room needs only the track's records, not its code.
    """
    placed = place_clips(clips, clocks, track, position_at)
    happened = place_events(events, placed, track, position_at)
    happened, catches = gather_catches(happened)
    return LineUp(clips=placed, events=happened, catches=catches)

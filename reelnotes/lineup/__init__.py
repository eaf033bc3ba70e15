"""Line-up: every clip and every logged event on the trip's one time line.

    placing   clips with their time, leg, place, and whether they lie before, on or after the water
    noted     when a noted event really happened: notes are late and coarse
    strangers a track that is of another day than clips and log
    catches   events told together as fish: strike, hooked, landed or lost, released
    measured  the clips in which a catch was measured

The verb is :func:`line_up`; :func:`boards_tell` is for lining up once more when fish were seen on a board, and
:func:`with_measuring_clips` for telling whose fish that was.
"""

from collections.abc import Callable, Mapping, Sequence

from reelnotes.lineup.catches import gather_catches
from reelnotes.lineup.measured import with_measuring_clips
from reelnotes.lineup.noted import place_events
from reelnotes.lineup.placing import place_clips
from reelnotes.lineup.strangers import track_alone
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clocks
from reelnotes.records.lengths import FishLength
from reelnotes.records.log import LogEvent
from reelnotes.records.tracks import Position, Track
from reelnotes.records.trip import LineUp

__all__ = ["boards_tell", "line_up", "track_alone", "with_measuring_clips"]

PositionAt = Callable[[float], Position | None]


def line_up(
    clips: Sequence[Clip],
    clocks: Clocks,
    track: Track,
    position_at: PositionAt,
    events: Sequence[LogEvent],
    on_board_utc_s: Mapping[str, float] | None = None,
) -> LineUp:
    """Join clips, clocks, track and log into the one trip record.

    ``position_at`` gives the boat's place at an instant (POSIX seconds) or None; it is passed in so
    that this room needs only the track's records, not its code. ``on_board_utc_s``: for landings
    (by their log row's ``source``) whose fish was filmed on a board, the instant it lay there.
    """
    placed = place_clips(clips, clocks, track, position_at)
    happened = place_events(events, placed, track, position_at, on_board_utc_s or {})
    happened, catches = gather_catches(happened)
    return LineUp(clips=placed, events=happened, catches=catches)


def boards_tell(lineup: LineUp, lengths: Sequence[FishLength]) -> dict[str, float]:
    """What :func:`line_up` wants to know of boards: landing's log row -> when its fish first lay on a board (UTC)."""
    told: dict[str, float] = {}
    for fish in lengths:
        clip = lineup.clip(fish.clip)
        if not fish.catch or clip is None or clip.time.start_utc_s is None:
            continue
        seen = clip.time.start_utc_s + fish.start_s
        for event in lineup.events:
            if event.catch == fish.catch and event.event.kind == "landed":
                told[event.event.source] = min(seen, told.get(event.event.source, seen))
    return told

"""Cameras' clocks, solved from every clue, with honest uncertainty.

    runs         recordings, and the clock runs that they fall into
    clues        one file a kind of clue
    collecting   clues that need clips to be opened
    marks        whether stamps mark the start or the end, decided jointly
    ties         runs tied by shared sound; false ties dropped
    hypotheses   what a group's stamps mean, weighed by Bayes' rule
    solver       the robust joint least squares
    solving      the flow through all of these
    otherdays    clips of another day set aside
    outcome      the solution as the record wants it

The room's verb is :func:`solve_clocks`.
"""

from collections.abc import Callable

from reelnotes.clocks.clues.sound import features_of_clips, sound_clues
from reelnotes.clocks.collecting import Floats, engine_ear, filmed_clocks, part
from reelnotes.clocks.solving import settle
from reelnotes.records.clocks import Clocks
from reelnotes.records.folder import TripFolder
from reelnotes.records.tracks import Track

__all__ = ["solve_clocks"]


def solve_clocks(
    folder: TripFolder,
    track: Track,
    speed_at: Callable[[Floats], tuple[Floats, Floats]] | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> Clocks:
    """When each clip was filmed, as well as its clues tell.

    folder    the trip as read; track: its cleaned track (may be empty)
    speed_at  UTC times (n,) -> (speed over ground, its standard uncertainty), (n,) m/s each, NaN where the track does
              not tell; for the engine clue
    progress  told the share done (0..1) and what is being done
    """
    absolute = filmed_clocks(folder.clips, part(progress, 0.0, 0.3))
    heard = features_of_clips(folder.clips, part(progress, 0.3, 0.7))
    relative = sound_clues(folder.clips, part(progress, 0.7, 0.95), heard)
    engine = None if track.empty or speed_at is None else engine_ear(folder.clips, heard, lambda times: speed_at(times)[0])
    return settle(folder, track, relative, absolute, engine)

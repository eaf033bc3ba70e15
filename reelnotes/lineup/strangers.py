"""A track of another day, left in the folder: it says nothing of this trip, and that must be said."""

from reelnotes.records.problems import Problem
from reelnotes.records.tracks import Track
from reelnotes.records.trip import LineUp

OTHER_DAY_S = 12 * 3600.0


def track_alone(lineup: LineUp, track: Track) -> Problem | None:
    """A Problem when the log, and every placed clip, lie half a day or more from the track; else None.

    Without a log there is only the clips' word against the track's, and a camera's clock may well be a day wrong:
    that is for the clocks to weigh.
    """
    if track.empty or not lineup.events:
        return None
    first, last = float(track.points["time_utc_s"].iloc[0]), float(track.points["time_utc_s"].iloc[-1])
    told = [event.time.value for event in lineup.events]
    filmed = [clip.time.start_utc_s for clip in lineup.clips if clip.time.start_utc_s is not None]
    apart_s = min(max(first - at, at - last, 0.0) for at in (*told, *filmed))
    if apart_s <= OTHER_DAY_S:
        return None
    of = "log and clips" if filmed else "log"
    what = f"it ends or begins {apart_s / 86400.0:.1f} days from the {of}, so nothing has a place or a speed"
    return Problem("track", what, "", "is it the right track? lay the track of the day into track/")

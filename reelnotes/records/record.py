"""The whole trip record: everything that the rooms found, bundled for those who write it down.

The ledger writes all of it, privately; the summary publishes what the privacy settings allow.
"""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from reelnotes.records.clocks import Clocks
from reelnotes.records.cuts import EditList, Moment
from reelnotes.records.folder import TripFolder
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem
from reelnotes.records.settings import PrivacySettings
from reelnotes.records.tracks import Track
from reelnotes.records.trip import Catch, LineUp

# Reference values behind these sentences: LAW-01, LAW-05, NAV-03, FOO-01 to FOO-04, CAR-01, CAR-04, CAR-05.
STANDING_CAUTIONS = (
    "A length from video is no proof of a legal size. What counts is the fish, measured on the water by the local rule; "
    "a fish can shrink after death, so one that was just long enough may not be later.",
    "Rules and limits change, also within a season: look up those in force for the water and the day.",
    "Recorded positions, depths and tide times are notes about a day, not aids to navigation.",
    "A fish that goes back does best with 10 seconds of air or less: unhook and measure it in the water or in a wet, "
    "knotless net. Barbless hooks come out faster.",
    "Cook fish to 63 °C (145 °F) in the middle. Wild fish to be eaten raw is first frozen at −20 °C (−4 °F) or colder for "
    "7 days; a home freezer often does not hold that, and freezing does not kill every germ.",
)


@dataclass(frozen=True)
class TripRecord:
    """Everything known about one trip.

    folder       the trip folder as read: title, zone, units, date, settings, tide
    lengths      measured fish, tied to their catches (ledger.join_lengths)
    edit         the edit list, None when no cut could be made
    problems     all problems of all rooms, in the order they were met
    cautions     what a reader must not forget
    limit_notes  one sentence a length, or a day's kept fish, that was held against the angler's own limits
    version      of the tool that made the record
    """

    folder: TripFolder
    track: Track
    clocks: Clocks
    lineup: LineUp
    lengths: tuple[FishLength, ...] = ()
    edit: EditList | None = None
    moments: tuple[Moment, ...] = ()
    problems: tuple[Problem, ...] = ()
    cautions: tuple[str, ...] = STANDING_CAUTIONS
    limit_notes: tuple[str, ...] = ()
    version: str = ""

    @property
    def title(self) -> str:
        """The trip's title."""
        return self.folder.title

    @property
    def zone(self) -> ZoneInfo:
        """The trip's time zone."""
        return self.folder.zone

    @property
    def date(self) -> dt.date | None:
        """The trip's local date, or None."""
        return self.folder.date

    @property
    def units(self) -> str:
        """What people read: "metric" or "imperial"."""
        return self.folder.settings.units

    @property
    def privacy(self) -> PrivacySettings:
        """What published files may show."""
        return self.folder.settings.privacy

    def length_of(self, catch: Catch) -> FishLength | None:
        """The best length that is tied to a catch: measured before to be checked, then the least uncertain; or None.

        A refused length is no length.
        """
        told = [f for f in self.lengths if f.catch == catch.id and f.verdict != "refused" and f.total_length_mm is not None]
        return min(
            told, key=lambda f: (f.verdict != "measured", f.u_mm if f.u_mm is not None else 1e9, f.clip, f.start_s), default=None
        )

    def why_set_aside(self, clip_name: str) -> str:
        """Why a clip takes no part in the trip, or ''."""
        for clip in self.folder.clips:
            if clip.name == clip_name and clip.set_aside:
                return clip.set_aside
        return (self.clocks.set_aside or {}).get(clip_name, "")

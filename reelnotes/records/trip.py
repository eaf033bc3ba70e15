"""The line-up: every clip and every logged event on the trip's time line. The one trip record."""

from dataclasses import dataclass

from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.estimates import Estimate
from reelnotes.records.log import LogEvent
from reelnotes.records.tracks import Leg, Position


@dataclass(frozen=True, slots=True)
class PlacedClip:
    """A clip with its time, leg and place. ``when`` phase: "before", "on the water", "after" or "" (unknown)."""

    clip: Clip
    time: ClipTime
    leg: Leg | None = None
    position: Position | None = None  # at the middle of the clip
    when: str = ""

    @property
    def end_utc_s(self) -> float | None:
        """End of the last frame, or None when the clip has no UTC place."""
        return None if self.time.start_utc_s is None else self.time.start_utc_s + self.clip.duration_s


@dataclass(frozen=True, slots=True)
class Sight:
    """A clip that holds an event: the frame in it, and the standard uncertainty of that frame's time (s)."""

    clip: str
    frame: int
    at_s: float  # seconds from the clip's first frame
    sigma_s: float


@dataclass(frozen=True, slots=True)
class PlacedEvent:
    """A logged event on the time line.

    id      "E01", in time order
    time    the instant's best estimate: mean, standard uncertainty, source (the log is late and coarse)
    sights  the clips that hold the instant, best first; empty: outside all footage
    catch   the catch that it belongs to, or ''
    """

    id: str
    event: LogEvent
    time: Estimate
    position: Position | None
    leg: Leg | None
    sights: tuple[Sight, ...] = ()
    catch: str = ""


@dataclass(frozen=True, slots=True)
class Catch:
    """One fish: what became of it, and the events and clips that tell of it.

    outcome  "landed" | "lost"
    time     of the landing or the loss
    clips    those that hold its events, best first, then those in which it was measured
    """

    id: str
    outcome: str
    time: Estimate
    species: str
    kept: bool | None
    position: Position | None
    leg: Leg | None
    events: tuple[str, ...]
    clips: tuple[str, ...]
    logged_length_mm: float | None = None
    logged_weight_kg: float | None = None
    bait: str = ""
    rig: str = ""
    depth_m: float | None = None
    setback_m: float | None = None
    rod: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class LineUp:
    """Everything on one time line; clips in time order (unplaced ones last), events and catches in time order."""

    clips: tuple[PlacedClip, ...]
    events: tuple[PlacedEvent, ...]
    catches: tuple[Catch, ...]

    def clip(self, name: str) -> PlacedClip | None:
        """The placed clip of that name, or None."""
        return next((c for c in self.clips if c.clip.name == name), None)

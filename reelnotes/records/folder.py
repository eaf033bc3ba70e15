"""A trip folder as read: everything still as each device and hand wrote it."""

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd

from reelnotes.records.boards import Board, Lens
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.log import LogEvent
from reelnotes.records.problems import Problem
from reelnotes.records.settings import TripSettings


@dataclass(frozen=True, slots=True)
class TideTurn:
    """One predicted high or low water: instant and height in metres above the table's own datum."""

    time_utc_s: float
    height_m: float


@dataclass(frozen=True, slots=True)
class SizeLimit:
    """One rule that the angler looked up: lengths in mm, the measure they speak of ("total" | "fork"),
    a protected slot (from, to) and a bag limit; None where not given. The tool ships none."""

    species: str
    measure: str = "total"
    minimum_mm: float | None = None
    maximum_mm: float | None = None
    slot_mm: tuple[float, float] | None = None
    bag: int | None = None
    source: str = ""

    @property
    def tells_size(self) -> bool:
        """Whether a length can be held against it; a bag alone says nothing of one."""
        return any(bound is not None for bound in (self.minimum_mm, self.maximum_mm, self.slot_mm))


@dataclass(frozen=True)
class TripFolder:
    """What one trip folder holds.

    zone, zone_from   the trip's IANA zone and where it was found ("trip.toml", "the first track position", ...)
    date              the trip's local date, None when nothing tells
    fixes             raw fixes, columns as in records.tracks.FIX_COLUMNS
    """

    root: Path
    settings: TripSettings
    title: str
    zone: ZoneInfo
    zone_from: str
    date: dt.date | None
    cameras: tuple[Camera, ...]
    clips: tuple[Clip, ...]
    fixes: pd.DataFrame
    events: tuple[LogEvent, ...]
    boards: tuple[Board, ...] = ()
    lenses: dict[str, Lens] = field(default_factory=dict)  # trip-folder path -> Lens
    tide: tuple[TideTurn, ...] = ()
    limits: tuple[SizeLimit, ...] = ()
    problems: tuple[Problem, ...] = ()

    def camera(self, name: str) -> Camera:
        """The camera of that name; raises KeyError."""
        for camera in self.cameras:
            if camera.name == name:
                return camera
        raise KeyError(name)

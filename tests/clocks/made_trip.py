"""Small made trips with known clocks: recordings, their stamps as cameras would write them, and clues with honest noise."""

import datetime as dt
import math
from dataclasses import dataclass, field
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from reelnotes.clocks.solving import settle
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.clocks import Clocks, Clue
from reelnotes.records.folder import TripFolder
from reelnotes.records.log import LogEvent
from reelnotes.records.settings import TripSettings
from reelnotes.records.tracks import Track

OSLO = ZoneInfo("Europe/Oslo")


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp()


@dataclass
class MadeCamera:
    """offset_s: UTC minus reading; breaks: (from UTC, new offset) where the clock was lost or set; ppm: rates."""

    name: str
    offset_s: float = 0.0
    marks: str = "start"
    trusted: bool = False
    clock: str = "unknown"
    ppm: float = 0.0
    media_ppm: float = 0.0
    breaks: tuple[tuple[float, float], ...] = ()
    human_offset_s: float | None = None


@dataclass
class MadeTrip:
    start_utc_s: float = utc("2026-06-14T03:05:00")
    length_s: float = 5400.0
    zone: ZoneInfo = OSLO
    seed: int = 0
    tracked: bool = True
    track_shift_s: float = 0.0
    cameras: list[MadeCamera] = field(default_factory=list)
    clips: list[Clip] = field(default_factory=list)
    truth: dict[str, float] = field(default_factory=dict)
    relative: list[Clue] = field(default_factory=list)
    absolute: list[Clue] = field(default_factory=list)
    events: list[LogEvent] = field(default_factory=list)
    settings: TripSettings = field(default_factory=TripSettings)

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(self.seed)

    def film(self, camera: MadeCamera, starts: list[float], lengths: list[float], chapters: int = 1) -> None:
        """Recordings at ``starts`` (seconds after the trip's start)."""
        if camera not in self.cameras:
            self.cameras.append(camera)
        for number, (after, length) in enumerate(zip(starts, lengths, strict=True), len(self.clips)):
            true = self.start_utc_s + after
            offset = camera.offset_s
            for since, new in camera.breaks:
                offset = new if true >= since else offset
            delay = self.random.uniform(0.0, 0.5)
            marked = true - delay if camera.marks == "start" else true + length
            stamp = math.floor(marked - offset + camera.ppm * 1e-6 * (marked - self.start_utc_s))
            for chapter in range(chapters):
                part = length * (1 + camera.media_ppm * 1e-6) / chapters
                name = f"clips/{camera.name}/C{number:04d}_{chapter:02d}.mp4"
                self.clips.append(
                    Clip(
                        name,
                        Path(name),
                        camera.name,
                        duration_s=part,
                        stamp_s=float(stamp),
                        recording=f"{camera.name}{number}",
                        chapter=chapter + 1 if chapters > 1 else 0,
                        chapters=chapters if chapters > 1 else 0,
                        lead_s=part * chapter,
                    )
                )
                self.truth[name] = true + length / chapters * chapter

    def clip(self, camera: str, n: int) -> Clip:
        return [c for c in self.clips if c.camera == camera][n]

    def hear(self, noise_s: float = 0.001) -> None:
        """A sound clue for every pair of clips of different cameras that share 15 s."""
        for i, a in enumerate(self.clips):
            for b in self.clips[i + 1 :]:
                begin = max(self.truth[a.name], self.truth[b.name])
                end = min(self.truth[a.name] + a.duration_s, self.truth[b.name] + b.duration_s)
                if a.camera != b.camera and end - begin > 15:
                    value = self.truth[a.name] - self.truth[b.name] + self.random.normal(0, noise_s)
                    self.relative.append(Clue("sound", a.name, value, max(noise_s, 0.0005), 0.95, b.name, "heard"))

    def show_clock(self, clip: Clip, error_s: float = 0.0, at_s: float = 10.0) -> None:
        late = 0.03 + self.random.normal(0, 0.02)
        value = self.truth[clip.name] - late + error_s
        self.absolute.append(Clue("filmed clock", clip.name, value, 0.012, 0.99, None, "a filmed clock", at_s=at_s))

    def log_events(self, after: list[float], kind: str = "landed") -> None:
        for t in after:
            written = self.start_utc_s + t + self.random.uniform(5, 60)
            self.events.append(LogEvent(kind, math.floor(written / 60) * 60, 60.0, "log"))

    def solved(self) -> Clocks:
        points = pd.DataFrame(
            {"time_utc_s": [self.start_utc_s + self.track_shift_s + 10.0 * k for k in range(int(self.length_s / 10))]}
        )
        cameras = tuple(
            Camera(c.name, c.clock, "unknown", c.trusted, offset_s=c.human_offset_s, offset_sigma_s=0.5) for c in self.cameras
        )
        folder = TripFolder(
            Path(), self.settings, "made", self.zone, "test", None, cameras, tuple(self.clips), pd.DataFrame(), tuple(self.events)
        )
        track = Track(points if self.tracked else points.iloc[:0])
        return settle(folder, track, self.relative, self.absolute)

    def error_s(self, clocks: Clocks, clip: Clip) -> float:
        start = clocks.clips[clip.name].start_utc_s
        assert start is not None
        return start - self.truth[clip.name]

"""Clips as the cameras wrote them."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path


@dataclass(frozen=True, slots=True)
class AudioLayout:
    """The first audio stream: sample rate, channels, codec, and where it starts against the first picture (s)."""

    sample_rate_hz: int
    channels: int
    codec: str
    start_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Location:
    """A position a clip carries in its metadata (ISO 6709), WGS 84 degrees."""

    lat: float
    lon: float
    altitude_m: float | None = None


@dataclass(frozen=True, slots=True)
class Clip:
    """One video file. A file that cannot be used has ``set_aside`` (the reason) and zeros for the rest.

    name          path in the trip folder, with forward slashes; the clip's identity everywhere
    path          where the file lies (opened read-only, never written)
    camera        the camera's name
    width_px, height_px   as stored; rotation_deg (0, 90, 180, 270 clockwise) turns it upright
    rate          rational frame rate; of a variable-rate clip the nearest common one
    frames        exact number of frames, or None when the file does not tell
    duration_s    of the picture, first frame's start to last frame's end, by the camera's own count
    stamp_s       the creation stamp's digits read as if UTC (POSIX seconds), or None
    stamp_is_utc  True when the stamp was written with its UTC offset, so that stamp_s *is* UTC (as set on the device)
    stamp_from    where the stamp stood: "metadata" | "file name" | ""
    stamp_step_s  resolution of that stamp (1 s as a rule)
    file_time_s   the file's modification time (UTC), weak evidence
    timecode      the start timecode track's text, or None
    recording     chapters of one continuous take share it; ``chapter`` counts from 1 (0: not chaptered)
    lead_s        seconds from the recording's first frame to this chapter's first frame
    """

    name: str
    path: Path
    camera: str
    container: str = ""
    codec: str = ""
    size_bytes: int = 0
    width_px: int = 0
    height_px: int = 0
    rotation_deg: int = 0
    rate: Fraction = Fraction(30)
    variable_rate: bool = False
    frames: int | None = None
    duration_s: float = 0.0
    audio: AudioLayout | None = None
    timecode: str | None = None
    stamp_s: float | None = None
    stamp_step_s: float = 1.0
    file_time_s: float | None = None
    location: Location | None = None
    make: str = ""
    model: str = ""
    recording: str = ""
    chapter: int = 0
    chapters: int = 0
    lead_s: float = 0.0
    set_aside: str = ""
    stamp_is_utc: bool = False
    stamp_from: str = ""
    device_hint: str = ""  # what else names the device (comment, encoder): tells cameras apart

    @property
    def usable(self) -> bool:
        """True unless the file was set aside."""
        return not self.set_aside

    @property
    def shown_size_px(self) -> tuple[int, int]:
        """(width, height) as a player shows it, after the rotation."""
        turned = self.rotation_deg in (90, 270)
        return (self.height_px, self.width_px) if turned else (self.width_px, self.height_px)


@dataclass(frozen=True, slots=True)
class Camera:
    """One camera of the trip: its name, its settings as found or given, and its clips in file order."""

    name: str
    clock: str = "unknown"  # what its stamps mean: "utc" | "local" | "unknown"
    stamp: str = "unknown"  # whether a stamp marks the "start" or the "end" of a recording
    trusted: bool = False
    lens: str | None = None  # name of the lens file in the trip folder
    offset_s: float | None = None  # the human's word: add to the stamp to get UTC
    offset_sigma_s: float = 0.5

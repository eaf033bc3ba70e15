"""What trip.toml may say. Every setting is optional; None means "to be found from the files themselves".

The models are pydantic so that a wrong value is told by its key; :mod:`reelnotes.intake.settings`
turns pydantic's errors into sentences. Unknown keys are an error: a mistyped setting that is
silently ignored would be worse.
"""

import datetime as dt
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class PrivacySettings(_Strict):
    """What published files (``post/``) may show of the place."""

    spot: Literal["exact", "blurred", "none"] = "blurred"
    blur_km: float = Field(default=5.0, ge=0.5, le=500.0)
    hide_near_start_m: float = Field(default=500.0, ge=0.0, le=100_000.0)


class TimeMark(_Strict):
    """The human's word: this frame (or this second) of this clip is this time."""

    clip: str
    frame: int | None = Field(default=None, ge=0)
    at_s: float | None = Field(default=None, ge=0.0)
    time: dt.datetime
    sigma_s: float = Field(default=0.5, gt=0.0)


class CameraSettings(_Strict):
    """One ``[[camera]]`` table."""

    name: str
    folder: str | None = None
    clock: Literal["utc", "local", "unknown"] = "unknown"
    stamp: Literal["start", "end", "unknown"] = "unknown"
    trusted: bool = False
    lens: str | None = None
    offset_s: float | None = None
    offset_sigma_s: float = Field(default=0.5, gt=0.0)


class EditSettings(_Strict):
    """The wanted edit."""

    length_s: float | None = Field(default=None, gt=0.0)
    handles_s: float = Field(default=2.0, ge=0.0, le=60.0)
    frame_rate: str | None = None  # "30000/1001", "25"; the commonest clip rate if absent


class TripSettings(_Strict):
    """All of trip.toml."""

    title: str | None = None
    date: dt.date | None = None
    timezone: str | None = None
    units: Literal["metric", "imperial"] = "metric"
    privacy: PrivacySettings = PrivacySettings()
    camera: tuple[CameraSettings, ...] = ()
    time_mark: tuple[TimeMark, ...] = ()
    edit: EditSettings = EditSettings()

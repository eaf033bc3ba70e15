"""The trip's time zone and local date: told, else found from the files themselves."""

import collections
import datetime as dt
import functools
from collections.abc import Sequence
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
from timezonefinder import TimezoneFinder

from reelnotes.records.clips import Clip
from reelnotes.records.instants import to_datetime
from reelnotes.records.problems import Problem
from reelnotes.records.settings import TripSettings


@functools.cache
def _finder() -> TimezoneFinder:
    return TimezoneFinder()


def zone_at(lat: float, lon: float) -> ZoneInfo | None:
    """The IANA zone of a place (WGS 84 degrees), at sea the nautical ``Etc/GMT±n``; None when there is none to be had."""
    if not (-90.0 <= lat <= 90.0 and -180.0 <= lon <= 180.0):
        return None
    name = _finder().timezone_at(lat=lat, lng=lon)
    try:
        return ZoneInfo(name) if name else None
    except ZoneInfoNotFoundError:
        return None


def find_zone(settings: TripSettings, fixes: pd.DataFrame, clips: Sequence[Clip]) -> tuple[ZoneInfo, str, list[Problem]]:
    """(zone, where it was found, problems): trip.toml, else the first track position, else the first clip that carries a place.

    With none of them the zone is UTC, and a remark says so: the machine's own zone says nothing about the trip's.
    """
    if settings.timezone:
        return ZoneInfo(settings.timezone), "trip.toml", []
    first = _first_place(fixes)
    zone = zone_at(*first) if first else None
    if zone:
        return zone, "the first track position", []
    for clip in clips:
        zone = zone_at(clip.location.lat, clip.location.lon) if clip.location else None
        if zone:
            return zone, f"the place written in {clip.name}", []
    what = "nothing tells the time zone: no setting, no track, no clip with a place"
    remark = Problem(
        "trip.toml, timezone", what, "UTC is used", 'add timezone = "Europe/Oslo", with your own zone', serious=False
    )
    return ZoneInfo("UTC"), "nothing tells it; UTC", [remark]


def _first_place(fixes: pd.DataFrame) -> tuple[float, float] | None:
    """The first fix that lies with the others: a receiver just switched on may still give yesterday's place, or 0, 0."""
    places = fixes[["lat", "lon"]].to_numpy(dtype=float)
    places = places[np.isfinite(places).all(axis=1)]
    if not len(places):
        return None
    near = np.abs(places - np.median(places, axis=0)).max(axis=1) < 2.0
    lat, lon = places[int(np.argmax(near))]  # none near: astride the 180th meridian, where the first is as good as any
    return float(lat), float(lon)


def find_date(settings: TripSettings, fixes: pd.DataFrame, clips: Sequence[Clip], zone: ZoneInfo) -> dt.date | None:
    """The trip's local date: trip.toml, else the commonest local date of the track, else of the clips' stamps.

    A night's outing is dated by the evening on which it began, as whoever was out would say it, and as a log that
    starts at "23:10" and goes on to "01:20" is read.

    Without a track the stamps are all there is. They are read as the camera shows them (a stamp with an offset
    of its own in the trip's zone), because their meaning is not known yet; None when there are none either.
    """
    if settings.date:
        return settings.date
    if len(fixes):
        # Counted by the minute, so that a receiver that logs every second outweighs no other.
        minutes = np.unique(np.floor(fixes["time_utc_s"].to_numpy(dtype=float) / 60.0)) * 60.0
        local = [to_datetime(float(t)).astimezone(zone) for t in _thinned(minutes)]
        return local[0].date() if _is_one_night(local) else _commonest([moment.date() for moment in local])
    told = [clip for clip in clips if clip.usable and clip.stamp_s is not None]
    days = []
    for clip in told:
        moment = to_datetime(clip.stamp_s or 0.0)
        days.append((moment.astimezone(zone) if clip.stamp_is_utc else moment).date())
    return _commonest(days)


def _is_one_night(local: Sequence[dt.datetime]) -> bool:
    """Whether the track begins after noon, passes midnight, and ends before the noon that follows.

    A receiver left on since the day before, or one that kept an older outing, reaches beyond one of the noons.
    """
    first, last = local[0], local[-1]
    return first.hour >= 12 and last.hour < 12 and last.date() - first.date() == dt.timedelta(days=1)


def _thinned(values: np.ndarray, most: int = 5000) -> np.ndarray:
    return values[:: max(1, len(values) // most)]


def _commonest(days: Sequence[dt.date]) -> dt.date | None:
    counts = collections.Counter(days)
    return max(counts, key=lambda day: (counts[day], day)) if counts else None

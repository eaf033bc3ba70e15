"""The one place that decides what of a place may be published.

Everything in ``post/`` is written from what :func:`decide` lets through. No other file of this room
reads a position, and no writer gets one from anywhere else.

    exact    the track as cleaned and the catches where they were, without the ends of the track
    blurred  one area on a fixed grid for the whole trip; no line, no place of a catch, no speed or
             distance of a leg (a course can be walked back from those), tide and zone as they are
    none     no geometry at all; no zone and nothing that tells it (no UTC time, no camera error of
             hours), no tide table, no clues, no notes and no pictures (either may show or name the place)

Free text is scrubbed of coordinates in every case but exact, by where the trip was too. Cameras and clips go by the names of
:mod:`names`, and so do the sentences of other rooms that may hold such a name: :meth:`Published.said`.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Track
from reelnotes.summary.area import Area, blurred_area, cell_km
from reelnotes.summary.hiding import Hidden, LonLat
from reelnotes.summary.names import Names, public_names
from reelnotes.summary.region import Region
from reelnotes.summary.scrub import scrubbed

DIGITS = 6
PLAIN_TITLE = "A day on the water"


@dataclass(frozen=True)
class Published:
    """What may be published.

    lines      exact only: leg number (0: the whole track) -> runs of (lon, lat), WGS 84 degrees
    spots      exact only: catch id -> (lon, lat)
    area       blurred only: the box that holds the whole trip
    words      one sentence that tells the reader what the map shows and leaves out
    movement   distances and speeds of legs
    zone       the zone's name, UTC times, and clock errors of hours
    extras     notes, clue sentences, tide table, pictures of fish
    names      what cameras and clips are called
    clean      takes positions out of free text
    """

    spot: str
    words: str
    lines: dict[int, tuple[tuple[LonLat, ...], ...]] = field(default_factory=dict)
    spots: dict[str, LonLat] = field(default_factory=dict)
    area: Area | None = None
    movement: bool = False
    zone: bool = True
    extras: bool = True
    names: Names = field(default_factory=Names)
    clean: Callable[[str], str] = scrubbed

    def title(self, record: TripRecord) -> str:
        """The trip's title. A folder's name was not given to be published, so it only stands in where places are exact."""
        if self.spot != "exact" and record.folder.settings.title is None:
            return PLAIN_TITLE
        return self.text(record.title) or PLAIN_TITLE

    def clip(self, name: str) -> str:
        """A clip's name as it may be published."""
        return self.names.clip(name)

    def camera(self, name: str) -> str:
        """A camera's name as it may be published."""
        return self.names.camera(name)

    def said(self, sentence: str) -> str:
        """A sentence of another room as it may be published: it may name clips, cameras and files."""
        return self.text(self.names.in_sentence(sentence))

    def text(self, free: str) -> str:
        """The angler's free text as it may be published."""
        return free if self.spot == "exact" else self.clean(free)


def decide(record: TripRecord) -> Published:
    """What of this trip's places may be published, by its privacy settings."""
    clean = partial(scrubbed, region=Region.around(_been(record)))
    return replace(_places(record), names=public_names(record, clean), clean=clean)


def _been(record: TripRecord) -> list[LonLat]:
    """Every place that the trip's files tell: of the track, the catches and events, and the clips."""
    points = record.track.points
    places = [] if record.track.empty else list(zip(points["lon"].tolist(), points["lat"].tolist(), strict=True))
    lineup = record.lineup
    logged = [*(c.position for c in lineup.catches), *(e.position for e in lineup.events), *(p.position for p in lineup.clips)]
    places += [(position.lon, position.lat) for position in logged if position is not None]
    tagged = [clip.location for clip in record.folder.clips if clip.location is not None]
    return places + [(place.lon, place.lat) for place in tagged]


def _places(record: TripRecord) -> Published:
    spot = record.privacy.spot
    if spot == "exact":
        return _exact(record)
    if spot == "blurred":
        return _blurred(record)
    return Published("none", "The place is not told.", zone=False, extras=False)


def _exact(record: TripRecord) -> Published:
    hide_m = record.privacy.hide_near_start_m
    hidden = Hidden(_ends(record.track), hide_m)
    lines = {0: _lines(record.track, hidden, -np.inf, np.inf)}
    for leg in record.track.legs:
        lines[leg.number] = _lines(record.track, hidden, leg.start_utc_s, leg.end_utc_s)
    places = {c.id: (round(c.position.lon, DIGITS), round(c.position.lat, DIGITS)) for c in record.lineup.catches if c.position}
    spots = {name: place for name, place in places.items() if place not in hidden}
    if record.track.empty:
        words = "There is no track, so no map."
    elif hide_m > 0:
        words = f"Places are exact; the track within {hide_m:.0f} m or more of both its ends is left out."
    else:
        words = "Places are exact, the ends of the track too."
    return Published("exact", words, lines=lines, spots=spots, movement=True)


def _blurred(record: TripRecord) -> Published:
    points = record.track.points
    places = [] if record.track.empty else list(zip(points["lon"].tolist(), points["lat"].tolist(), strict=True))
    places += [(c.position.lon, c.position.lat) for c in record.lineup.catches if c.position]
    area = blurred_area(places, record.privacy.blur_km)
    if area is None:
        return Published("blurred", "There is no track, so no map.")
    squares = f"squares of about {cell_km(record.privacy.blur_km):g} km"
    words = f"Places are blurred: the trip lies somewhere in an area made of {squares}. No spot is marked."
    return Published("blurred", words, area=area)


def _ends(track: Track) -> list[LonLat]:
    if track.empty:
        return []
    points = track.points
    return [(float(points["lon"].iloc[i]), float(points["lat"].iloc[i])) for i in (0, -1)]


def _lines(track: Track, hidden: Hidden, start_utc_s: float, end_utc_s: float) -> tuple[tuple[LonLat, ...], ...]:
    """Runs of the track within a stretch of time: broken at gaps, at hidden places, and at the date line."""
    if track.empty:
        return ()
    points = track.points
    inside = points[(points["time_utc_s"] >= start_utc_s) & (points["time_utc_s"] <= end_utc_s)]
    runs: list[list[LonLat]] = []
    last_piece: object = None
    for lon, lat, piece in zip(inside["lon"].tolist(), inside["lat"].tolist(), inside["piece"].tolist(), strict=True):
        place = (round(lon, DIGITS), round(lat, DIGITS))
        if place in hidden:
            last_piece = None
            continue
        crosses = bool(runs) and bool(runs[-1]) and abs(place[0] - runs[-1][-1][0]) > 180.0
        if piece != last_piece or crosses:
            runs.append([])
        runs[-1].append(place)
        last_piece = piece
    return tuple(tuple(run) for run in runs if len(run) > 1)

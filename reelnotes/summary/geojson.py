"""track.geojson (RFC 7946): track, legs and catches at the privacy that the trip asks for.

A thing whose place is not told is a feature with ``"geometry": null`` (RFC 7946 3.2). Positions are
[longitude, latitude] in WGS 84, six decimals for exact places, four for a blurred area.
"""

import json
from pathlib import Path
from typing import Any

from reelnotes.media.writing import write_text
from reelnotes.summary.area import Area
from reelnotes.summary.told import Story

Json = dict[str, Any]


def write_geojson(story: Story, path: Path) -> Path:
    """Write the feature collection; return its path."""
    write_text(path, json.dumps(feature_collection(story), ensure_ascii=False, allow_nan=False, indent=1) + "\n")
    return path


def feature_collection(story: Story) -> Json:
    """The features: the area or the track first, then legs, then catches."""
    published = story.published
    features = [
        _feature(
            "trip",
            _trip_geometry(story),
            {"title": story.title, "date": story.date, "spot": published.spot, "words": published.words},
        )
    ]
    features += [
        _feature(
            "leg",
            _line_geometry(published.lines.get(leg.number, ())),
            {
                "leg": leg.number,
                "way": leg.kind,
                "time": leg.time,
                "duration": _plain(leg.duration),
                "detail": _plain(leg.detail),
            },
        )
        for leg in story.legs
    ]
    features += [
        _feature(
            "catch",
            {"type": "Point", "coordinates": list(published.spots[f.id])} if f.id in published.spots else None,
            {
                "catch": f.id,
                "outcome": f.outcome,
                "species": f.species,
                "time": f.time,
                "fate": f.fate,
                "length": _plain(f.length),
                "interval_95": _plain(f.interval),
                "verdict": f.verdict,
            },
        )
        for f in story.fish
    ]
    return {"type": "FeatureCollection", "features": features}


def _trip_geometry(story: Story) -> Json | None:
    if story.published.area is not None:
        return _area_geometry(story.published.area)
    return _line_geometry(story.published.lines.get(0, ()))


def _area_geometry(area: Area) -> Json:
    rings = [[list(corner) for corner in ring] for ring in area.rings]
    if len(rings) == 1:
        return {"type": "Polygon", "coordinates": rings}
    return {"type": "MultiPolygon", "coordinates": [[ring] for ring in rings]}


def _line_geometry(runs: tuple[tuple[tuple[float, float], ...], ...]) -> Json | None:
    if not runs:
        return None
    lines = [[list(place) for place in run] for run in runs]
    return (
        {"type": "LineString", "coordinates": lines[0]} if len(lines) == 1 else {"type": "MultiLineString", "coordinates": lines}
    )


def _feature(kind: str, geometry: Json | None, properties: Json) -> Json:
    return {"type": "Feature", "geometry": geometry, "properties": {"kind": kind, **properties}}


def _plain(text: str) -> str:
    return text.replace("\u202f", " ")

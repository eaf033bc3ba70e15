"""trip.json: the whole private record in one versioned file.

Times are ISO 8601 UTC with milliseconds, and local with the offset where a person may look; every
other number is SI with its unit in the name; unknown is null. The shape is fixed by trip.schema.json.
"""

import json
from pathlib import Path
from typing import Any

from reelnotes.ledger import sections
from reelnotes.media.writing import write_text
from reelnotes.records.record import TripRecord

FORMAT = "reelnotes trip 1"
PRIVATE = "This record is private: it holds exact positions and file names. Only the folder post/ is meant to be published."


def trip_facts(record: TripRecord) -> dict[str, Any]:
    """The record as plain JSON types, valid against trip.schema.json."""
    return {
        "format": FORMAT,
        "private": PRIVATE,
        "tool": {"name": "reelnotes", "version": record.version},
        "trip": sections.trip(record),
        "cameras": sections.cameras(record),
        "clocks": sections.clocks(record),
        "clips": sections.clips(record),
        "track": sections.track(record),
        "events": sections.events(record),
        "catches": sections.catches(record),
        "lengths": sections.lengths(record),
        "moments": sections.moments(record),
        "cuts": sections.cuts(record),
        "tide": sections.tide(record),
        "limits": sections.limits(record),
        "cautions": list(record.cautions),
        "problems": sections.problems(record),
    }


def write_trip_json(record: TripRecord, path: Path) -> Path:
    """Write trip.json; the same record gives the same bytes. Raises OSError when it cannot be written."""
    text = json.dumps(trip_facts(record), ensure_ascii=False, allow_nan=False, indent=1)
    write_text(path, text + "\n")
    return path

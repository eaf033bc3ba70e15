"""The JSON Schema of trip.json, as it ships in the package (draft 2020-12)."""

import json
from importlib.resources import files
from typing import Any


def trip_schema() -> dict[str, Any]:
    """The schema as a dictionary."""
    text = files("reelnotes.ledger").joinpath("trip.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema

"""The ledger: the private record of a trip, for programs and for the angler's own shelf.

    joining      which measured fish is which logged catch
    agreeing     a measured length against the logged one
    figures      how numbers are written: once, with the digits that they deserve
    trip_json    trip.json, the whole record
    sections     its parts, one function a part
    tables       clips.csv, catches.csv, lengths.csv
    schema       the JSON Schema of trip.json (trip.schema.json)

The verbs are :func:`write_ledger`, :func:`join_lengths` and :func:`held_against_log`; :func:`trip_facts` is what trip.json
says, as plain types.
"""

from pathlib import Path

from reelnotes.ledger.agreeing import held_against_log
from reelnotes.ledger.joining import join_lengths
from reelnotes.ledger.tables import write_tables
from reelnotes.ledger.trip_json import trip_facts, write_trip_json
from reelnotes.records.record import TripRecord

__all__ = ["held_against_log", "join_lengths", "trip_facts", "write_ledger"]


def write_ledger(record: TripRecord, out: Path) -> tuple[Path, ...]:
    """Write trip.json, clips.csv, catches.csv and lengths.csv into ``out``; return their paths.

    The same record gives the same bytes. Raises OSError when ``out`` cannot be written.
    """
    return (write_trip_json(record, out / "trip.json"), *write_tables(record, out))

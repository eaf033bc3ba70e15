"""trip.json: valid against its schema, private, repeatable; the tables: columns, agreement, safety."""

import csv
import json
import math
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_trip import trip

from reelnotes.ledger import trip_facts, write_ledger
from reelnotes.ledger.figures import cell, rounded, significant, significant_cell
from reelnotes.ledger.schema import trip_schema
from reelnotes.ledger.tables import path_cell, text_cell
from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Track
from reelnotes.records.trip import LineUp

# source: the trip folder's fixed contract, columns that other programs may rely on
CONTRACT = {
    "clips.csv": "clip camera start_utc end_utc placed clock_offset_s clock_sigma_s clock_from leg lat lon set_aside",
    "catches.csv": "catch time_utc species kept lat lon speed_kn clips logged_length_mm measured_length_mm",
    "lengths.csv": "clip start_s end_s board catch total_length_mm fork_length_mm u_mm low_mm high_mm frames_used verdict reason",
}


def table(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def bare(record: TripRecord) -> TripRecord:
    """The same trip with nothing but clips that nothing places."""
    clocks = replace(record.clocks, clips={}, runs=(), conflicts=())
    return replace(
        record,
        track=Track(record.track.points.iloc[:0]),
        clocks=clocks,
        lineup=LineUp((), (), ()),
        lengths=(),
        edit=None,
        moments=(),
    )


@pytest.fixture
def written(tmp_path: Path) -> Path:
    write_ledger(trip(), tmp_path)
    return tmp_path


def test_the_schema_is_a_schema() -> None:
    # source: JSON Schema draft 2020-12 meta-schema, as the jsonschema library ships it
    jsonschema.Draft202012Validator.check_schema(trip_schema())


@pytest.mark.parametrize("make", [lambda r: r, bare, lambda r: replace(r, folder=replace(r.folder, date=None))])
def test_trip_json_is_valid(make, tmp_path: Path) -> None:
    write_ledger(make(trip()), tmp_path)
    document = json.loads((tmp_path / "trip.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(trip_schema()).validate(document)


@pytest.mark.parametrize(
    ("section", "spoil"),
    [
        ("format", lambda d: d.update(format="reelnotes trip 9")),
        ("clips", lambda d: d["clips"][0].update(placed="somewhere")),
        ("clips", lambda d: d["clips"][0].update(start_utc="2026-05-09 04:00")),
        ("lengths", lambda d: d["lengths"][0].update(total_length_mm=None)),
        ("lengths", lambda d: d["lengths"][2].update(reason="")),
        ("catches", lambda d: d["catches"][0].pop("position")),
        ("track", lambda d: d["track"].update(surprise=1)),
    ],
)
def test_the_schema_rejects_what_is_wrong(section, spoil) -> None:
    document = trip_facts(trip())
    spoil(document)
    with pytest.raises(jsonschema.ValidationError) as caught:
        jsonschema.Draft202012Validator(trip_schema()).validate(document)
    assert caught.value.absolute_path[0] == section


def test_it_says_that_it_is_private_and_tells_why_each_clock_is_set() -> None:
    facts = trip_facts(trip())
    assert "private" in facts["private"] and "post/" in facts["private"]
    run = facts["clocks"]["runs"][0]
    assert (run["camera"], run["offset_s"], run["sigma_s"], run["drift_ppm"]) == ("chest", -7157.8, 0.02, 4.0)
    assert run["clues_used"] and run["clues_dropped"] and facts["clocks"]["conflicts"]
    assert facts["lengths"][0]["budget"][1] == {
        "name": "parallax",
        "u_mm": 2.0,
        "correction_mm": -9.5,
        "shared": True,
        "words": "",
    }
    assert facts["track"]["dropped"] == [{"reason": "duplicate", "fixes": 3}, {"reason": "outlier", "fixes": 1}]


def test_the_same_record_gives_the_same_bytes(tmp_path: Path) -> None:
    first, second = write_ledger(trip(), tmp_path / "a"), write_ledger(trip(), tmp_path / "b")
    assert [p.name for p in first] == ["trip.json", "clips.csv", "catches.csv", "lengths.csv"]
    for a, b in zip(first, second, strict=True):
        assert a.read_bytes() == b.read_bytes()


@pytest.mark.parametrize("name", CONTRACT)
def test_tables_begin_with_the_contracts_columns(name: str, written: Path) -> None:
    header = (written / name).read_text(encoding="utf-8").splitlines()[0].split(",")
    assert header[: len(CONTRACT[name].split())] == CONTRACT[name].split()
    assert len(set(header)) == len(header)


def test_every_clip_has_one_row_and_set_aside_ones_have_a_reason_and_no_place(written: Path) -> None:
    rows = {row["clip"]: row for row in table(written / "clips.csv")}
    assert len(rows) == 6
    foreign = rows["clips/chest/CLIP0003.mp4"]
    assert foreign["set_aside"] == "filmed on another day"
    assert foreign["placed"] == "none" and foreign["start_utc"] == foreign["lat"] == ""
    unplaced = rows["clips/stern/DECK_003.mp4"]
    assert unplaced["placed"] == "none" and unplaced["set_aside"] == ""
    good = rows["clips/stern/DECK_001.mp4"]
    # The invented clip starts at T0 + 2200.1234567 s and lasts 600 s; its sigma has four figures.
    assert good["start_utc"] == "2026-05-09T04:36:40.123Z" and good["end_utc"] == "2026-05-09T04:46:40.123Z"
    assert good["start_local"] == "2026-05-09T06:36:40.123+02:00"
    assert good["clock_sigma_s"] == "0.01235" and re.fullmatch(r"59\.\d{6}", good["lat"])


def test_catches_have_both_outcomes_and_the_measured_length_before_the_doubtful_one(written: Path) -> None:
    rows = {row["catch"]: row for row in table(written / "catches.csv")}
    assert [rows[c]["outcome"] for c in ("C1", "C2", "C3")] == ["landed", "lost", "landed"]
    assert (rows["C1"]["measured_length_mm"], rows["C1"]["measured_verdict"]) == ("634.5", "measured")
    assert rows["C3"]["measured_length_mm"] == ""  # refused: no number is better than a wrong one
    assert rows["C1"]["clips"] == "clips/chest/CLIP0001.mp4; clips/stern/DECK_001.mp4"
    # source: 1 knot = 1852 m / 3600 s exactly (reference UNI-01); the invented boat goes 1.2 m/s
    assert float(rows["C1"]["speed_kn"]) == pytest.approx(1.2 * 3600 / 1852, abs=0.005)


def test_json_and_tables_agree(written: Path) -> None:
    facts = json.loads((written / "trip.json").read_text(encoding="utf-8"))
    for row, told in zip(table(written / "clips.csv"), facts["clips"], strict=True):
        assert (row["clip"], row["start_utc"] or None, row["placed"]) == (told["clip"], told["start_utc"], told["placed"])
    for row, told in zip(table(written / "catches.csv"), facts["catches"], strict=True):
        assert (row["catch"], row["time_utc"]) == (told["catch"], told["time_utc"])
        assert float(row["lat"]) == told["position"]["lat"]


def test_free_text_cannot_become_a_formula(tmp_path: Path) -> None:
    # source: CSV injection, common practice (a cell that begins with = + - @ is a formula to a spreadsheet)
    record = trip(note='=HYPERLINK("x")\n+1')
    write_ledger(record, tmp_path)
    assert table(tmp_path / "catches.csv")[0]["note"] == '\'=HYPERLINK("x") +1'
    assert float(next(r for r in table(tmp_path / "clips.csv"))["clock_offset_s"]) < 0  # a negative number stays one


@given(st.text(max_size=40))
def test_no_text_cell_begins_like_a_formula(text: str) -> None:
    assert text_cell(text)[:1] not in ("=", "+", "-", "@", "\t", "\r")
    guarded = path_cell(text)
    assert guarded[:1] not in ("=", "+", "-", "@", "\t", "\r")
    assert Path(guarded) == Path(text)  # "./x" names the same file as "x"


@given(st.floats(allow_nan=True, allow_infinity=True), st.integers(0, 6))
def test_figures_are_finite_or_missing(value: float, digits: int) -> None:
    number = rounded(value, digits)
    assert (number is None) == (not math.isfinite(value))
    assert cell(value, digits) in ("",) if number is None else float(cell(value, digits)) == number


@given(st.floats(1e-7, 1e7))
def test_significant_figures_keep_four(value: float) -> None:
    assert significant(value) == pytest.approx(value, rel=5.1e-4)
    assert float(significant_cell(value)) == pytest.approx(value, rel=5.1e-4)
    assert "e" not in significant_cell(value)

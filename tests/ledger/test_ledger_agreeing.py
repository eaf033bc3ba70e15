"""Measured against logged lengths: said where they differ, to be checked where they differ grossly, and never changed."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_trip import trip

from reelnotes.ledger import held_against_log, trip_facts
from reelnotes.ledger.schema import trip_schema
from reelnotes.records.estimates import Estimate
from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import Catch, LineUp


def lineup(logged_mm: float | None) -> LineUp:
    catch = Catch("C01", "landed", Estimate(0.0, 5.0), "cod", None, None, None, (), (), logged_length_mm=logged_mm)
    return LineUp((), (), (catch,))


def fish(mm: float | None, half: float = 3.0, verdict: str = "measured", **more: object) -> FishLength:
    if mm is None:
        return FishLength("a.mp4", 0.0, 1.0, "refused", "the tail is hidden", catch="C01")
    row = FishLength("a.mp4", 0.0, 1.0, verdict, total_length_mm=mm, low_mm=mm - half, high_mm=mm + half, u_mm=half / 1.96)
    return replace(row, catch="C01", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("measured", "logged", "half", "verdict", "said"),
    [
        (600.0, 600.0, 3.0, "measured", False),
        (600.0, 650.0, 3.0, "measured", False),  # 8 %: by eye
        (600.0, 540.0, 40.0, "measured", False),  # 11 %, but the measured one is wide
        (600.0, 700.0, 3.0, "measured", True),  # 14 % of 700 mm
        (600.0, 520.0, 3.0, "measured", True),
        (600.0, 800.0, 3.0, "check", True),  # 25 %
        (600.0, 450.0, 3.0, "check", True),  # 33 %
        (600.0, 60.0, 3.0, "check", True),  # a slip of the pen: 60 mm for 60 cm
        (600.0, None, 3.0, "measured", False),
        (600.0, 0.0, 0.0, "measured", False),  # no length at all
    ],
)
def test_what_is_said(measured, logged, half, verdict, said):
    (told,), remarks = held_against_log([fish(measured, half)], lineup(logged), "metric")
    assert told.verdict == verdict and told.total_length_mm == measured
    assert ("it differs from the log" in told.reason) is said
    assert ("another fish" in told.reason) is (verdict == "check")
    assert [r.serious for r in remarks] == [False] * said
    if said:
        assert f"{logged / 10:.1f} cm" in told.reason and "C01" in told.reason and "60.0 cm" in remarks[0].what


def test_what_was_in_doubt_stays_in_doubt_and_keeps_its_reason():
    (told,), _ = held_against_log([fish(600.0, verdict="check", reason="a hand is near")], lineup(700.0), "imperial")
    assert told.verdict == "check" and told.reason == "it differs from the log, which says 27.6 in for C01; a hand is near"


def test_no_length_and_no_catch_have_nothing_to_differ_from():
    rows = [fish(None), replace(fish(600.0), catch="")]
    assert held_against_log(rows, lineup(100.0), "metric") == (tuple(rows), ())


@given(st.floats(50, 2000), st.floats(50, 2000), st.floats(1, 60))
def test_a_doubt_is_never_taken_away(measured, logged, half):
    for verdict in ("measured", "check"):
        row = fish(measured, half, verdict, reason="x" * (verdict == "check"))
        (told,), _ = held_against_log([row], lineup(logged), "metric")
        assert told.verdict in ("check", verdict)
        assert told.verdict == "measured" or told.reason


def test_the_record_still_follows_its_schema():
    jsonschema = pytest.importorskip("jsonschema")
    record = trip()
    catches = tuple(replace(c, logged_length_mm=100.0) for c in record.lineup.catches)
    changed = replace(record.lineup, catches=catches)
    lengths, remarks = held_against_log(record.lengths, changed, "metric")
    assert remarks and any(f.verdict == "check" and "the log, which says" in f.reason for f in lengths)
    jsonschema.validate(trip_facts(replace(record, lineup=changed, lengths=lengths)), trip_schema())

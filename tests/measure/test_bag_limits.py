"""Kept fish against the bag, limits that met no fish, and limits in the trip's own units."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.measure import limit_notes, limit_remarks
from reelnotes.measure.limits import against, bag_notes, in_the_bag
from reelnotes.records.estimates import Estimate
from reelnotes.records.folder import SizeLimit
from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import Catch, LineUp

OSLO = ZoneInfo("Europe/Oslo")
T0 = 1_778_300_000.0  # 2026-05-09, morning


def catch(species: str, kept: bool | None, at: float = 0.0, outcome: str = "landed", name: str = "C01") -> Catch:
    return Catch(name, outcome, Estimate(T0 + at, 5.0), species, kept, None, None, (), ())


def cod(kept: int = 0, released: int = 0, unknown: int = 0) -> list[Catch]:
    return [catch("cod", k) for k, n in ((True, kept), (False, released), (None, unknown)) for _ in range(n)]


@pytest.mark.parametrize(
    ("landed", "bag", "says"),
    [
        (cod(kept=2), 3, "2 kept by the log, within the bag of 3"),
        (cod(kept=3), 3, "the whole bag of 3: no more may be kept"),
        (cod(kept=4), 3, "over the bag of 3"),
        (cod(kept=4, unknown=2), 3, "over the bag of 3"),
        (cod(kept=2, released=5), 3, "within the bag of 3"),
        (cod(kept=2, unknown=1), 3, "at most the whole bag of 3 with 1 of unknown"),  # the third may fill the bag
        (cod(kept=3, unknown=1), 3, "too little is logged"),
        (cod(unknown=2), 3, "0 kept by the log, within the bag of 3, also with 2 of unknown"),
        (cod(kept=1), 0, "over the bag of 0"),
        (cod(released=1), 0, "none may be kept, and 0 kept by the log"),
        ([*cod(kept=2), catch("", True)], 3, "at most the whole bag"),  # a kept fish of no name may be a cod
        ([*cod(kept=2), catch("", False), catch("ling", True)], 3, "within"),
    ],
)
def test_the_bag(landed, bag, says):
    assert says in in_the_bag(landed, SizeLimit("Cod ", bag=bag))


@given(st.integers(0, 6), st.integers(0, 4), st.integers(0, 4), st.integers(0, 6))
def test_more_fish_of_unknown_fate_never_make_it_surer(kept, released, unknown, bag):
    told = in_the_bag(cod(kept, released, unknown), SizeLimit("cod", bag=bag))
    worst, least = kept + unknown, kept
    if "over" in told:
        assert least > bag
    elif "at most the whole" in told:
        assert unknown and worst == bag
    elif "whole" in told or "none may be kept" in told:
        assert least == worst == bag
    elif "within" in told:
        assert worst < bag
    else:
        assert unknown and least <= bag < worst


def test_a_bag_is_a_days_and_by_local_midnight():
    limit = SizeLimit("cod", bag=1)
    night = [catch("cod", True, at) for at in (0.0, 12 * 3600.0, 20 * 3600.0)]  # 06:53, 18:53 and 02:53 next day
    told = bag_notes(night, [limit], OSLO)
    assert [("2026-05-09" in t, "over" in t) for t in told] == [(True, True), (False, False)]
    assert "2026-05-10" in told[1] and "whole bag" in told[1]
    assert bag_notes([catch("cod", None, outcome="lost")], [limit], OSLO) == ()
    assert bag_notes([catch("ling", True)], [limit], OSLO) == ()
    assert bag_notes([catch("cod", True)], [SizeLimit("cod", minimum_mm=400.0)], OSLO) == ()
    (alone,) = bag_notes(cod(kept=2), [limit], OSLO)
    assert alone.startswith("cod: 2 kept") and "the local rule decides" in alone


def test_limits_that_met_no_fish_are_one_remark():
    lineup = LineUp((), (), (catch("sea trout", True), catch("cod", None, outcome="lost")))
    limits = [
        SizeLimit("Cod", minimum_mm=400.0),
        SizeLimit("seatrout", bag=2),
        SizeLimit("seatrout", bag=2),
        SizeLimit("hake", bag=1),
    ]
    (said,) = limit_remarks(lineup, limits)
    assert not said.serious and "logged as seatrout, hake" in said.what
    assert "cod, sea trout" in said.advice and "is 'seatrout' its 'sea trout'?" in said.advice
    assert limit_remarks(lineup, limits[:1]) == () and limit_remarks(LineUp((), (), ()), limits) == ()
    (said,) = limit_remarks(LineUp((), (), (catch("", True),)), limits[:1])
    assert "the log names no species" in said.advice


def test_a_limit_is_told_in_the_trips_units():
    fish = FishLength("a.mp4", 0, 1, "measured", total_length_mm=405.0, low_mm=401.0, high_mm=409.0, catch="C01")
    limit = SizeLimit("cod", minimum_mm=15.75 * 25.4, maximum_mm=30 * 25.4, slot_mm=(18 * 25.4, 20.5 * 25.4))
    told = against(fish, limit, "imperial")
    assert "cm" not in told
    assert "15.79 to 16.10 in" in told and "clear of the minimum of 15.75 in" in told
    assert "maximum of 30.00 in" in told and "slot of 18.00 to 20.50 in" in told
    lineup = LineUp((), (), (catch("cod", True),))
    (note,) = limit_notes([fish], lineup, [limit], OSLO, "imperial")
    assert "15.75 in" in note and "no legal proof" in note
    (note,) = limit_notes([fish], lineup, [limit], OSLO, "metric")
    assert "40.1 to 40.9 cm" in note and " in," not in note


def test_one_bag_named_by_two_sizes_is_told_once_and_a_bag_alone_tells_no_size():
    two = [SizeLimit("cod", minimum_mm=400.0, bag=2), SizeLimit("cod", "fork", maximum_mm=900.0, bag=2)]
    assert len(bag_notes(cod(kept=1), two, OSLO)) == 1
    fish = FishLength("a.mp4", 0.0, 1.0, "measured", total_length_mm=500.0, low_mm=495.0, high_mm=505.0, catch="C01")
    lineup = LineUp((), (), tuple(cod(kept=1)))
    assert [
        ("bag" in note, "a.mp4" in note) for note in limit_notes([fish], lineup, [SizeLimit("cod", bag=2)], OSLO, "metric")
    ] == [(True, False)]

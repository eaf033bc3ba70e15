"""Measured fish and logged catches: tied by time, settled by the logged length, never across fish."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st
from invented_trip import T0, trip

from reelnotes.ledger import join_lengths
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.estimates import Estimate
from reelnotes.records.lengths import FishLength
from reelnotes.records.log import LogEvent
from reelnotes.records.trip import Catch, LineUp, PlacedClip, PlacedEvent, Sight


def lineup(*landed: tuple[str, float, float | None], sigma: float = 5.0, start: float | None = T0) -> LineUp:
    """One long clip from T0, and fish landed so many seconds into it."""
    time = ClipTime("a.mp4", "utc", start, 0.02) if start is not None else ClipTime("a.mp4", "relative", None, 0.02, None, 1, 0.0)
    clip = PlacedClip(Clip("a.mp4", trip().folder.root, "chest", duration_s=3600.0), time)
    catches = tuple(
        Catch(name, "landed", Estimate(T0 + at, sigma), "trout", None, None, None, (), (), logged_length_mm=mm)
        for name, at, mm in landed
    )
    events = tuple(
        PlacedEvent(
            f"E{i}",
            LogEvent("landed", T0 + at, 1.0, "log"),
            Estimate(T0 + at, sigma),
            None,
            None,
            (Sight("a.mp4", 0, at, sigma),),
            name,
        )
        for i, (name, at, _) in enumerate(landed)
    )
    return LineUp((clip,), events, catches)


def on_board(at: float, mm: float | None = 500.0, clip: str = "a.mp4") -> FishLength:
    return FishLength(clip, at, at + 5.0, "measured" if mm else "refused", "" if mm else "tail hidden", total_length_mm=mm)


def joined(length: FishLength, where: LineUp) -> str:
    return join_lengths([length], where)[0].catch


def test_a_fish_on_the_board_is_the_one_just_landed() -> None:
    two = lineup(("C1", 100.0, None), ("C2", 220.0, None))
    assert joined(on_board(160.0), two) == "C1"
    assert joined(on_board(215.0), lineup(("C1", 100.0, None), ("C2", 235.0, None))) == "C1"
    assert joined(on_board(260.0), two) == "C2"


def test_long_after_or_well_before_any_landing_it_is_nobodys() -> None:
    one = lineup(("C1", 1000.0, None))
    assert joined(on_board(1000.0 + 400.0), one) == ""
    assert joined(on_board(900.0), one) == ""
    assert joined(on_board(1000.0 + 170.0), one) == "C1"


def test_a_late_note_still_ties() -> None:
    # The landing was noted 30 s after the fish lay on the board, and the noted time says so.
    assert joined(on_board(970.0), lineup(("C1", 1000.0, None), sigma=20.0)) == "C1"
    assert joined(on_board(970.0), lineup(("C1", 1000.0, None), sigma=2.0)) == ""


def test_the_logged_length_settles_a_doubt_between_two_fish_only() -> None:
    two = lineup(("C1", 100.0, 505.0), ("C2", 150.0, 700.0))
    assert joined(on_board(180.0, 500.0), two) == "C1"  # C1 was measured after C2 came aboard
    assert joined(on_board(180.0, 705.0), two) == "C2"
    assert joined(on_board(180.0, 690.0), lineup(("C1", 100.0, 700.0))) == "C1"
    assert joined(on_board(180.0, 500.0), lineup(("C1", 100.0, 700.0))) == "C1"  # a wrong log does not untie the only fish
    assert joined(on_board(1500.0, 700.0), two) == ""  # and a right one does not tie across time


def test_a_clip_without_utc_is_tied_by_what_it_shows() -> None:
    assert joined(on_board(160.0), lineup(("C1", 100.0, None), start=None)) == "C1"
    assert joined(on_board(160.0, clip="b.mp4"), lineup(("C1", 100.0, None), start=None)) == ""


def test_lost_fish_are_never_measured_and_refused_lengths_are_tied_too() -> None:
    one = lineup(("C1", 100.0, None))
    lost = replace(one, catches=(replace(one.catches[0], outcome="lost"),))
    assert joined(on_board(130.0), lost) == ""
    assert joined(on_board(130.0, None), one) == "C1"


@given(st.lists(st.floats(0, 3000), min_size=1, max_size=6), st.floats(0, 3500))
def test_only_landed_catches_within_reach_are_named(landings: list[float], at: float) -> None:
    where = lineup(*((f"C{i}", t, None) for i, t in enumerate(sorted(landings))))
    name = joined(on_board(at), where)
    if name:
        landing = next(c.time.value for c in where.catches if c.id == name) - T0
        assert -125.0 <= at - landing <= 180.0 + 125.0
    else:
        assert all(at < t or at - t > 180.0 for t in landings)

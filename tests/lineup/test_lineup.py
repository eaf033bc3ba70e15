"""The line-up against hand-worked days."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.lineup import boards_tell, line_up, track_alone
from reelnotes.lineup.noted import before_the_board, noted_density, weigh_by_boat, weigh_by_footage, whereabouts
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime, Clocks
from reelnotes.records.lengths import FishLength
from reelnotes.records.log import LogEvent
from reelnotes.records.tracks import Leg, Position, Track
from reelnotes.records.trip import PlacedClip

DAY = 1_778_300_000.0


def clip(name: str, seconds: float = 60.0) -> Clip:
    return Clip(name, Path(name), "chest", rate=Fraction(30000, 1001), frames=round(seconds * 30000 / 1001), duration_s=seconds)


def note(kind: str, at: float, step: float = 60.0, **more: object) -> LogEvent:
    return LogEvent(kind, DAY + at, step, f"log line {at:g}", **more)  # type: ignore[arg-type]


def day(clips: dict[str, tuple[float, float]], events: list[LogEvent]):
    track = Track(
        pd.DataFrame({"time_utc_s": []}),
        (
            Leg(1, "not moving", DAY, DAY + 100, 0, 0),
            Leg(2, "trolling", DAY + 100, DAY + 4000, 4000, 1.0),
            Leg(3, "not moving", DAY + 4000, DAY + 5000, 0, 0),
        ),
    )
    times = {name: ClipTime(name, "utc", DAY + start, 0.1) for name, (start, _) in clips.items()}
    made = [clip(name, length) for name, (_, length) in clips.items()]
    return line_up(made, Clocks(times), track, lambda t: Position(t, 60.0, 5.0, 3.0, 1.0, 0.1, 90.0), events)


def test_clips_before_on_and_after_the_water() -> None:
    lined = day({"ramp": (0, 40), "launch": (80, 60), "sea": (1000, 60), "cook": (4500, 60)}, [])
    assert [(c.clip.name, c.when) for c in lined.clips] == [
        ("ramp", "before"), ("launch", "on the water"), ("sea", "on the water"), ("cook", "after"),
    ]  # fmt: skip
    assert lined.clip("launch").leg.kind == "trolling"  # most of it lies there


def test_an_unplaced_clip_keeps_its_row_and_gets_no_place() -> None:
    lined = line_up([clip("a")], Clocks({}), Track(pd.DataFrame({"time_utc_s": []})), lambda _t: None, [])
    assert lined.clips[0].time.placed == "none" and lined.clips[0].position is None and lined.clips[0].when == ""


def test_an_event_is_before_its_note_and_inside_the_footage() -> None:
    # Filmed 960 to 1020, noted "at 1080" to the minute: the filmed minute before the note is the likeliest.
    lined = day({"sea": (960, 60)}, [note("landed", 1080, species="cod")])
    event = lined.events[0]
    assert DAY + 960 < event.time.value < DAY + 1080
    assert event.sights[0].clip == "sea" and 0 <= event.sights[0].frame < 1798
    assert event.sights[0].sigma_s > 5


def test_an_event_outside_all_footage_says_so() -> None:
    lined = day({"sea": (200, 60)}, [note("sighting", 3000)])
    assert lined.events[0].sights == () and lined.events[0].leg.kind == "trolling"


def test_a_noted_time_has_the_spread_that_its_digits_give() -> None:
    def spread(step: float) -> float:
        t, p = noted_density(LogEvent("note", DAY, step, "x", late_s=1.0))
        return float(np.sqrt(np.sum((t - np.sum(t * p)) ** 2 * p)))

    # A uniform written second, minute: at least step/sqrt(12) (GUM 4.3.7, rectangular distribution)
    assert spread(60.0) > 60 / np.sqrt(12) and spread(1.0) < 2.0


@given(st.floats(1, 3600), st.floats(1, 600), st.floats(-500, 500), st.floats(1, 900))
def test_densities_are_densities(step: float, late: float, start: float, length: float) -> None:
    event = LogEvent("note", DAY, step, "x", late_s=late)
    placed = PlacedClip(clip("a", length), ClipTime("a", "utc", DAY + start, 0.1))
    t, p = weigh_by_footage(noted_density(event), [placed])
    assert p.sum() == pytest.approx(1.0) and p.min() >= 0
    assert t[0] <= DAY - late and t[-1] >= DAY + step - 1  # nothing that the note allows is shut out
    assert t[-1] <= DAY + step + 2  # and no event follows its own note


def told(*events: LogEvent) -> list[tuple[str, str, bool | None, int]]:
    return [(c.species, c.outcome, c.kept, len(c.events)) for c in day({}, list(events)).catches]


def test_a_fish_is_told_by_several_events() -> None:
    assert told(
        note("strike", 100, 1.0), note("hooked", 140, 1.0), note("landed", 300, 1.0, species="cod", kept=True),
        note("strike", 600, 1.0), note("lost", 700, 1.0, species="pollack"),
    ) == [("cod", "landed", True, 3), ("pollack", "lost", None, 2)]  # fmt: skip


def test_a_missed_strike_is_no_fish() -> None:
    assert told(note("strike", 100, 1.0), note("strike", 900, 1.0), note("landed", 1000, 1.0)) == [("", "landed", None, 2)]
    assert told(note("strike", 100, 1.0)) == []


def test_release_belongs_to_the_last_landed_fish() -> None:
    rows = [note("landed", 300, 1.0, species="sea trout", kept=None), note("released", 420, 1.0, species="sea trout")]
    assert told(*rows) == [("sea trout", "landed", False, 2)]
    assert told(note("released", 420, 1.0, species="perch")) == [("perch", "landed", False, 1)]


def test_an_old_hook_up_does_not_open_a_fish_hours_later() -> None:
    assert told(note("hooked", 100, 1.0), note("landed", 9000, 1.0)) == [("", "landed", None, 1)]


def test_a_fish_on_the_board_was_landed_shortly_before() -> None:
    clips = {"fight": (900, 120), "board": (1050, 4)}
    late = [note("hooked", 900, 1.0), note("landed", 1140, species="cod")]
    alone = day(clips, late)
    told = boards_tell(alone, [FishLength("board", 0.5, 3.0, "measured", catch=alone.catches[0].id)])
    assert told == {"log line 1140": DAY + 1050.5}
    track, times = Track(pd.DataFrame({"time_utc_s": []})), {n: ClipTime(n, "utc", DAY + s, 0.1) for n, (s, _) in clips.items()}
    again = line_up([clip(n, s) for n, (_, s) in clips.items()], Clocks(times), track, lambda _t: None, late, told)
    landed = next(e for e in again.events if e.event.kind == "landed")
    before = next(e for e in alone.events if e.event.kind == "landed")
    assert DAY + 900 < landed.time.value < DAY + 1050.5 and landed.time.sigma < before.time.sigma


def test_a_board_that_contradicts_the_note_is_not_believed() -> None:
    density = noted_density(note("landed", 1000, 1.0))
    t, p = before_the_board(density, DAY + 100)
    assert np.array_equal(p, density[1]) and np.array_equal(t, density[0])


def test_a_fish_is_not_landed_at_full_speed() -> None:
    density = noted_density(note("landed", 1000, 1.0))
    legs = (Leg(1, "drifting", DAY, DAY + 940, 0, 0.3), Leg(2, "under way", DAY + 940, DAY + 3000, 9000, 9.0))
    t, p = weigh_by_boat(density, Track(pd.DataFrame({"time_utc_s": []}), legs))
    before = float(density[1][t < DAY + 940].sum())
    assert float(p[t < DAY + 940].sum()) > max(0.8, before)
    all_day = (Leg(1, "under way", DAY - 9e3, DAY + 9e3, 0, 9.0),)
    nowhere = weigh_by_boat(density, Track(pd.DataFrame({"time_utc_s": []}), all_day))
    assert np.allclose(nowhere[1], density[1])


def running_off(t_utc_s: float) -> Position:
    """East at 0.5 m/s until DAY, then at 2.5 m/s, on the equator: a degree there is 111 319.5 m (WGS 84)."""
    after = t_utc_s - DAY
    speed = 0.5 if after < 0 else 2.5
    return Position(t_utc_s, 0.0, speed * after / 111_319.5, 3.0, speed, 0.1, 90.0)


def test_a_place_is_no_surer_than_the_instant() -> None:
    # GUM 4.3.7: a rectangular distribution of half width a has the standard uncertainty a / sqrt(3).
    density = (DAY - 100.0 + np.arange(61.0), np.full(61, 1 / 61))
    here = whereabouts(density, DAY - 70.0, running_off)
    east_m = 0.5 * 30 / np.sqrt(3)
    assert here.sigma_m == pytest.approx(np.hypot(3.0, east_m / np.sqrt(2)), rel=0.03)  # per axis, both made alike
    assert (here.speed_mps, here.speed_sigma_mps) == pytest.approx((0.5, 0.1)) and here.speed_tells


def test_a_speed_that_changed_meanwhile_is_not_told_as_known() -> None:
    density = (DAY - 30.0 + np.arange(61.0), np.full(61, 1 / 61))
    here = whereabouts(density, DAY + 1.0, running_off)
    assert here.speed_mps == pytest.approx(1.5, abs=0.15) and here.speed_sigma_mps == pytest.approx(1.0, abs=0.05)
    assert not here.speed_tells


def test_a_run_that_may_have_begun_says_nothing_of_the_catch() -> None:
    # Noted to the minute: the last instants that it may have had lie in a leg under way.
    track = Track(
        pd.DataFrame({"time_utc_s": []}),
        (Leg(1, "drifting", DAY - 5000, DAY, 0, 0.5), Leg(2, "under way", DAY, DAY + 900, 0, 2.5)),
    )
    lined = line_up([], Clocks({}), track, running_off, [note("landed", -20), note("sighting", -20)])
    landed, sighted = lined.events
    assert landed.position.speed_mps == pytest.approx(0.5) and landed.position.speed_tells
    assert sighted.position.speed_mps > 0.6 and not sighted.position.speed_tells  # a bird is seen at any speed


def test_a_course_that_turned_meanwhile_is_missing() -> None:
    density = (DAY - 30.0 + np.arange(61.0), np.full(61, 1 / 61))

    def about(t_utc_s: float) -> Position:
        return replace(running_off(t_utc_s), course_deg=90.0 if t_utc_s < DAY else 270.0)

    assert whereabouts(density, DAY, running_off).course_deg == 90.0
    assert whereabouts(density, DAY, about).course_deg is None


def test_without_a_track_there_is_no_place() -> None:
    assert whereabouts((np.array([DAY]), np.ones(1)), DAY, lambda _t: None) is None


def test_a_track_of_another_day_is_told() -> None:
    def apart(days: float, events: list[LogEvent]) -> str:
        lined = day({"sea": (1000, 60)}, events)
        points = pd.DataFrame({"time_utc_s": [DAY - days * 86400.0, DAY - days * 86400.0 + 5000.0]})
        return str(track_alone(lined, Track(points)) or "")

    landed = [note("landed", 1010)]
    assert apart(0.0, landed) == ""
    assert "40.0 days from the log and clips" in apart(40.0, landed)
    assert "10.2 days" in apart(-10.25, landed)
    assert apart(40.0, []) == ""  # a camera's word alone does not outweigh the receiver's

"""The edit: invariants over random moments, and the order in which time is given."""

import math
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.cuts import choose_cuts
from reelnotes.cuts.framing import last_frame
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.cuts import EditList, Moment
from reelnotes.records.problems import SettingsError
from reelnotes.records.settings import EditSettings
from reelnotes.records.trip import LineUp, PlacedClip

NTSC = Fraction(30000, 1001)
RATES = [NTSC, Fraction(25), Fraction(30), Fraction(60000, 1001), Fraction(24000, 1001), Fraction(50)]
T0 = 1_770_000_000.0


def clip(
    name: str, start_s: float | None, length_s: float, rate: Fraction = NTSC, camera: str = "bow", variable: bool = False
) -> PlacedClip:
    frames = math.floor(Fraction(length_s) * rate)
    duration = float(frames / rate)
    made = Clip(
        name,
        Path("/trip") / name,
        camera,
        rate=rate,
        frames=None if variable else frames,
        duration_s=duration,
        variable_rate=variable,
    )
    if start_s is None:
        return PlacedClip(made, ClipTime(name, "none"))
    return PlacedClip(made, ClipTime(name, "utc", T0 + start_s, 0.01))


def moment(
    name: str,
    core: tuple[float, float],
    weight: float = 0.5,
    kind: str = "landed",
    event: str = "",
    chance: float = 1.0,
    order: float = 0.0,
) -> Moment:
    return Moment(kind, name, *core, core, weight, ("why",), T0 + order, "", event, chance)


def lineup(*clips: PlacedClip) -> LineUp:
    return LineUp(clips, (), ())


def spans(edit: EditList, line: LineUp) -> list[tuple[float, float, str]]:
    """(start, end) in seconds on the trip's line, of the cuts that have a place there."""
    out = []
    for cut in edit.cuts:
        placed = line.clip(cut.clip)
        assert placed is not None
        if placed.time.start_utc_s is not None:
            start = placed.time.start_utc_s - T0
            out.append((start + float(cut.in_frame / cut.rate), start + float(cut.out_frame / cut.rate), cut.clip))
    return out


@st.composite
def trips(draw: st.DrawFn) -> tuple[LineUp, list[Moment], EditSettings]:
    clips = []
    for camera in draw(st.lists(st.sampled_from(["bow", "stern", "phone"]), min_size=1, max_size=3, unique=True)):
        at, rate = draw(st.floats(0, 100)), draw(st.sampled_from(RATES))
        for n in range(draw(st.integers(1, 4))):
            length = draw(st.floats(0.5, 120))
            unplaced = draw(st.integers(0, 9)) == 0
            clips.append(clip(f"clips/{camera}/{n}.mp4", None if unplaced else at, length, rate, camera, draw(st.booleans())))
            at += length + draw(st.floats(0.0, 200))
    moments = []
    for n in range(draw(st.integers(0, 12))):
        shown = draw(st.sampled_from(clips))
        low = draw(st.floats(0, max(0.0, shown.clip.duration_s - 0.1)))
        high = min(shown.clip.duration_s, low + draw(st.floats(0.1, 8)))
        order = (shown.time.start_utc_s or T0) + low - T0
        moments.append(
            moment(
                shown.clip.name,
                (low, high),
                draw(st.floats(0.1, 1.0)),
                event=f"E{n % 5}",
                chance=draw(st.floats(0.01, 1)),
                order=order,
            )
        )
    wanted = draw(st.one_of(st.none(), st.floats(5, 200)))
    rate_text = draw(st.one_of(st.none(), st.sampled_from(["25", "30000/1001"])))
    return lineup(*clips), moments, EditSettings(length_s=wanted, handles_s=draw(st.floats(0, 4)), frame_rate=rate_text)


@settings(max_examples=150, deadline=None)
@given(trips())
def test_an_edit_never_breaks_its_promises(trip: tuple[LineUp, list[Moment], EditSettings]) -> None:
    line, moments, wish = trip
    edit = choose_cuts(moments, line, wish)
    record = edit.start_frame
    for number, cut in enumerate(edit.cuts, start=1):
        placed = line.clip(cut.clip)
        assert placed is not None and cut.number == number
        assert 0 <= cut.in_frame < cut.out_frame <= last_frame(placed.clip)  # inside the clip
        assert cut.frames / cut.rate >= Fraction(3, 2)  # no shot under 1.5 s
        assert cut.record_in_frame == record  # no hole, no overlap in the record
        off = (cut.record_out_frame - cut.record_in_frame) / edit.rate - cut.frames / cut.rate
        assert abs(off) <= Fraction(1, 2) / edit.rate  # the record holds the shot, to half a frame
        assert cut.rate != edit.rate or off == 0
        record = cut.record_out_frame
    shown = spans(edit, line)
    for i, a in enumerate(shown):
        for b in shown[i + 1 :]:
            assert min(a[1], b[1]) - max(a[0], b[0]) <= 0.1  # no instant twice, whichever camera
    footage = _seconds_of_trip_filmed(line)  # 30 s are allowed for guards between cameras and for scraps too short to use
    if wish.length_s is not None and footage > 1.3 * wish.length_s + 30:
        assert edit.length_s == pytest.approx(wish.length_s, rel=0.03)
    if wish.length_s is not None and edit.cuts:
        assert edit.length_s <= max(1.03 * wish.length_s, 3.0)


def _seconds_of_trip_filmed(line: LineUp) -> float:
    """Seconds of the day that any camera filmed: footage of one instant counts once. Only placed clips long enough to cut."""
    total, reach = 0.0, -math.inf
    for placed in sorted(
        (c for c in line.clips if c.time.start_utc_s is not None and c.clip.duration_s > 4), key=lambda c: c.time.start_utc_s or 0
    ):
        start, end = placed.time.start_utc_s or 0.0, placed.end_utc_s or 0.0
        total += max(0.0, end - max(start, reach))
        reach = max(reach, end)
    return total


@pytest.mark.parametrize(("first_s", "wanted_s"), [(3.98, 5.0), (2.0, 3.0), (4.0, 4.5)])
def test_a_short_clip_leaves_no_time_that_is_too_short_for_another_shot(first_s: float, wanted_s: float) -> None:
    line = lineup(clip("a.mp4", 0, first_s), clip("b.mp4", first_s + 0.1, 37))
    edit = choose_cuts([], line, EditSettings(length_s=wanted_s, handles_s=0))
    assert edit.length_s == pytest.approx(wanted_s, rel=0.03)


def test_a_shot_that_has_grown_gives_way_where_the_rest_is_too_short_for_another() -> None:
    line = lineup(clip("a.mp4", None, 3.98), clip("b.mp4", 0, 37, camera="stern"))
    edit = choose_cuts([moment("a.mp4", (0, 1))], line, EditSettings(length_s=5, handles_s=0))
    assert edit.length_s == pytest.approx(5, rel=0.03)
    assert {cut.clip for cut in edit.cuts} == {"a.mp4", "b.mp4"}


def test_two_cameras_at_one_instant_give_one_shot() -> None:
    line = lineup(clip("a.mp4", 0, 60), clip("b.mp4", 0, 60, camera="stern"))
    edit = choose_cuts([moment("a.mp4", (20, 24)), moment("b.mp4", (20, 24))], line, EditSettings(handles_s=1))
    assert len(edit.cuts) == 1


def test_the_weightiest_moments_survive_a_short_wish() -> None:
    line = lineup(clip("a.mp4", 0, 300))
    moments = [
        moment("a.mp4", (20.0 * n, 20.0 * n + 4), weight=w, event=f"E{n}") for n, w in enumerate([0.4, 1.0, 0.5, 0.9, 0.3])
    ]
    edit = choose_cuts(moments, line, EditSettings(length_s=8.5))
    held = spans(edit, line)
    assert any(a <= 21 and b >= 23.5 for a, b, _ in held) and any(a <= 61 and b >= 63.5 for a, b, _ in held)
    assert edit.length_s == pytest.approx(8.5, abs=0.1)


def test_handles_shrink_before_any_moment_is_dropped() -> None:
    line = lineup(clip("a.mp4", 0, 300))
    moments = [moment("a.mp4", (40.0 * n + 10, 40.0 * n + 14), event=f"E{n}") for n in range(5)]
    edit = choose_cuts(moments, line, EditSettings(length_s=25, handles_s=4))
    assert len(edit.cuts) == 5
    assert all(cut.frames / cut.rate == pytest.approx(5.0, abs=0.1) for cut in edit.cuts)


def test_natural_length_is_cores_and_handles() -> None:
    line = lineup(clip("a.mp4", 0, 300))
    edit = choose_cuts([moment("a.mp4", (50, 54)), moment("a.mp4", (150, 154))], line, EditSettings(handles_s=2))
    assert [round(float(c.frames / c.rate), 1) for c in edit.cuts] == [8.0, 8.0]


def test_an_uncertain_event_is_sought_where_it_is_likeliest() -> None:
    line = lineup(clip("a.mp4", 0, 300))
    parts = [moment("a.mp4", (30.0 * n, 30.0 * n + 4), 1.0, event="E1", chance=c) for n, c in enumerate([0.05, 0.2, 0.6, 0.15])]
    edit = choose_cuts(parts, line, EditSettings(length_s=8, handles_s=0))
    held = spans(edit, line)
    assert any(a <= 60.1 and b >= 63.9 for a, b, _ in held) and any(a <= 30.1 and b >= 33.9 for a, b, _ in held)


def test_story_order_is_time_order_across_cameras() -> None:
    line = lineup(clip("a.mp4", 0, 60), clip("b.mp4", 30, 60, camera="stern"), clip("c.mp4", 80, 60))
    moments = [moment("c.mp4", (5, 9)), moment("b.mp4", (30, 34)), moment("a.mp4", (5, 9))]
    edit = choose_cuts(moments, line, EditSettings(handles_s=1))
    assert [c.clip for c in edit.cuts] == ["a.mp4", "b.mp4", "c.mp4"]


def test_an_empty_trip_gives_an_empty_list() -> None:
    edit = choose_cuts([], lineup(), EditSettings(length_s=60))
    assert edit.cuts == () and edit.length_s == 0.0


def test_clips_without_any_moment_still_make_the_wanted_length() -> None:
    line = lineup(clip("a.mp4", None, 60), clip("b.mp4", None, 60))
    assert choose_cuts([], line, EditSettings(length_s=30)).length_s == pytest.approx(30, rel=0.03)


def test_the_commonest_rate_rules_unless_another_is_set() -> None:
    line = lineup(clip("a.mp4", 0, 60, Fraction(25)), clip("b.mp4", 100, 60, Fraction(25)), clip("c.mp4", 200, 600))
    assert choose_cuts([], line, EditSettings(length_s=30)).rate == 25
    assert choose_cuts([], line, EditSettings(length_s=30, frame_rate="30000/1001")).rate == NTSC


@pytest.mark.parametrize(
    ("text", "rate"), [("29.97", NTSC), ("23.976", Fraction(24000, 1001)), ("59.94", Fraction(60000, 1001)), ("30", Fraction(30))]
)
def test_decimal_rates_are_taken_for_the_exact_ones(text: str, rate: Fraction) -> None:
    # source: common practice: 29.97 is short for 30000/1001
    assert choose_cuts([], lineup(), EditSettings(frame_rate=text)).rate == rate


@pytest.mark.parametrize("text", ["fast", "0", "1/0", "-25"])
def test_a_rate_that_is_none_is_told_by_its_key(text: str) -> None:
    with pytest.raises(SettingsError, match=r"edit\.frame_rate"):
        choose_cuts([], lineup(), EditSettings(frame_rate=text))


def test_the_list_opens_on_the_edits_own_rate_when_the_footage_has_it() -> None:
    line = lineup(
        clip("a.mp4", 0, 60, NTSC), clip("b.mp4", 100, 60, Fraction(25), "stern"), clip("c.mp4", 200, 60, Fraction(25), "stern")
    )
    edit = choose_cuts([moment("a.mp4", (10, 14)), moment("c.mp4", (10, 14), order=210)], line, EditSettings())
    assert edit.rate == 25 and edit.cuts[0].rate == 25


def test_source_code_counts_on_from_the_clips_own() -> None:
    placed = clip("a.mp4", 0, 60)
    import dataclasses

    timed = dataclasses.replace(placed, clip=dataclasses.replace(placed.clip, timecode="00:59:59;28"))
    edit = choose_cuts([moment("a.mp4", (0.0, 4.0))], lineup(timed), EditSettings(handles_s=0))
    # source: drop-frame rule TIM-12: 01:00:00 is a tenth minute, no label is skipped there
    assert edit.cuts[0].in_frame == 0 and edit.cuts[0].in_tc == "00:59:59;28"
    plain = dataclasses.replace(placed, clip=dataclasses.replace(placed.clip, timecode="01:00:00:00"))
    edit = choose_cuts([moment("a.mp4", (10.0, 14.0))], lineup(plain), EditSettings(handles_s=0))
    assert edit.cuts[0].in_tc == "01:00:10:00"  # a camera that counts non-drop stays non-drop

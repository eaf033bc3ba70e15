"""Timecode against SMPTE ST 12-1's rule, published numbers, and two other libraries."""

from fractions import Fraction

import opentimelineio as otio
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.records.rates import (
    frame_to_seconds,
    frames_to_timecode,
    is_drop_frame,
    nominal,
    seconds_to_frame,
    timecode_to_frames,
)

NTSC, PAL, FILM, HIGH = Fraction(30000, 1001), Fraction(25), Fraction(24000, 1001), Fraction(60000, 1001)

# source: SMPTE ST 12-1 drop-frame rule; worked steps in Heidelberger 2010; reference values TIM-13 to TIM-16
PUBLISHED = [
    ("00:00:59;29", 1799),
    ("00:01:00;02", 1800),
    ("00:10:00;00", 17982),
    ("01:00:00;00", 107892),
    ("12:38:59;29", 1364833),
    ("12:39:00;02", 1364834),
]


@pytest.mark.parametrize(("text", "frame"), PUBLISHED)
def test_published_drop_frame_numbers(text: str, frame: int) -> None:
    assert timecode_to_frames(text, NTSC) == frame
    assert frames_to_timecode(frame, NTSC) == text


def test_a_day_of_drop_frame_code() -> None:
    # source: TIM-16, 24 h are 2 589 408 frames; the label wraps to zero there
    assert timecode_to_frames("23:59:59;29", NTSC) == 2_589_407
    assert frames_to_timecode(2_589_408, NTSC) == "00:00:00;00"


def test_numbers_skipped_an_hour() -> None:
    # source: TIM-17, 108 an hour
    assert timecode_to_frames("01:00:00:00", NTSC) - timecode_to_frames("01:00:00;00", NTSC) == 108


def test_sixty_fields() -> None:
    # source: TIM-21 (value from memory, recomputed there): 35 964 frames in ten minutes at 59.94
    assert timecode_to_frames("00:10:00;00", HIGH) == 35_964


@pytest.mark.parametrize("bad", ["00:01:00;00", "00:01:00;01", "00:00:00:30", "00:61:00:00", "1:2:3", "", "00:00:00.000.00"])
def test_labels_that_do_not_exist(bad: str) -> None:
    with pytest.raises(ValueError):
        timecode_to_frames(bad, NTSC)


def test_no_drop_frame_where_the_standard_has_none() -> None:
    # source: TIM-20, 23.976 has no drop-frame; EDL-09, drop frame is illegal at 25
    assert not is_drop_frame(FILM) and not is_drop_frame(PAL)
    with pytest.raises(ValueError):
        frames_to_timecode(10, PAL, drop=True)
    with pytest.raises(ValueError):
        timecode_to_frames("00:00:01;00", FILM)


@given(st.integers(0, 2_589_407), st.sampled_from([NTSC, PAL, FILM, HIGH, Fraction(50)]))
def test_there_and_back(frame: int, rate: Fraction) -> None:
    text = frames_to_timecode(frame, rate)
    a_day = 2_589_408 * nominal(rate) // 30 if is_drop_frame(rate) else 86_400 * nominal(rate)
    assert timecode_to_frames(text, rate) == frame % a_day


@given(st.integers(0, 2_589_407))
def test_same_label_as_opentimelineio(frame: int) -> None:
    # source: OpenTimelineIO's own conversion
    theirs = otio.opentime.to_timecode(otio.opentime.RationalTime(frame, 30000 / 1001), 30000 / 1001, True)
    assert frames_to_timecode(frame, NTSC) == theirs


@given(st.integers(0, 10_000_000), st.sampled_from([NTSC, PAL, FILM, HIGH]))
def test_a_frame_begins_on_its_own_second(frame: int, rate: Fraction) -> None:
    assert seconds_to_frame(frame_to_seconds(frame, rate), rate) == frame

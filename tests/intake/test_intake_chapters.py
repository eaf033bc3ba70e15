import itertools
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.intake.chapters import join_chapters
from reelnotes.records.clips import AudioLayout, Clip

T = 1_778_300_000.0  # an invented morning


def clip(name, stamp_s=T, duration_s=80.0, **more):
    fields = {"size_bytes": int(duration_s * 1e6), "container": "mov", "codec": "h264", "width_px": 1920, "height_px": 1080}
    fields |= {"rate": Fraction(25), "frames": round(duration_s * 25), "audio": AudioLayout(48000, 2, "aac")}
    return Clip(f"clips/stern/{name}.mp4", Path(name), "stern", duration_s=duration_s, stamp_s=stamp_s, **(fields | more))


def shape(clips):
    """recording (as the number of its first file), chapter, chapters, lead for each clip"""
    joined, problems = join_chapters(clips)
    names = [c.name for c in joined]
    assert names == [c.name for c in clips]
    return [(names.index(c.recording), c.chapter, c.chapters, c.lead_s) for c in joined], problems


def alone(count):
    return [(number, 0, 0, 0.0) for number in range(count)]


THREE = [(0, 1, 3, 0.0), (0, 2, 3, 80.0), (0, 3, 3, 160.0)]


@pytest.mark.parametrize(
    "names",
    [
        ("DECK0009_01", "DECK0009_02", "DECK0009_03"),
        ("DECK0009-001", "DECK0009-002", "DECK0009-003"),
        ("20260509_062210_1", "20260509_062210_2", "20260509_062210_3"),
        ("AB010123", "AB020123", "AB030123"),
        ("ABCD0123", "AB010123", "AB020123"),
    ],
)
def test_chapters_that_repeat_the_stamp_are_joined(names):
    clips = [clip(names[0]), clip(names[1]), clip(names[2], duration_s=40.0)]
    assert shape(clips) == (THREE, [])


def test_the_lead_is_the_sum_of_the_chapters_before():
    clips = [clip("D1_01", duration_s=80.04), clip("D1_02", duration_s=79.96), clip("D1_03", duration_s=7.0)]
    assert [lead for *_, lead in shape(clips)[0]] == pytest.approx([0.0, 80.04, 160.0])


def test_chapters_stamped_one_after_another_are_joined_when_full():
    clips = [clip("D0009_01"), clip("D0009_02", T + 80), clip("D0009_03", T + 161, duration_s=40.0)]
    assert shape(clips) == (THREE, [])


def test_two_chapters_by_name_need_no_third_to_be_believed():
    # Whole-second stamps 100.4 s apart read 100 or 101 s apart; at the end of each file, 60.
    for second in (T + 100, T + 101, T + 60):
        clips = [clip("D0009_01", T, 100.4), clip("D0009_02", second, 60.0), clip("D0010_01", T + 900, 140.0)]
        assert [row[1] for row in shape(clips)[0]] == [1, 2, 0]


def test_stamps_at_the_end_follow_on_by_the_later_length():
    clips = [clip("D0009_01", T + 80), clip("D0009_02", T + 160), clip("D0009_03", T + 200, duration_s=40.0)]
    assert shape(clips) == (THREE, [])


def test_running_numbers_are_joined_when_stamps_follow_and_files_are_full():
    clips = [
        clip("CLIP0007", duration_s=300.0),
        clip("CLIP0008", T + 300, duration_s=300.0),
        clip("CLIP0009", T + 600, duration_s=33.0),
    ]
    assert [row[1] for row in shape(clips)[0]] == [1, 2, 3]


def test_a_file_against_the_32_bit_limit_is_full():
    clips = [clip("CLIP0007", size_bytes=4_080_000_000), clip("CLIP0008", T + 80, duration_s=12.0)]
    assert [row[1] for row in shape(clips)[0]] == [1, 2]


@pytest.mark.parametrize(
    ("why", "clips"),
    [
        ("independent recordings count on too", [clip("DECK_031"), clip("DECK_032", T + 317)]),
        (
            "begun at once after the last, but neither was full",
            [clip("DECK_031", duration_s=23.0), clip("DECK_032", T + 23, duration_s=51.0)],
        ),
        ("numbers with a gap", [clip("CLIP0007"), clip("CLIP0009", T + 80)]),
        ("another size", [clip("D0009_01"), clip("D0009_02", width_px=1280, height_px=720)]),
        ("another rate", [clip("D0009_01"), clip("D0009_02", rate=Fraction(50))]),
        ("another sound", [clip("D0009_01"), clip("D0009_02", audio=None)]),
        ("another camera", [clip("D0009_01"), replace(clip("D0009_02"), camera="bow")]),
        ("counted files of one day, begun at once", [clip("2026-05-09_001", T, 23.0), clip("2026-05-09_002", T + 23, 51.0)]),
        ("a pause that looks like the later, longer file", [clip("D0009_01", T, 20.0), clip("D0009_02", T + 31, 31.0)]),
        ("date-named files of one day", [clip("2026-05-09_001", T, 23.0), clip("2026-05-09_002", T + 400, 51.0)]),
        ("no stamps and not full", [clip("D0009_01", None, 23.0), clip("D0009_02", None, 51.0)]),
        ("one has lost its stamp", [clip("D0009_01"), clip("D0009_02", None)]),
        ("the stamp runs backwards", [clip("D0009_01"), clip("D0009_02", T - 80)]),
    ],
)
def test_what_is_not_joined(why, clips):
    assert shape(clips) == (alone(2), []), why


def test_a_clock_that_stands_still_proves_nothing():
    clips = [clip(f"CLIP{n:04d}", 1_451_606_400.0, length) for n, length in enumerate((20.0, 31.0, 12.0, 44.0), 7)]
    assert shape(clips)[0] == alone(4)
    clips = [clip(name, T, length) for name, length in (("D0008_01", 20.0), ("D0009_01", 23.0), ("D0009_02", 51.0))]
    assert shape(clips)[0] == alone(3)


def test_other_recordings_between_are_left_alone():
    clips = [clip("D0008_01", T - 900), clip("D0009_01"), clip("D0009_02"), clip("D0010_01", T + 900)]
    assert [row[:3] for row in shape(clips)[0]] == [(0, 0, 0), (1, 1, 2), (1, 2, 2), (3, 0, 0)]


def test_after_a_missing_chapter_the_rest_stands_alone_without_the_repeated_stamp():
    joined, problems = join_chapters([clip("D0009_01"), clip("D0009_03"), clip("D0009_04", duration_s=40.0)])
    assert [(c.chapter, c.chapters, c.lead_s, c.stamp_s) for c in joined] == [
        (0, 0, 0.0, T),
        (1, 2, 0.0, None),
        (2, 2, 80.0, None),
    ]
    assert joined[1].recording == joined[2].recording == joined[1].name
    assert "chapter 2 of this recording is missing" in str(problems[0])


def test_an_unreadable_chapter_counts_as_missing():
    broken = Clip("clips/stern/D0009_02.mp4", Path("x"), "stern", set_aside="the file ends early")
    joined, problems = join_chapters([clip("D0009_01"), broken, clip("D0009_03")])
    assert joined[1] == replace(broken, recording=broken.name)
    assert joined[2].chapter == 0
    assert joined[2].stamp_s is None
    assert len(problems) == 1


def test_a_lone_later_chapter_is_known_by_the_cameras_habit():
    habit = [clip("D0008_01", T - 900), clip("D0008_02", T - 900)]
    assert join_chapters([*habit, clip("D0009_02")])[0][2].stamp_s is None
    assert join_chapters([clip("D0008_01", T - 900), clip("D0009_02")])[0][1].stamp_s == T  # nothing shows the habit


@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.floats(3, 600), st.floats(2.2, 5000)), min_size=2, max_size=8),
    st.sampled_from(["CLIP{:04d}", "D_{:03d}"]),
)
def test_recordings_with_a_pause_between_are_never_joined(lengths, pattern):
    clips, at = [], T
    for number, (length, pause) in enumerate(lengths, 1):
        clips.append(clip(pattern.format(number), float(int(at)), round(length * 25) / 25))
        at += length + pause
    # A pause can make a gap look like the *later* file's length (stamps at the end): only full files may be fooled.
    joined, _ = join_chapters(clips)
    for before, after in itertools.pairwise(joined):
        if before.recording == after.recording:
            assert abs((after.stamp_s - before.stamp_s) - after.duration_s) <= 1.1

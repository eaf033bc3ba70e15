"""The writers, read back by other programs' readers."""

import copy
import csv
import io
import itertools
import json
import re
from fractions import Fraction
from pathlib import Path

import opentimelineio as otio
import pytest
import timecode
import webvtt
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.cuts import chapter_lines, write_chapters, write_cuts
from reelnotes.cuts.csv_list import csv_text
from reelnotes.cuts.edl import edl_texts, reel_names, write_edl
from reelnotes.cuts.framing import record_start_frame
from reelnotes.cuts.otio import timeline
from reelnotes.cuts.vtt import timestamp, vtt_text
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.cuts import Cut, EditList
from reelnotes.records.rates import frames_to_timecode, timecode_to_frames
from reelnotes.records.trip import LineUp, PlacedClip

NTSC, PAL = Fraction(30000, 1001), Fraction(25)


def edit_of(
    shots: list[tuple[str, int, int, Fraction]], rate: Fraction = NTSC, title: str = "Dawn", why: str = "landed: logged"
) -> EditList:
    record = start = record_start_frame(rate)
    cuts = []
    for number, (name, first, last, own) in enumerate(shots, start=1):
        length = round((last - first) / own * rate)
        code = [frames_to_timecode(n, own) for n in (first, last)] + [
            frames_to_timecode(n, rate) for n in (record, record + length)
        ]
        cuts.append(
            Cut(
                number,
                name,
                first,
                last,
                own,
                code[0],
                code[1],
                record,
                record + length,
                code[2],
                code[3],
                why,
                "landed",
                f"C{number:02d}",
            )
        )
        record += length
    return EditList(title, rate, start, tuple(cuts), 60.0)


def lineup_of(edit: EditList, root: Path) -> LineUp:
    names = dict.fromkeys((c.clip, c.rate) for c in edit.cuts)
    clips = [Clip(n, root / n, "bow", rate=r, frames=100_000, duration_s=float(100_000 / r)) for n, r in names]
    return LineUp(tuple(PlacedClip(c, ClipTime(c.name, "utc", 0.0)) for c in clips), (), ())


EDIT = edit_of(
    [
        ("clips/bow/MOV 01.mp4", 100, 280, NTSC),
        ("clips/bow/MOV 02.mp4", 17_900, 18_100, NTSC),
        ("clips/bow/MOV 01.mp4", 900, 1_000, NTSC),
    ]
)
MIXED = edit_of([("clips/a/A.mp4", 0, 90, NTSC), ("clips/b/B.mp4", 50, 150, PAL), ("clips/a/A.mp4", 200, 260, NTSC)])


# --- timecode


# source: reference values TIM-13 to TIM-16, TIM-21 (SMPTE ST 12-1, D. Heidelberger 2010)
@pytest.mark.parametrize(
    ("label", "frame", "rate"),
    [
        ("00:00:59;29", 1_799, NTSC),
        ("00:01:00;02", 1_800, NTSC),
        ("00:10:00;00", 17_982, NTSC),
        ("01:00:00;00", 107_892, NTSC),
        ("12:38:59;29", 1_364_833, NTSC),
        ("12:39:00;02", 1_364_834, NTSC),
        ("00:10:00;00", 35_964, Fraction(60000, 1001)),
    ],
)
def test_published_drop_frame_labels(label: str, frame: int, rate: Fraction) -> None:
    assert frames_to_timecode(frame, rate) == label
    assert timecode_to_frames(label, rate) == frame


@settings(max_examples=200, deadline=None)
@given(st.integers(0, 2_589_407))
def test_drop_frame_agrees_with_two_libraries(frame: int) -> None:
    # source: the timecode library (its frames count from 1) and OpenTimelineIO
    ours = frames_to_timecode(frame, NTSC)
    assert str(timecode.Timecode("29.97", frames=frame + 1)) == ours
    assert otio.opentime.from_timecode(ours, float(NTSC)).value == frame


@pytest.mark.parametrize(
    ("rate", "label"),
    [(NTSC, "01:00:00;00"), (PAL, "01:00:00:00"), (Fraction(24000, 1001), "01:00:00:00"), (Fraction(60000, 1001), "01:00:00;00")],
)
def test_the_record_starts_at_one_hour(rate: Fraction, label: str) -> None:
    assert frames_to_timecode(record_start_frame(rate), rate) == label


# --- EDL


def read_edl(text: str, rate: float) -> list[otio.schema.Clip]:
    # source: the OpenTimelineIO adapter for CMX 3600 lists
    line = otio.adapters.read_from_string(text, adapter_name="cmx_3600", rate=rate)
    return [clip for track in line.tracks for clip in track if isinstance(clip, otio.schema.Clip)]


@pytest.mark.parametrize("rate", [NTSC, PAL, Fraction(30), Fraction(24)])
def test_edl_is_read_back_frame_for_frame(rate: Fraction) -> None:
    edit = edit_of([("x/one.mp4", 0, 60, rate), ("x/two.mp4", 1_790, 1_850, rate), ("y/one.mp4", 17_950, 18_000, rate)], rate)
    (text,) = edl_texts(edit)
    shots = read_edl(text, float(rate))
    assert [(s.source_range.start_time.value, s.source_range.duration.value) for s in shots] == [
        (c.in_frame, c.frames) for c in edit.cuts
    ]
    assert [s.name for s in shots] == [c.clip for c in edit.cuts]


def test_edl_columns_and_header() -> None:
    (text,) = edl_texts(EDIT)
    lines = text.splitlines()
    assert lines[0] == "TITLE: Dawn" and lines[1] == "FCM: DROP FRAME"  # source: EDL-09
    event = next(line for line in lines if line.startswith("001"))
    # source: EDL-02: reel 6-13, channel 15-19, transition 21, source 30-52, record 54-76 (counted from 1)
    assert (event[5:13].strip(), event[14:19].strip(), event[20]) == ("MOV01", "V", "C")
    assert event[29:40] == EDIT.cuts[0].in_tc and event[41:52] == EDIT.cuts[0].out_tc
    assert event[53:64] == EDIT.cuts[0].record_in_tc and event[65:76] == EDIT.cuts[0].record_out_tc
    assert edl_texts(edit_of([("a.mp4", 0, 50, PAL)], PAL))[0].splitlines()[1] == "FCM: NON-DROP FRAME"


def test_edl_says_when_rates_are_mixed() -> None:
    assert "MIXED RATES" in edl_texts(MIXED)[0] and "* SOURCE RATE: 25/1" in edl_texts(MIXED)[0]
    assert "MIXED RATES" not in edl_texts(EDIT)[0]


def test_edl_of_more_than_999_shots_goes_on_in_further_lists(tmp_path: Path) -> None:
    edit = edit_of([(f"clips/{n}.mp4", 0, 45, NTSC) for n in range(2_100)])
    (tmp_path / "cuts-7.edl").write_text("of an earlier, longer edit")
    (tmp_path / "cuts-notes.edl").write_text("the user's own")
    written = write_edl(edit, tmp_path / "cuts.edl")
    assert [p.name for p in written] == ["cuts.edl", "cuts-2.edl", "cuts-3.edl"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["cuts-2.edl", "cuts-3.edl", "cuts-notes.edl", "cuts.edl"]
    numbers = [[int(m) for m in re.findall(r"^(\d+) ", p.read_text(), re.M)] for p in written]
    assert [(n[0], n[-1]) for n in numbers] == [(1, 999), (1, 999), (1, 102)]  # source: EDL-03


@given(st.lists(st.text(min_size=1, max_size=30).map(lambda s: f"clips/{s}.mp4"), max_size=60))
def test_reel_names_are_short_plain_and_unlike(names: list[str]) -> None:
    reels = reel_names(names)
    assert len(set(reels.values())) == len(set(names))
    assert all(re.fullmatch(r"[A-Z0-9]{1,8}", reel) and reel not in ("AX", "BL") for reel in reels.values())  # source: EDL-04


# --- OTIO


def test_otio_round_trip(tmp_path: Path) -> None:
    line = lineup_of(MIXED, tmp_path / "a trip, 50% of it")
    text = timeline(MIXED, line).to_json_string()
    back = otio.adapters.read_from_string(text, adapter_name="otio_json")
    shots = list(back.tracks[0])
    assert [(s.source_range.start_time.value, s.source_range.duration.value, s.source_range.duration.rate) for s in shots] == [
        (c.in_frame, c.frames, float(c.rate)) for c in MIXED.cuts
    ]
    assert all(s.media_reference.target_url.startswith("file:///") and " " not in s.media_reference.target_url for s in shots)
    assert "50%25" in shots[0].media_reference.target_url
    assert shots[1].metadata["reelnotes"]["rate"] == "25/1"
    assert back.global_start_time == otio.opentime.from_timecode("01:00:00;00", float(NTSC))


# --- WebVTT


@settings(deadline=None)
@given(st.text(max_size=60), st.text(max_size=40))
def test_vtt_is_read_by_another_parser(why: str, title: str) -> None:
    edit = edit_of([("a.mp4", 0, 90, NTSC), ("b.mp4", 0, 100, PAL)], title=title, why=why)
    # source: webvtt-py; rules VTT-01 to VTT-05
    captions = webvtt.from_string(vtt_text(edit)).captions
    assert [c.identifier for c in captions] == ["1", "2"]
    assert captions[0].start == "00:00:00.000" and captions[0].end == captions[1].start
    assert captions[0].end_in_seconds == int(90 * 1001 / 30000)
    assert "-->" not in captions[0].raw_text and "\n" not in captions[0].raw_text


def test_vtt_timestamps() -> None:
    # source: VTT-01: hours two digits or more, exactly three decimals
    assert timestamp(Fraction(0)) == "00:00:00.000"
    assert timestamp(Fraction(3_600 * 100) + Fraction(1, 3)) == "100:00:00.333"
    assert timestamp(Fraction(59_9996, 10_000)) == "00:01:00.000"


# --- CSV and all together


def test_csv_has_the_agreed_columns_first() -> None:
    rows = list(csv.DictReader(io.StringIO(csv_text(EDIT))))
    assert list(rows[0])[:10] == [
        "cut",
        "clip",
        "in_frame",
        "out_frame",
        "rate",
        "in_tc",
        "out_tc",
        "record_in_tc",
        "why",
        "catch",
    ]
    assert rows[1]["rate"] == "30000/1001" and int(rows[1]["out_frame"]) == 18_100


def test_a_reason_is_never_a_formula() -> None:
    edit = edit_of([("a.mp4", 0, 90, NTSC)], why="=1+1")
    assert next(csv.DictReader(io.StringIO(csv_text(edit))))["why"] == "'=1+1"


@pytest.mark.parametrize("edit", [EDIT, MIXED, edit_of([])], ids=["plain", "mixed rates", "empty"])
def test_all_lists_agree_and_none_changes_the_edit(edit: EditList, tmp_path: Path) -> None:
    line = lineup_of(edit, tmp_path)
    before = copy.deepcopy((edit, line))
    written = write_cuts(edit, line, tmp_path)
    write_chapters(edit, tmp_path / "chapters.txt")
    assert (edit, line) == before
    assert [p.name for p in written] == ["cuts.csv", "cuts.edl", "cuts.otio", "cuts.vtt"]
    rows = list(csv.DictReader(io.StringIO((tmp_path / "cuts.csv").read_text())))
    events = re.findall(r"^\d{3}  .{8} V     C        (\S+) (\S+) (\S+) (\S+)$", (tmp_path / "cuts.edl").read_text(), re.M)
    ranges = [c["source_range"] for c in json.loads((tmp_path / "cuts.otio").read_text())["tracks"]["children"][0]["children"]]
    assert len(rows) == len(events) == len(ranges) == len(edit.cuts)
    for row, event, span in zip(rows, events, ranges, strict=True):
        assert event == (row["in_tc"], row["out_tc"], row["record_in_tc"], row["record_out_tc"])
        assert span["start_time"]["value"] == int(row["in_frame"])
        assert span["duration"]["value"] == int(row["out_frame"]) - int(row["in_frame"])
        assert timecode_to_frames(row["in_tc"], Fraction(row["rate"])) == int(row["in_frame"])


# --- chapters


def test_chapters_start_at_zero_ascend_and_last_ten_seconds() -> None:
    # source: common practice of video sites, no standard
    edit = edit_of(
        [(f"{n}.mp4", 0, 30 * length, Fraction(30)) for n, length in enumerate([4, 3, 5, 30, 2, 2, 12, 3])], Fraction(30)
    )
    lines = chapter_lines(edit)
    seconds = [int(line[:2]) * 60 + int(line[3:5]) for line in lines]
    assert lines[0].startswith("00:00 ") and all(b - a >= 10 for a, b in itertools.pairwise(seconds))
    assert edit.length_s - seconds[-1] >= 10
    assert len(lines) >= 2


def test_chapters_call_a_catch_by_its_name_and_merge_what_reads_alike() -> None:
    edit = edit_of([(f"{n}.mp4", 0, 600, Fraction(30)) for n in range(3)], Fraction(30))
    names = {"C01": "cod", "C02": "cod", "C03": "sea trout"}
    assert chapter_lines(edit, names) == ["00:00 Landed: cod", "00:40 Landed: sea trout"]


def test_chapters_of_an_empty_edit() -> None:
    assert chapter_lines(edit_of([])) == []

"""The clip that measured a fish is among the catch's clips, in the record and in the sorted tree alike."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from zoneinfo import ZoneInfo

from reelnotes.lineup import with_measuring_clips
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.estimates import Estimate
from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import Catch, LineUp, PlacedClip
from reelnotes.sorting.planning import plan_tree

T0 = 1_778_300_000.0


def placed(name: str, at: float) -> PlacedClip:
    return PlacedClip(Clip(name, Path(name), "chest", rate=Fraction(30), duration_s=20.0), ClipTime(name, "utc", T0 + at, 0.1))


def catch(name: str, at: float, *clips: str) -> Catch:
    return Catch(name, "landed", Estimate(T0 + at, 5.0), "cod", None, None, None, (), clips)


LINEUP = LineUp(
    (placed("landing.mp4", 0), placed("board.mp4", 60), placed("again.mp4", 90), placed("other.mp4", 300)),
    (),
    (catch("C01", 10, "landing.mp4"), catch("C02", 305, "other.mp4")),
)


def length(clip: str, of: str, verdict: str = "measured") -> FishLength:
    return FishLength(clip, 1.0, 3.0, verdict, catch=of)


def test_the_measuring_clips_come_after_those_that_show_the_catch():
    tied = [length("board.mp4", "C01"), length("again.mp4", "C01", "refused"), length("landing.mp4", "C01")]
    tied.append(length("other.mp4", ""))
    told = with_measuring_clips(LINEUP, tied)
    assert [c.clips for c in told.catches] == [("landing.mp4", "again.mp4", "board.mp4"), ("other.mp4",)]
    assert with_measuring_clips(told, tied) == told
    assert with_measuring_clips(LINEUP, []) == LINEUP


def test_they_are_sorted_with_it():
    told = with_measuring_clips(LINEUP, [length("board.mp4", "C01")])
    folders = {place.clip: place.path.rsplit("/", 2)[-2] for place in plan_tree(told, ZoneInfo("Europe/Oslo"))}
    assert folders["board.mp4"] == folders["landing.mp4"] == "C01 cod landed"
    assert folders["again.mp4"] != "C01 cod landed"
    unplaced = replace(told, clips=(*told.clips[:1], replace(told.clips[1], time=ClipTime("board.mp4", "none")), *told.clips[2:]))
    folders = {place.clip: place.path.rsplit("/", 2)[-2] for place in plan_tree(unplaced, ZoneInfo("Europe/Oslo"))}
    assert folders["board.mp4"] == "C01 cod landed"

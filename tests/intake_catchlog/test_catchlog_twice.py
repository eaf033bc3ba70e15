"""The same row twice: two fish in one file, a copy in another."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from reelnotes.intake import read_trip
from reelnotes.intake.catchlog import read_log_file, without_copies
from reelnotes.lineup.catches import gather_catches
from reelnotes.records.estimates import Estimate
from reelnotes.records.log import LogEvent
from reelnotes.records.trip import PlacedEvent

HEAD = "time,event,species,length,kept\n"
COD = "06:42,landed,cod,50 cm,kept\n"
LOST = "06:50,lost,ling,,\n"


def read(folder: Path, text: str, name: str = "log/catches.csv"):
    path = folder / name.replace("/", "-")
    path.write_text(text)
    return read_log_file(path, name, date=dt.date(2026, 5, 9), zone=ZoneInfo("Europe/Oslo"))


def test_two_equal_fish_in_one_minute_are_two_and_it_is_said(tmp_path):
    events, problems = read(tmp_path, HEAD + COD + COD + LOST)
    assert [e.kind for e in events] == ["landed", "landed", "lost"]
    assert [e.source for e in events[:2]] == ["log/catches.csv line 2", "log/catches.csv line 3"]
    (said,) = problems
    assert said.where == "log/catches.csv line 3" and not said.serious
    assert "line 2" in said.what and "two fish" in said.done
    placed = tuple(PlacedEvent(f"E{n}", e, Estimate(e.time_utc_s, 30.0), None, None) for n, e in enumerate(events))
    assert [c.outcome for c in gather_catches(placed)[1]] == ["landed", "landed", "lost"]


def test_a_release_told_twice_is_of_another_fish_only_while_one_is_left(tmp_path):
    landed, released = "06:19,landed,cod,50 cm,\n", "06:20,released,cod,,\n"
    other = "06:18,landed,pollack,,\n"
    for rows, kept in ((landed, 1), (other + landed, 2), ("", 2)):
        events, problems = read(tmp_path, HEAD + rows + released + released + LOST)
        assert [e.kind for e in events].count("released") == kept, rows
        assert ["repeats" in p.what for p in problems] == [kept == 1]


def test_what_is_no_fish_or_was_stored_twice_in_one_second_is_one(tmp_path):
    sighting, second = "06:30,sighting,,,\n", "06:42:10,landed,cod,50 cm,kept\n"
    events, problems = read(tmp_path, HEAD + sighting + sighting + second + second + LOST)
    assert [e.kind for e in events] == ["sighting", "landed", "lost"]
    assert [(p.where[-1], "repeats" in p.what) for p in problems] == [("3", True), ("5", True)]


def test_below_the_header_again_a_row_is_a_copy_as_often_as_it_stood_above(tmp_path):
    events, problems = read(tmp_path, HEAD + COD + LOST + HEAD + COD + COD + LOST)
    assert [e.kind for e in events] == ["landed", "landed", "lost"]
    assert {p.where[-1]: "repeats" in p.what for p in problems} == {"5": True, "6": False, "7": True}
    assert [e.kind for e in read(tmp_path, HEAD + COD + COD + HEAD + COD + COD + HEAD + COD)[0]] == ["landed"] * 2


def test_the_same_log_exported_twice(tmp_path):
    first, _ = read(tmp_path, HEAD + COD + COD + LOST, "log/a.csv")
    again, _ = read(tmp_path, "Time;Length;Event;Species;Kept\n06:42;50 cm;landed;cod;yes\n06:55;;lost;hake;\n", "log/b.csv")
    events, problems = without_copies([("log/a.csv", first), ("log/b.csv", again)])
    assert [(e.kind, e.species) for e in events] == [("landed", "cod"), ("landed", "cod"), ("lost", "ling"), ("lost", "hake")]
    assert [str(p) for p in problems] == ["log/b.csv line 2: another log of the trip says the same; each was taken once"]
    assert not problems[0].serious


def test_many_copies_are_one_remark(tmp_path):
    rows = [LogEvent("note", 60.0 * n, 60.0, f"log/b.csv line {n + 2}", note=str(n)) for n in range(40)]
    events, (problem,) = without_copies([("log/a.csv", rows), ("log/b.csv", rows)])
    assert len(events) == 40 and problem.where == "log/b.csv lines 2, 3, 4, 5, 6 and 35 more"


@given(st.lists(st.lists(st.integers(0, 3), max_size=6), max_size=4))
def test_of_each_event_as_many_are_kept_as_the_file_has_that_says_it_most_often(files):
    logs = [
        (f"{k}.csv", [LogEvent("landed", float(n), 60.0, f"{k}.csv line {i}") for i, n in enumerate(f)])
        for k, f in enumerate(files)
    ]
    events, _ = without_copies(logs)
    for n in range(4):
        assert sum(e.time_utc_s == n for e in events) == max((f.count(n) for f in files), default=0)
    assert [e.time_utc_s for e in events] == sorted(e.time_utc_s for e in events)


def test_a_trip_with_a_log_and_its_copy(tmp_path):
    (tmp_path / "log").mkdir()
    for name in ("catches.csv", "catches (1).csv"):
        (tmp_path / "log" / name).write_text(HEAD + "2026-05-09 " + COD + "2026-05-09 " + COD)
    folder = read_trip(tmp_path)
    assert len(folder.events) == 2 and len({e.source for e in folder.events}) == 2
    assert sum("another log of the trip says the same" in p.what for p in folder.problems) == 1

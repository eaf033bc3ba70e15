"""Logs with real-world dirt: the good parts kept, each problem told by file, line and column."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reelnotes.intake.catchlog import looks_like_log, read_log_file
from reelnotes.records.log import EVENT_KINDS, LogEvent
from reelnotes.records.problems import Problem, UnreadableError

OSLO = ZoneInfo("Europe/Oslo")
MAY_9 = dt.date(2026, 5, 9)


def read(
    tmp_path: Path,
    text: str | bytes,
    *,
    name: str = "log/catches.csv",
    date: dt.date | None = MAY_9,
    zone: ZoneInfo = OSLO,
    units: str = "metric",
    within: tuple[float, float] | None = None,
) -> tuple[tuple[LogEvent, ...], tuple[Problem, ...]]:
    path = tmp_path / "log.csv"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return read_log_file(path, name, date=date, zone=zone, units=units, within_utc_s=within)


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()


def times(events: tuple[LogEvent, ...]) -> list[str]:
    return [dt.datetime.fromtimestamp(event.time_utc_s, dt.UTC).strftime("%dT%H:%M:%S") for event in events]


def test_a_clean_log(tmp_path: Path) -> None:
    events, problems = read(
        tmp_path,
        (
            "time,event,species,length,weight,kept,bait,rig,depth,setback,rod,note\n"
            '2026-05-09T06:42:10+02:00,landed,cod,63.5 cm,3.2 kg,kept,herring,spoon,12 m,30 m,left,"fought well, twice"\n'
            "2026-05-09 06:50,lost,,,,,,,,,,\n"
        ),
    )
    assert problems == ()
    assert events[0] == LogEvent(
        "landed",
        utc("2026-05-09T04:42:10+00:00"),
        1.0,
        "log/catches.csv line 2",
        species="cod",
        length_mm=635.0,
        weight_kg=3.2,
        kept=True,
        bait="herring",
        rig="spoon",
        depth_m=12.0,
        setback_m=30.0,
        rod="left",
        note="fought well, twice",
    )
    assert (events[1].kind, events[1].step_s, events[1].time_utc_s) == ("lost", 60.0, utc("2026-05-09T04:50:00+00:00"))


# One row said in five languages, headers and all, delimiters and encodings as people have them.
@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("When,What,Fish,Size,Wt,Kept?\n9 May 2026 6:42 am,Landed,X,25 in,7 lb 3 oz,yes\n", "utf-8"),
        ("Dato;Klokkeslett;Hendelse;Art;Lengde (cm);Vekt (kg);Beholdt\n09.05.2026;06.42;Landet;X;63,5;3,26;ja\n", "utf-8-sig"),
        ("Datum\tTid\tHändelse\tFisk\tLängd\tVikt\tBehållen\n2026-05-09\tkl 06:42\tlandad\tX\t63,5 cm\t3,26 kg\tja\n", "utf-16"),
        (
            "Uhrzeit;Ereignis;Fischart;Größe;Gewicht;Verbleib\n9. Mai 2026 06:42 Uhr;gelandet;X;63,5 cm;3,26 kg;entnommen\n",
            "latin-1",
        ),
        (
            "fecha y hora;suceso;especie;tamaño;peso;conservado\n9 de mayo de 2026 6:42 a. m.;captura;X;63,5 cm;3,26 kg;sí\n",
            "utf-8",
        ),
        ("hora|evento|especie|tamano|peso|guardado\n2026-05-09 06:42|capturado|X|63.5 cm|3.26 kg|si\n", "utf-8"),
    ],
)
def test_five_languages(tmp_path: Path, text: str, encoding: str) -> None:
    events, problems = read(tmp_path, text.encode(encoding), date=None)
    assert problems == ()
    (event,) = events
    assert (event.kind, event.species, event.kept) == ("landed", "X", True)
    assert event.time_utc_s == utc("2026-05-09T06:42:00+02:00")
    assert event.length_mm == pytest.approx(635.0) and event.weight_kg == pytest.approx(3.26, abs=0.001)


@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("Strike!", "strike"),
        ("bite", "strike"),
        ("fish on", "hooked"),
        ("hook-up", "hooked"),
        ("Netted", "landed"),
        ("broke off", "lost"),
        ("C&R", "released"),
        ("BAIT_CHECK", "bait check"),
        ("changed lure", "rig change"),
        ("birds working", "sighting"),
        ("note", "note"),
        ("napp", "strike"),
        ("kroket", "hooked"),
        ("mistet", "lost"),
        ("gjenutsatt", "released"),
        ("agnsjekk", "bait check"),
        ("krokad", "hooked"),
        ("tappad", "lost"),
        ("återutsatt", "released"),
        ("aterutsatt", "released"),
        ("biss", "strike"),
        ("ausgestiegen", "lost"),
        ("zurückgesetzt", "released"),
        ("köderkontrolle", "bait check"),
        ("picada", "strike"),
        ("perdido", "lost"),
        ("liberado", "released"),
        ("avistamiento", "sighting"),
        ("montagewechsel", "rig change"),
    ],
)
def test_words_for_events(tmp_path: Path, word: str, kind: str) -> None:
    events, problems = read(tmp_path, f"time,event\n06:42,{word}\n")
    assert events[0].kind == kind and problems == ()


@pytest.mark.parametrize(
    ("slip", "kind"),
    [
        ("hoked", "hooked"),
        ("landded", "landed"),
        ("lsot", "lost"),
        ("sigthing", "sighting"),
        ("relased", "released"),
        ("strke", "strike"),
        ("bait chek", "bait check"),
        ("rig chnage", "rig change"),
        ("relesaed", "released"),
        ("ladned", "landed"),
    ],
)
def test_slips_of_the_pen_are_understood_and_told(tmp_path: Path, slip: str, kind: str) -> None:
    events, problems = read(tmp_path, f"time,event\n06:42,{slip}\n")
    assert events[0].kind == kind
    assert [(p.where, p.serious) for p in problems] == [("log/catches.csv line 2, column event", False)]
    assert slip in problems[0].what


def test_an_unknown_event_is_kept_as_a_note(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "time,event\n06:42,sandwich\n")
    assert events[0].kind == "note" and events[0].extra == (("event", "sandwich"),)
    assert "known are strike" in problems[0].advice


def test_a_fish_without_a_word_is_landed_and_anything_else_a_note(tmp_path: Path) -> None:
    events, _ = read(tmp_path, "time,species,note\n06:42,cod,\n06:50,,rain\n")
    assert [event.kind for event in events] == ["landed", "note"]


@pytest.mark.parametrize(
    ("header", "cell", "kept"),
    [
        ("kept", "kept", True),
        ("kept", "Released", False),
        ("kept", "y", True),
        ("Kept?", "No", False),
        ("released", "yes", False),
        ("released", "no", True),
        ("beholdt", "nei", False),
        ("verbleib", "zurückgesetzt", False),
        ("kept", "", None),
        ("kept", "-", None),
        ("kept", "C&R", False),
    ],
)
def test_kept_or_released(tmp_path: Path, header: str, cell: str, kept: bool | None) -> None:
    events, problems = read(tmp_path, f"time,event,{header}\n06:42,landed,{cell}\n")
    assert events[0].kept is kept and problems == ()


def test_bad_cells_cost_only_themselves(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "time,event,species,Length,weight,kept,depth\n06:42,landed,cod,6x cm,heavy,maybe,deep\n")
    (event,) = events
    assert (event.species, event.length_mm, event.weight_kg, event.kept, event.depth_m) == ("cod", None, None, None, None)
    assert [p.where.removeprefix("log/catches.csv line 2, column ") for p in problems] == ["Length", "weight", "depth", "kept"]
    assert all(p.serious for p in problems)
    assert dict(event.extra) == {"length": "6x cm", "weight": "heavy", "depth": "deep", "kept": "maybe"}
    assert str(problems[0]) == (
        "log/catches.csv line 2, column Length: '6x cm' is no length; the row was kept without it "
        '(write it as 63.5 cm or 25 1/4")'
    )


def test_rows_without_a_readable_time_are_set_aside_by_line(tmp_path: Path) -> None:
    events, problems = read(
        tmp_path, "time,event\n06:42,strike\nsoon,hooked\n25:00,landed\n,lost\n2026-02-30 06:42,note\n06:50,lost\n"
    )
    assert [event.source for event in events] == ["log/catches.csv line 2", "log/catches.csv line 7"]
    assert [p.where for p in problems] == [f"log/catches.csv line {n}, column time" for n in (3, 4, 5, 6)]
    assert all(p.serious and p.done == "the row was set aside" for p in problems)


def test_totals_copies_empty_rows_and_repeated_headers(tmp_path: Path) -> None:
    events, problems = read(
        tmp_path,
        "time,event,species\n06:42,landed,cod\n\n,,\n"
        "time,event,species\n06:42,landed,cod\n06:50,lost,\nTotal;2 fish,,\nSum:,2,\n",
    )
    assert len(events) == 2
    assert [(p.where, p.serious) for p in problems] == [(f"log/catches.csv line {n}", False) for n in (6, 8, 9)]
    assert "line 2" in problems[0].what


def test_quoted_line_breaks_keep_the_line_numbers(tmp_path: Path) -> None:
    events, _ = read(tmp_path, 'time,event,note\r\n06:42,note,"two\r\nlines"\r\n06:50,lost,\r\n')
    assert [event.source for event in events] == ["log/catches.csv line 2", "log/catches.csv line 4"]
    assert events[0].note == "two lines"


def test_a_forgotten_quotation_mark_does_not_swallow_the_rest(tmp_path: Path) -> None:
    rows = "".join(f"06:{k:02d},strike,\n" for k in range(1, 50))
    events, _ = read(tmp_path, 'time,event,note\n06:00,note,"never closed\n' + rows)
    assert len(events) == 50


def test_commas_in_an_unquoted_note_are_put_together_again(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "time,event,note\n06:42,sighting,birds, off the point\n06:43,strike\n")
    assert events[0].note == "birds, off the point"
    assert [p.where for p in problems] == ["log/catches.csv line 2"] and not problems[0].serious


def test_a_title_above_the_header_and_unknown_columns(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "My spring log\n\ntime,event,water temperature\n06:42,strike,8.5\n")
    assert problems == () and events[0].extra == (("water temperature", "8.5"),)
    assert events[0].source == "log/catches.csv line 4"


@pytest.mark.parametrize(
    ("header", "cell", "units", "mm"),
    [
        ("Length (cm)", "56.5", "imperial", 565.0),
        ("length", "56,5", "metric", 565.0),
        ("length", "25 1/4", "imperial", 641.35),
        ("length_in", "25", "metric", 635.0),
        ("Length [mm]", "635", "metric", 635.0),
        ("Length (cm)", "25 in", "metric", 635.0),
    ],
)
def test_bare_numbers_take_the_headers_unit_else_the_trips(tmp_path: Path, header: str, cell: str, units: str, mm: float) -> None:
    events, problems = read(tmp_path, f"time;event;{header}\n06:42;landed;{cell}\n", units=units)
    assert problems == () and events[0].length_mm == pytest.approx(mm)


# times


@pytest.mark.parametrize(
    ("cell", "want", "step"),
    [
        ("2026-05-09T06:42:10+02:00", "09T04:42:10", 1),
        ("2026-05-09T04:42:10Z", "09T04:42:10", 1),
        ("2026-05-09 06:42", "09T04:42:00", 60),
        ("06:42:10", "09T04:42:10", 1),
        ("6:42 am", "09T04:42:00", 60),
        ("6:42 PM", "09T16:42:00", 60),
        ("12:05 am", "08T22:05:00", 60),
        ("12:05 p.m.", "09T10:05:00", 60),
        ("06.42", "09T04:42:00", 60),
        ("0642", "09T04:42:00", 60),
        ("6h42", "09T04:42:00", 60),
        ("kl. 06:42", "09T04:42:00", 60),
        ("06:42 Uhr", "09T04:42:00", 60),
        ("6 am", "09T04:00:00", 3600),
        ("ca. 06:40", "09T04:40:00", 300),
        ("9/5/2026 06:42", "09T04:42:00", 60),
        ("5/9/2026 6:42 AM", "09T04:42:00", 60),
        ("09.05.26 06:42", "09T04:42:00", 60),
        ("May 9, 2026 6:42 am", "09T04:42:00", 60),
        ("20260509T064210", "09T04:42:10", 1),
        ("2026-05-09 06:42 CEST", "09T04:42:00", 60),
        ("24:00", "09T22:00:00", 60),
        ("2026-05-09T06:42:00+02:00", "09T04:42:00", 60),
    ],
)
def test_ways_to_write_a_time(tmp_path: Path, cell: str, want: str, step: float) -> None:
    events, problems = read(tmp_path, f'time,event\n"{cell}",strike\n')
    assert problems == ()
    assert times(events) == [want] and events[0].step_s == step


def test_a_column_in_utc(tmp_path: Path) -> None:
    events, _ = read(tmp_path, "time (UTC),event\n04:42,strike\n")
    assert times(events) == ["09T04:42:00"]


def test_dates_come_from_the_row_before_and_midnight_rolls_over(tmp_path: Path) -> None:
    events, _ = read(
        tmp_path,
        "time,event\n2026-05-08 22:50,strike\n23:55,hooked\n00:10,landed\n2026-05-09 06:00,strike\n07:00,lost\n",
        date=None,
    )
    assert times(events) == ["08T20:50:00", "08T21:55:00", "08T22:10:00", "09T04:00:00", "09T05:00:00"]


def test_a_night_without_any_date_but_the_trips(tmp_path: Path) -> None:
    night = "time,event\n22:00,strike\n23:50,hooked\n" + "".join(
        f"0{h}:{m:02d},strike\n" for h in range(4) for m in range(0, 60, 5)
    )
    events, _ = read(tmp_path, night)
    assert times(events)[1:3] == ["09T21:50:00", "09T22:00:00"] and times(events)[-1] == "10T01:55:00"


def test_rows_out_of_order_are_sorted_and_keep_their_line(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "time,event\n06:49,lost\n06:42,hooked\n07:10,strike\n")
    assert problems == ()
    assert [(event.kind, event.source[-6:]) for event in events] == [
        ("hooked", "line 3"),
        ("lost", "line 2"),
        ("strike", "line 4"),
    ]


def test_no_date_anywhere(tmp_path: Path) -> None:
    events, problems = read(tmp_path, "time,event\n06:42,strike\n", date=None)
    assert events == () and "nothing tells the day" in problems[0].what and "trip.toml" in problems[0].advice


def test_month_first_by_the_trips_date_and_by_the_calendar(tmp_path: Path) -> None:
    july = ZoneInfo("America/Toronto")
    events, problems = read(tmp_path, "time,event\n07/08/2026 06:42,strike\n", date=dt.date(2026, 7, 8), zone=july)
    assert problems == () and times(events) == ["08T10:42:00"]
    events, problems = read(tmp_path, "time,event\n07/08/2026 06:42,strike\n", date=None)
    assert events[0].time_utc_s == utc("2026-08-07T06:42:00+02:00") and "day first" in problems[0].done
    events, problems = read(tmp_path, "time,event\n07/08/2026 06:42,strike\n07/21/2026 06:42,lost\n", date=None)
    assert events[0].time_utc_s == utc("2026-07-08T06:42:00+02:00") and problems == ()


# The nights when clocks change. source: TIM-36 .. TIM-38, IANA time zone database 2026

NIGHTS = [
    # zone, the day, a time that comes twice, its two instants, a time before and a time after that come once
    (
        "America/New_York",
        dt.date(2026, 11, 1),
        "01:30",
        "2026-11-01T05:30:00+00:00",
        "2026-11-01T06:30:00+00:00",
        "00:50",
        "02:20",
    ),
    ("Europe/London", dt.date(2026, 10, 25), "01:30", "2026-10-25T00:30:00+00:00", "2026-10-25T01:30:00+00:00", "00:50", "02:20"),
    (
        "Australia/Lord_Howe",
        dt.date(2026, 4, 5),
        "01:45",
        "2026-04-04T14:45:00+00:00",
        "2026-04-04T15:15:00+00:00",
        "01:20",
        "02:20",
    ),
]


@pytest.mark.parametrize(("zone", "day", "clock", "first", "second", "before", "after"), NIGHTS)
def test_a_time_that_comes_twice_and_nothing_tells(
    tmp_path: Path, zone: str, day: dt.date, clock: str, first: str, second: str, before: str, after: str
) -> None:
    events, problems = read(
        tmp_path, f"time,event\n{before},strike\n{clock},hooked\n{after},lost\n", date=day, zone=ZoneInfo(zone)
    )
    event = events[1]
    assert event.time_utc_s == utc(first)
    assert event.time_utc_s + event.step_s == utc(second) + 60  # the precision covers both
    assert len(problems) == 1 and "twice" in problems[0].what and "both" in problems[0].done and not problems[0].serious


@pytest.mark.parametrize(("zone", "day", "clock", "first", "second", "before", "after"), NIGHTS)
def test_a_time_that_comes_twice_settled_by_its_neighbours(
    tmp_path: Path, zone: str, day: dt.date, clock: str, first: str, second: str, before: str, after: str
) -> None:
    tz = ZoneInfo(zone)
    for want in (first, second):
        near = dt.datetime.fromisoformat(want)
        a, b = ((near + dt.timedelta(minutes=m)).isoformat() for m in (-2, 2))
        events, problems = read(tmp_path, f"time,event\n{a},strike\n{clock},hooked\n{b},lost\n", date=day, zone=tz)
        assert [(e.kind, e.time_utc_s) for e in events][1] == ("hooked", utc(want))
        assert events[1].step_s == 60 and "rows around" in problems[0].done


@pytest.mark.parametrize(("zone", "day", "clock", "first", "second", "before", "after"), NIGHTS)
def test_a_log_that_runs_backwards_has_passed_the_change(
    tmp_path: Path, zone: str, day: dt.date, clock: str, first: str, second: str, before: str, after: str
) -> None:
    early = (dt.datetime.combine(day, dt.time.fromisoformat(clock)) - dt.timedelta(minutes=14)).strftime("%H:%M")
    events, _ = read(tmp_path, f"time,event\n{clock},hooked\n{early},strike\n{clock}:30,lost\n", date=day, zone=ZoneInfo(zone))
    assert [event.kind for event in events] == ["hooked", "strike", "lost"]
    assert events[0].time_utc_s == utc(first) and events[0].step_s == 60
    assert events[2].time_utc_s == utc(second) + 30


def test_the_track_helps_with_a_time_that_comes_twice(tmp_path: Path) -> None:
    span = (utc("2026-10-25T01:05:00+00:00"), utc("2026-10-25T03:00:00+00:00"))
    events, _ = read(
        tmp_path, "time,event\n01:30,hooked\n", date=dt.date(2026, 10, 25), zone=ZoneInfo("Europe/London"), within=span
    )
    assert events[0].time_utc_s == utc("2026-10-25T01:30:00+00:00") and events[0].step_s == 60


def test_a_time_that_does_not_exist(tmp_path: Path) -> None:
    # source: TIM-37, London 2026-03-29 01:00 -> 02:00
    events, problems = read(tmp_path, "time,event\n01:30,hooked\n", date=dt.date(2026, 3, 29), zone=ZoneInfo("Europe/London"))
    assert events[0].time_utc_s == utc("2026-03-29T01:30:00+00:00") and events[0].step_s == 3660
    assert "does not exist" in problems[0].what


# files


def test_what_is_a_log_and_what_is_none(tmp_path: Path) -> None:
    def holds(name: str, text: str) -> bool:
        (tmp_path / name).write_text(text, encoding="utf-8")
        return looks_like_log(tmp_path / name)

    assert holds("a.csv", "Time,Event\n") and holds("b.tsv", "tid\tart\tlengde (cm)\n") and holds("c.csv", "time,event,lat,lon\n")
    assert (
        not holds("track.csv", "time,lat,lon,speed\n")
        and not holds("tide.csv", "time,height,unit\n")
        and not holds("d.csv", "a,b\n1,2\n")
    )
    assert not holds("e.gpx", "time,event\n") and not looks_like_log(tmp_path / "missing.csv")


@pytest.mark.parametrize(
    "content", [b"", b"\xef\xbb\xbf\r\n", b"\xff\xfe", b"a,b\n1,2\n", b"\x00\x01\x02\x03" * 50, b"just words\n"]
)
def test_what_is_no_log_is_refused_with_a_sentence(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(UnreadableError, match=r"log/catches\.csv: "):
        read(tmp_path, content)


SEED = (
    b"time;event;species;length (cm);weight;kept;depth;note\n"
    b'2026-10-25 02:39;landed;cod;60,5;3 lb 2 oz;kept;7 m;"a"\n02:01;lost;;;;;;\n'
)


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    data = bytearray(SEED)
    for _ in range(draw(st.integers(0, 8))):
        place = draw(st.integers(0, len(data) - 1))
        data[place : place + draw(st.integers(0, 3))] = draw(st.binary(max_size=3))
    return bytes(data)


rows_of_text = st.lists(st.lists(st.text(max_size=12), max_size=8), max_size=6).map(
    lambda rows: "\n".join(["time,event,length,weight,depth,kept,date", *(",".join(cells) for cells in rows)]).encode(
        errors="replace"
    )
)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.one_of(damaged(), st.binary(max_size=200), rows_of_text), st.sampled_from([None, MAY_9, dt.date.min, dt.date.max]))
def test_any_bytes_are_read_or_refused_with_a_sentence(tmp_path: Path, data: bytes, date: dt.date | None) -> None:
    try:
        events, problems = read(tmp_path, data, date=date, zone=ZoneInfo("Europe/Stockholm"))
    except UnreadableError as error:
        assert str(error).startswith("log/catches.csv: ")
        return
    assert all(event.kind in EVENT_KINDS and event.step_s > 0 for event in events)
    assert [e.time_utc_s for e in events] == sorted(e.time_utc_s for e in events)
    assert all(str(problem).startswith("log/catches.csv") for problem in problems)

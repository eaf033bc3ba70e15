"""GPX by another library and by hand, FIT by an encoder of our own, tables with all their dirt, and any bytes at all."""

import datetime as dt
import struct
from pathlib import Path
from zoneinfo import ZoneInfo

import gpxpy.gpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from reelnotes.intake.tracklogs import looks_like_track, read_track_file
from reelnotes.intake.tracklogs.coords import degrees, epoch_s, number, speed_unit
from reelnotes.records.problems import UnreadableError
from reelnotes.records.tracks import FIX_COLUMNS
from reelnotes.records.units import KNOT_MPS

TEN = dt.datetime(2026, 5, 9, 10, 0, tzinfo=dt.UTC).timestamp()


def write(tmp_path: Path, name: str, content: str | bytes) -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


# GPX


def made_by_gpxpy(points: int) -> gpxpy.gpx.GPX:
    document = gpxpy.gpx.GPX()
    track, segment = gpxpy.gpx.GPXTrack(), gpxpy.gpx.GPXTrackSegment()
    document.tracks.append(track)
    track.segments.append(segment)
    for k in range(points):
        time = dt.datetime.fromtimestamp(TEN + k, dt.UTC)
        segment.points.append(
            gpxpy.gpx.GPXTrackPoint(58.4 + k * 1e-5, 9.3, elevation=3.5, time=time, horizontal_dilution=1.1, speed=2.25)
        )
    return document


@pytest.mark.parametrize("version", ["1.0", "1.1"])
def test_gpx_as_gpxpy_writes_it(tmp_path: Path, version: str) -> None:
    path = write(tmp_path, "morning.gpx", made_by_gpxpy(20).to_xml(version=version))
    fixes, problems = read_track_file(path, "track/morning.gpx")
    assert problems == () and tuple(fixes.columns) == FIX_COLUMNS and len(fixes) == 20
    assert fixes["time_utc_s"].tolist() == [TEN + k for k in range(20)]
    assert fixes["lat"].iloc[7] == pytest.approx(58.40007, abs=1e-9)
    assert set(fixes["source"]) == {"track/morning.gpx"}
    assert (fixes["ele_m"] == 3.5).all() and (fixes["hdop"] == 1.1).all()
    if version == "1.0":  # speed is an element of 1.0 only
        assert (fixes["speed_mps"] == 2.25).all()


def test_gpx_1_0_by_hand(tmp_path: Path) -> None:
    # source: GPX 1.0 schema: trkpt holds ele, time, course (degrees), speed (m/s) in this order; time is UTC (TIM-28)
    text = """<?xml version="1.0" encoding="ISO-8859-1"?>
<gpx version="1.0" creator="b\xe5t" xmlns="http://www.topografix.com/GPX/1/0">
 <wpt lat="10" lon="10"><time>2026-05-09T09:00:00Z</time></wpt>
 <trk><name>Ut p\xe5 fjorden</name><trkseg>
  <trkpt lat="62.1875" lon="-5.0262"><ele>6.5</ele>
   <time>2026-05-09T10:00:00.25Z</time><course>271.5</course><speed>1.3</speed></trkpt>
  <trkpt lat="62.1876" lon="-5.0263"><time>2026-05-09T12:00:01+02:00</time></trkpt>
 </trkseg></trk></gpx>"""
    fixes, problems = read_track_file(write(tmp_path, "a.gpx", text.encode("latin-1")), "a.gpx")
    assert problems == ()
    assert fixes["time_utc_s"].tolist() == [TEN + 0.25, TEN + 1]
    assert fixes.iloc[0][["lat", "lon", "speed_mps", "course_deg", "ele_m"]].tolist() == [62.1875, -5.0262, 1.3, 271.5, 6.5]


def gpx(*points: str, head: str = "") -> str:
    names = 'xmlns="http://www.topografix.com/GPX/1/1" xmlns:t="urn:t"'
    return f'{head}<gpx version="1.1" creator="x" {names}><trk><trkseg>{"".join(points)}</trkseg></trk></gpx>'


def point(second: int, inside: str = "", lat: str = "58.4") -> str:
    return f'<trkpt lat="{lat}" lon="9.3"><time>2026-05-09T10:00:{second:02d}Z</time>{inside}</trkpt>'


def test_gpx_speed_and_course_in_extensions(tmp_path: Path) -> None:
    inside = (
        "<extensions><t:TrackPointExtension><t:speed>2.5</t:speed><t:course>91</t:course></t:TrackPointExtension></extensions>"
    )
    fixes, _ = read_track_file(write(tmp_path, "a.gpx", gpx(point(0, inside), point(1))), "a.gpx")
    assert fixes["speed_mps"].iloc[0] == 2.5 and fixes["course_deg"].iloc[0] == 91
    assert fixes["speed_mps"].isna().iloc[1]


def test_gpx_points_without_or_with_an_impossible_time_are_counted(tmp_path: Path) -> None:
    text = gpx(
        point(0),
        '<trkpt lat="58.4" lon="9.3"/>',
        '<trkpt lat="58.4" lon="9.3"><time>soon</time></trkpt>',
        '<trkpt lat="58.4" lon="9.3"><time>2026-02-30T10:00:00Z</time></trkpt>',
        point(1),
    )
    fixes, problems = read_track_file(write(tmp_path, "a.gpx", text), "a.gpx")
    assert len(fixes) == 2
    assert [p.what for p in problems] == ["3 track points without a time"]


def test_a_gpx_that_ends_in_the_middle_keeps_its_whole_points(tmp_path: Path) -> None:
    text = made_by_gpxpy(30).to_xml()
    fixes, problems = read_track_file(write(tmp_path, "a.gpx", text[: text.rindex("<trkpt") + 20]), "a.gpx")
    assert len(fixes) == 29
    assert problems[0].serious and "ends in the middle" in problems[0].what


def test_a_gpx_with_one_mad_latitude_keeps_the_rest(tmp_path: Path) -> None:
    fixes, problems = read_track_file(
        write(tmp_path, "a.gpx", gpx(point(0), point(1, lat="north"), point(2, lat="95"), point(3))), "a.gpx"
    )
    assert len(fixes) == 2 and problems


def test_expanding_entities_are_refused_unread(tmp_path: Path) -> None:
    # source: the "billion laughs" shape of XML attack, common knowledge; ten levels of ten would be 10 GB
    levels = "".join(f'<!ENTITY l{k} "{f"&l{k - 1};" * 10}">' for k in range(1, 11))
    head = f'<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY l0 "ha">{levels}]>'
    text = gpx(point(0, "<name>&l10;</name>"), head=head)
    for content in (text.encode(), text.encode("utf-16")):
        with pytest.raises(UnreadableError, match="document type"):
            read_track_file(write(tmp_path, "a.gpx", content), "a.gpx")


def test_gpx_in_utf_16(tmp_path: Path) -> None:
    text = '<?xml version="1.0" encoding="UTF-16"?>' + gpx(point(0))
    assert len(read_track_file(write(tmp_path, "a.gpx", text.encode("utf-16")), "a.gpx")[0]) == 1


# FIT


def fit_crc(data: bytes) -> int:
    # source: FIT protocol, "Computing the CRC": CRC-16 by nibbles with this table
    table = (
        0x0000,
        0xCC01,
        0xD801,
        0x1400,
        0xF001,
        0x3C00,
        0x2800,
        0xE401,
        0xA001,
        0x6C00,
        0x7800,
        0xB401,
        0x5000,
        0x9C01,
        0x8801,
        0x4400,
    )
    crc = 0
    for byte in data:
        for nibble in (byte & 0xF, byte >> 4):
            crc = (crc >> 4) & 0x0FFF ^ table[crc & 0xF] ^ table[nibble]
    return crc


def fit_file(records: list[tuple[int, float | None, float | None, float]]) -> bytes:
    """(UTC seconds, lat, lon, m/s) -> a FIT file: one definition of message 20 (record), and its data."""
    # source: FIT protocol and profile: message record is 20; its fields timestamp 253 uint32, position_lat 0 and position_long 1
    # sint32 semicircles, speed 6 uint16 mm/s
    body = bytes([0x40, 0, 0]) + struct.pack("<HB", 20, 4) + bytes([253, 4, 0x86, 0, 4, 0x85, 1, 4, 0x85, 6, 2, 0x84])
    for time, lat, lon, speed in records:
        place = [0x7FFFFFFF if value is None else round(value * 2**31 / 180) for value in (lat, lon)]
        body += bytes([0]) + struct.pack("<IiiH", time - 631065600, *place, round(speed * 1000))
    head = struct.pack("<BBHI4s", 14, 0x10, 2132, len(body), b".FIT")
    whole = head + struct.pack("<H", fit_crc(head)) + body
    return whole + struct.pack("<H", fit_crc(whole))


RECORDS = [(int(TEN) + k, 59.6 + k * 1e-4, -17.0, 1.25) for k in range(50)]


def test_fit_semicircles_times_and_speeds(tmp_path: Path) -> None:
    fixes, problems = read_track_file(
        write(tmp_path, "paddle.fit", fit_file([*RECORDS, (int(TEN) + 50, None, None, 1.0)])), "paddle.fit"
    )
    assert [(p.what, p.serious) for p in problems] == [("1 record without a position", False)]
    assert fixes["time_utc_s"].tolist() == [TEN + k for k in range(50)]
    assert fixes["lat"].iloc[20] == pytest.approx(59.602, abs=1e-7) and fixes["lon"].iloc[0] == pytest.approx(-17.0, abs=1e-7)
    assert (fixes["speed_mps"] == 1.25).all()


def test_a_fit_file_cut_short_keeps_its_good_part(tmp_path: Path) -> None:
    fixes, problems = read_track_file(write(tmp_path, "paddle.fit", fit_file(RECORDS)[:-300]), "paddle.fit")
    assert 25 <= len(fixes) < 50
    assert problems[0].serious and str(len(fixes)) in problems[0].done


def test_a_fit_file_with_a_wrong_checksum_is_read_and_told(tmp_path: Path) -> None:
    data = bytearray(fit_file(RECORDS))
    data[-1] ^= 0xFF
    fixes, problems = read_track_file(write(tmp_path, "paddle.fit", bytes(data)), "paddle.fit")
    assert len(fixes) == 50 and "checksum" in problems[0].what


# tables


def table(tmp_path: Path, text: str, encoding: str = "utf-8", **keywords: object) -> tuple:
    return read_track_file(write(tmp_path, "track.csv", text.encode(encoding)), "track/track.csv", **keywords)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("time,lat,lon,speed_kn\n2026-05-09T10:00:00Z,58.5,-9.25,5\n", "utf-8-sig"),
        ("Longitude;Latitude;Timestamp;Speed (kn)\n-9,25;58,5;2026-05-09 10:00:00;5,0\n", "utf-8"),
        ("lat\tlng\tunix time\tSOG [kts]\n58.5\t-9.25\t1778320800\t5\n", "utf-16"),
        ("epoch_ms,lat,lon,speed knots\n1778320800000,58.5,-9.25,5\n".replace("epoch_ms", "epoch ms"), "utf-8"),
        ("date,time,latitude,longitude,speed_kt\n09.05.2026,10:00:00,58°30'N,9°15'W,5\n", "latin-1"),
        ("my boat log\n\nTidspunkt;Breddegrad;Lengdegrad;Fart (knop)\n2026-05-09T12:00:00+02:00;58,5;-9,25;5\n", "utf-8"),
        ("time,lat,lon,speed_kmh\n2026-05-09T10:00:00Z,58.5,-9.25,9.26\n", "utf-8"),
        ("time,lat,lon,speed_mps\n2026-05-09T10:00:00Z,58.5,-9.25,2.5722222\n", "utf-8"),
        ("time,lat,lon,Speed (mph)\n2026-05-09T10:00:00Z,58.5,-9.25,5.7538972\n", "utf-8"),
    ],
)
def test_tables_in_many_hands(tmp_path: Path, text: str, encoding: str) -> None:
    path = write(tmp_path, "track.csv", text.encode(encoding))
    assert looks_like_track(path)
    fixes, problems = read_track_file(path, "track.csv")
    assert problems == ()
    assert fixes.iloc[0][["time_utc_s", "lat", "lon"]].tolist() == [TEN, 58.5, -9.25]
    # source: UNI-02, 5 kn = 2.572222 m/s; 1.609344 km to the mile
    assert fixes["speed_mps"].iloc[0] == pytest.approx(5 * KNOT_MPS, abs=1e-6)


def test_local_times_only_where_the_header_says_so(tmp_path: Path) -> None:
    text = "local time,lat,lon\n2026-05-09 12:00:00,58.5,9\n"
    assert table(tmp_path, text, zone=ZoneInfo("Europe/Oslo"))[0]["time_utc_s"].tolist() == [TEN]
    with pytest.raises(UnreadableError, match="zone"):
        table(tmp_path, text)
    assert table(tmp_path, text.replace("local ", ""), zone=ZoneInfo("Europe/Oslo"))[0]["time_utc_s"].tolist() == [TEN + 7200]


def test_times_of_day_take_the_date_and_pass_midnight(tmp_path: Path) -> None:
    fixes, _ = table(tmp_path, "time,lat,lon\n23:59:59,58.5,9\n00:00:01,58.5,9\n", date=dt.date(2026, 5, 8))
    assert (fixes["time_utc_s"].diff().dropna() == 2).all()


def test_bad_rows_are_one_problem_with_lines(tmp_path: Path) -> None:
    good = "".join(f"2026-05-09T10:00:{k:02d}Z,58.5,9\n" for k in range(3))
    fixes, problems = table(
        tmp_path, "time,lat,lon\n" + good + "x,58.5,9\n2026-05-09T10:01:00Z,,9\n\n2026-05-09T10:01:00Z,98,9\n"
    )
    assert len(fixes) == 3
    assert [p.where for p in problems] == ["track/track.csv lines 5, 6", "track/track.csv line 8"]


def test_a_speed_without_a_unit_is_settled_by_the_distance_run(tmp_path: Path) -> None:
    rows = "".join(f"{TEN + k},{58.5 + k * 5 * KNOT_MPS / 111_300:.7f},9,5.0\n" for k in range(60))
    fixes, problems = table(tmp_path, "time,lat,lon,speed\n" + rows)
    assert fixes["speed_mps"].iloc[0] == pytest.approx(5 * KNOT_MPS)
    assert "kn was taken" in problems[0].done and not problems[0].serious


def test_what_is_a_track_and_what_is_none(tmp_path: Path) -> None:
    assert not looks_like_track(write(tmp_path, "log.csv", "time,event,species,length\n06:42,landed,cod,60 cm\n"))
    assert not looks_like_track(write(tmp_path, "places.csv", "time,event,lat,lon\n06:42,landed,60,5\n"))
    assert not looks_like_track(write(tmp_path, "tide.csv", "time,height,unit\n06:42,1.2,m\n"))
    assert not looks_like_track(write(tmp_path, "clip.mp4", b"\0\0\0\x18ftypmp42"))
    assert not looks_like_track(tmp_path / "missing.csv")
    for name in ("a.gpx", "a.fit", "a.csv"):
        with pytest.raises(UnreadableError, match=name):
            read_track_file(write(tmp_path, name, "hello, sailor\n"), name)
    with pytest.raises(UnreadableError, match="cannot be opened"):
        read_track_file(tmp_path / "missing.gpx", "missing.gpx")
    with pytest.raises(UnreadableError, match="holds FIT"):
        read_track_file(write(tmp_path, "b.gpx", fit_file(RECORDS)), "b.gpx")


def test_numbers_and_coordinates_as_text() -> None:
    assert degrees("58°24'42\"N") == pytest.approx(58 + 24 / 60 + 42 / 3600)
    assert degrees("W 83 12.5") == pytest.approx(-83 - 12.5 / 60)
    assert degrees("-12,5") == -12.5
    assert number("1 234,5") == 1234.5
    # source: RFC 3339 example, TIM-02: 1996-12-19T16:39:57-08:00 is 851042397
    assert epoch_s(851042397) == epoch_s(851042397e3) == 851042397
    assert epoch_s(12.0) is None
    assert [speed_unit(h) for h in ("speed_kn", "Speed (km/h)", "speed [m/s]", "SOG mph", "speed")] == [
        "kn",
        "km/h",
        "m/s",
        "mph",
        None,
    ]
    for text in ("nan", "inf", "1e999", "", "12:30", "58°70'N"):
        with pytest.raises(ValueError, match=r"is no|coordinate"):
            degrees(text)


@given(st.floats(-180, 180))
def test_coordinates_round_trip(value: float) -> None:
    assert degrees(f"{value:.7f}") == pytest.approx(value, abs=1e-6)
    whole, minutes = divmod(abs(value) * 60, 60)
    if f"{minutes:.5f}" != "60.00000":
        assert degrees(f"{int(whole)}° {minutes:.5f}' {'E' if value >= 0 else 'W'}") == pytest.approx(value, abs=1e-6)


# anything at all

SEEDS = [
    fit_file(RECORDS[:5]),
    made_by_gpxpy(3).to_xml().encode(),
    b"time,lat,lon\n2026-05-09T10:00:00Z,58.5,9\n",
    b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\n",
]


@st.composite
def damaged(draw: st.DrawFn) -> bytes:
    """A good file with bytes changed, put in or cut off."""
    data = bytearray(draw(st.sampled_from(SEEDS)))
    for _ in range(draw(st.integers(0, 8))):
        place = draw(st.integers(0, max(len(data) - 1, 0)))
        data[place : place + draw(st.integers(0, 3))] = draw(st.binary(max_size=3))
    return bytes(data[: draw(st.integers(0, len(data)))] if draw(st.booleans()) else data)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.one_of(
        damaged(), st.binary(max_size=300), st.text(max_size=200).map(lambda t: ("time,lat,lon\n" + t).encode(errors="replace"))
    ),
    st.sampled_from(["a.gpx", "a.fit", "a.nmea", "a.csv", "a.txt"]),
)
def test_any_bytes_are_read_or_refused_with_a_sentence(tmp_path: Path, data: bytes, name: str) -> None:
    path = write(tmp_path, name, data)
    looks_like_track(path)
    try:
        fixes, problems = read_track_file(path, name, date=dt.date(2026, 5, 9))
    except UnreadableError as error:
        assert str(error).startswith(f"{name}: ")
        return
    assert tuple(fixes.columns) == FIX_COLUMNS
    assert fixes["time_utc_s"].is_monotonic_increasing
    assert all(str(problem).startswith(name) for problem in problems)

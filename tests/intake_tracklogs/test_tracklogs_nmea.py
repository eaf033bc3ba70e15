"""NMEA 0183 against published sentences, and logs with everything wrong with them."""

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from reelnotes.intake.tracklogs import read_track_file
from reelnotes.intake.tracklogs.nmea import checksum
from reelnotes.records.problems import Problem, UnreadableError

PUBLISHED = [
    # source: TIM-30, NMEA introduction by D. DePriest
    ("GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,", "47"),
    # source: TIM-31, the same family (value from memory)
    ("GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W", "6A"),
    # source: TIM-32, NMEA FAQ by P. Bennett (value from memory)
    ("GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E", "68"),
    # source: TIM-34, University of Washington course notes, 2000
    ("GPRMC,175741,A,4751.698,N,12209.774,W,000.0,360.0,191100,019.5,E", "69"),
    ("GPGGA,175742,4751.698,N,12209.774,W,1,09,2.0,128.0,M,-18.2,M,,", "78"),
    # source: TIM-35, readme of an open parser
    ("GPRMC,030000,A,4740.36415,N,12225.35953,W,000.02,059.5,160612,016.6,E", "52"),
]


def line(body: str) -> str:
    return f"${body}*{checksum(body)}"


def rmc(clock: str, date: str, lat: str = "6211.250,N", lon: str = "00501.570,E", status: str = "A", talker: str = "GP") -> str:
    return line(f"{talker}RMC,{clock},{status},{lat},{lon},2.5,200.6,{date},,,A")


def gga(clock: str, lat: str = "6211.250,N", lon: str = "00501.570,E", quality: int = 1, talker: str = "GP") -> str:
    return line(f"{talker}GGA,{clock},{lat},{lon},{quality},09,1.3,6.6,M,0.0,M,,")


def read(tmp_path: Path, *lines: str, date: dt.date | None = None) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    path = tmp_path / "receiver.nmea"
    path.write_bytes("\r\n".join(lines).encode("latin-1"))
    return read_track_file(path, "track/receiver.nmea", date=date)


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).timestamp()


@pytest.mark.parametrize(("body", "digits"), PUBLISHED)
def test_checksums_of_published_sentences(body: str, digits: str) -> None:
    assert checksum(body) == digits


def test_a_widely_copied_sentence_with_a_stale_checksum_is_refused(tmp_path: Path) -> None:
    # source: TIM-33: copies of this sentence say 68; the XOR is 2B
    body = "GPRMC,225446.33,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E,A"
    assert checksum(body) == "2B"
    fixes, problems = read(tmp_path, f"${body}*68", f"${PUBLISHED[2][0]}*68")
    assert len(fixes) == 1
    assert "line 1" in problems[0].where and "1 damaged sentence " in problems[0].what
    assert len(read(tmp_path, f"${body}*2B")[0]) == 1


def test_values_of_published_sentences(tmp_path: Path) -> None:
    fixes, problems = read(tmp_path, *(f"${body}*{digits}" for body, digits in (PUBLISHED[1], PUBLISHED[0])))
    assert problems == ()
    fix = fixes.iloc[0]
    # source: TIM-30 and TIM-31: 48.1173 N 11.516667 E, 1994-03-23 12:35:19 UTC, 22.4 kn = 11.523556 m/s, 84.4 degrees, 545.4 m
    assert fix["time_utc_s"] == utc("1994-03-23T12:35:19+00:00")
    assert (fix["lat"], fix["lon"]) == (pytest.approx(48.1173, abs=1e-7), pytest.approx(11.516667, abs=1e-6))
    assert fix["speed_mps"] == pytest.approx(11.523556, abs=1e-6)
    assert (fix["course_deg"], fix["ele_m"], fix["hdop"]) == (84.4, 545.4, 0.9)
    west = read(tmp_path, f"${PUBLISHED[5][0]}*{PUBLISHED[5][1]}")[0].iloc[0]
    assert (west["lat"], west["lon"]) == (pytest.approx(47.672736, abs=1e-6), pytest.approx(-122.422659, abs=1e-6))
    assert west["time_utc_s"] == utc("2012-06-16T03:00:00+00:00")


def test_rmc_and_gga_of_one_instant_make_one_fix(tmp_path: Path) -> None:
    fixes, problems = read(tmp_path, rmc("042000.00", "090526"), gga("042000.00"), rmc("042001.00", "090526"), gga("042001.00"))
    assert problems == () and len(fixes) == 2
    assert fixes["hdop"].tolist() == [1.3, 1.3]


def test_midnight_between_rmc_and_gga(tmp_path: Path) -> None:
    fixes, _ = read(
        tmp_path, rmc("235959.00", "311225"), gga("235959.50"), gga("000000.20"), rmc("000001.00", "010126"), gga("235959.90")
    )
    assert np.allclose(np.diff(fixes["time_utc_s"]), [0.5, 0.4, 0.3, 0.8], atol=1e-6)
    assert fixes["time_utc_s"].iloc[-1] == utc("2026-01-01T00:00:01+00:00")


def test_gga_before_the_first_date_is_dated_backwards(tmp_path: Path) -> None:
    fixes, problems = read(tmp_path, gga("235958.00"), gga("000001.00"), rmc("000002.00", "010126"))
    assert problems == ()
    assert fixes["time_utc_s"].iloc[0] == utc("2025-12-31T23:59:58+00:00")


def test_gga_alone_takes_the_trips_date(tmp_path: Path) -> None:
    lines = [gga("235958.00"), gga("000001.00")]
    fixes, _ = read(tmp_path, *lines, date=dt.date(2026, 5, 9))
    assert fixes["time_utc_s"].tolist() == [utc("2026-05-09T23:59:58+00:00"), utc("2026-05-10T00:00:01+00:00")]
    fixes, problems = read(tmp_path, *lines)
    assert len(fixes) == 0 and "without a date" in problems[0].what


@pytest.mark.parametrize(("digits", "year"), [("090599", 1999), ("090500", 2000), ("090526", 2026)])
def test_years_of_two_digits(tmp_path: Path, digits: str, year: int) -> None:
    fixes, _ = read(tmp_path, rmc("042000.00", digits))
    assert dt.datetime.fromtimestamp(fixes["time_utc_s"].iloc[0], dt.UTC).year == year


def test_other_talkers_stamped_lines_and_other_sentences(tmp_path: Path) -> None:
    fixes, problems = read(
        tmp_path,
        "# logger started",
        "12:00:01.3 " + rmc("042000.00", "090526", talker="GN"),
        rmc("042001.00", "090526", talker="GL"),
        "!AIVDM,1,1,,A,13aEOK?P00PD2wVMdLDRhgvL289?,0*26",
        "$SDDBT,54.3,f,9.3,M,,F*10",
        "$PXYZ,1,2,3",
        "",
        "[log] " + gga("042002.00", talker="GA"),
    )
    assert len(fixes) == 3 and problems == ()


def test_a_receiver_without_a_fix_is_a_remark(tmp_path: Path) -> None:
    fixes, problems = read(
        tmp_path,
        line("GPRMC,,V,,,,,,,,,,N"),
        rmc("041959.00", "090526", status="V"),
        gga("041959.00", quality=0),
        rmc("042000.00", "090526"),
    )
    assert len(fixes) == 1
    assert [(p.serious, "3 sentences" in p.what) for p in problems] == [(False, True)]


def test_thousands_of_damaged_lines_are_one_problem(tmp_path: Path) -> None:
    good = [rmc(f"04{k // 60:02d}{k % 60:02d}.00", "090526") for k in range(1000)]
    bad = [text[:-1] + ("0" if text[-1] != "0" else "1") for text in good]
    fixes, problems = read(tmp_path, *(text for pair in zip(good, bad, strict=True) for text in pair))
    assert len(fixes) == 1000 and len(problems) == 1
    assert str(problems[0]).startswith("track/receiver.nmea lines 2, 4, 6, 8, 10 and 995 more: 1000 damaged sentences")


@pytest.mark.parametrize(
    "text",
    [
        line("GPRMC,042000.00,A,9911.250,N,00501.570,E,2.5,200.6,090526,,,A"),
        line("GPRMC,042000.00,A,,N,00501.570,E,2.5,200.6,090526,,,A"),
        line("GPRMC,042000.00,A,6211.250,N,00501.570,E,2.5,200.6,320526,,,A"),
        line("GPRMC,992000.00,A,6211.250,N,00501.570,E,2.5,200.6,090526,,,A"),
        rmc("042000.00", "090526")[:40],
        "garbage",
        "$GPRMC",
        "\x81\x8d$GPRMC,,,*00",
    ],
)
def test_damaged_in_every_way(tmp_path: Path, text: str) -> None:
    fixes, problems = read(tmp_path, rmc("042001.00", "090526"), text)
    assert len(fixes) == 1
    assert len(problems) == 1 and "line 2" in problems[0].where


def test_sentences_without_checksums_are_read_with_a_remark(tmp_path: Path) -> None:
    fixes, problems = read(tmp_path, rmc("042000.00", "090526").split("*")[0])
    assert len(fixes) == 1 and not problems[0].serious


def test_what_is_no_nmea(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="holds a table"):
        read(tmp_path, "time,lat,lon", "2026-05-09T04:20:00Z,62.1,5.0")
    with pytest.raises(UnreadableError, match="empty"):
        read(tmp_path, "")

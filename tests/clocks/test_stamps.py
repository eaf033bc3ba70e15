"""What stamps can mean: zones by the IANA database, epochs, factory dates, roughness, file names."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from reelnotes.clocks.clues.stamps import EPOCH_1904_S, is_date_reset, readings, roughness, zone_offsets_s
from reelnotes.clocks.runs import time_in_name


def utc(text: str) -> float:
    return dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp()


def test_the_epoch_of_quicktime_and_iso_base_media():
    # ref: TIM-22, TIM-23. source: Apple QuickTime File Format; 1904-01-01 is 24 107 days before 1970
    assert utc("1904-01-01") == EPOCH_1904_S == -24_107 * 86_400


@pytest.mark.parametrize(
    ("zone", "night", "both"),
    [
        # ref: TIM-36, TIM-37, TIM-38. source: IANA tz database
        ("America/New_York", "2026-11-01T06:00:00", [-5.0, -4.0]),
        ("Europe/London", "2026-10-25T01:00:00", [0.0, 1.0]),
        ("Australia/Lord_Howe", "2026-04-04T15:00:00", [10.5, 11.0]),
    ],
)
def test_on_the_night_of_a_change_both_offsets_stay_open(zone, night, both):
    near, _ = zone_offsets_s(ZoneInfo(zone), utc(night))
    assert near == [h * 3600 for h in both]


def test_the_other_season_stays_possible_but_less_likely():
    found = {r.offset_s: r.share for r in readings(ZoneInfo("Europe/Oslo"), utc("2026-06-14T03:00:00"))}
    assert set(found) == {0.0, -7200.0, -3600.0}
    assert found[-3600.0] < found[-7200.0]


def test_a_zone_of_odd_minutes():
    # ref: TIM-40. source: IANA tz database, Asia/Kathmandu +05:45 since 1986
    assert [r.offset_s for r in readings(ZoneInfo("Asia/Kathmandu"), utc("2026-06-14"), "local")] == [-20_700.0]


def test_leap_seconds_are_folded_as_posix_does():
    # ref: TIM-03, TIM-25. A POSIX day has 86 400 s also where UTC had 86 401: stamps need no table
    assert utc("2017-01-01T00:00:00") - utc("2016-12-31T23:59:59") == 1.0


@pytest.mark.parametrize(
    ("stamp", "reset"),
    [("2016-01-01T00:03:00", True), ("1980-01-06T02:00:00", True), ("2015-01-02T10:00:00", True), ("2026-06-11T03:14:44", False)],
)
def test_factory_dates(stamp, reset):
    assert is_date_reset([utc(stamp)], utc("2026-06-14T03:05:00")) is reset


def test_new_years_day_is_no_reset_for_a_trip_on_that_day():
    assert not is_date_reset([utc("2026-01-01T09:00:00")], utc("2026-01-01T08:00:00"))


def test_a_stamp_is_cut_off_and_recording_begins_a_little_later():
    start = roughness("start")
    assert 0.5 < start.mean_s < 1.1
    assert 0.28 < start.sigma_s < 0.5
    assert roughness("end").mean_s == pytest.approx(0.6, abs=0.11)


def test_a_name_of_the_next_second_narrows_the_start():
    same, later = roughness("start", 1.0, 0.0), roughness("start", 1.0, 1.0)
    assert same.mean_s < roughness("start").mean_s < later.mean_s
    assert later.sigma_s < same.sigma_s < roughness("start").sigma_s


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("20260509_062210.mov", "2026-05-09T06:22:10"),
        ("VID_2026-05-09_06-22-10.mp4", "2026-05-09T06:22:10"),
        ("20261309_062210.mov", None),
        ("CLIP0001.mp4", None),
    ],
)
def test_times_in_file_names(name, text):
    assert time_in_name(name) == (None if text is None else utc(text))

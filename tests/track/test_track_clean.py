"""Tracks made from a known way of a boat: cleaned, smoothed, told apart, and never a crash."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from reelnotes.records.tracks import FIX_COLUMNS, LEG_KINDS, Track
from reelnotes.records.units import KNOT_MPS
from reelnotes.track import clean_track, position_at, speed_series
from reelnotes.track.geodesy import LocalFrame, geodesic_m

START_S = 1_778_300_400.0
HOME = LocalFrame(60.2, 5.1)


def fixes_of(
    t: np.ndarray, metres: np.ndarray, *, noise_m: float = 1.0, seed: int = 1, frame: LocalFrame = HOME, **columns: np.ndarray
) -> pd.DataFrame:
    """Fixes of a boat at ``metres`` (n, 2) at seconds ``t`` from the start, with white noise an axis."""
    rng = np.random.default_rng(seed)
    lat, lon = frame.to_degrees(metres + rng.normal(0, noise_m, metres.shape))
    data = {
        "time_utc_s": START_S + t,
        "lat": lat,
        "lon": lon,
        "speed_mps": np.nan,
        "course_deg": np.nan,
        "hdop": np.nan,
        "ele_m": np.nan,
        "source": "made.csv",
    }
    return pd.DataFrame({**data, **columns}, columns=list(FIX_COLUMNS))


def way_of(*stretches: tuple[float, float, float], start_deg: float = 40.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """(t, metres, speed) at 1 Hz of stretches of (seconds, knots, degrees turned a second)."""
    speed = np.concatenate([np.full(int(s), kn * KNOT_MPS) for s, kn, _ in stretches])
    turn = np.concatenate([np.full(int(s), rate) for s, _, rate in stretches])
    speed = np.convolve(np.pad(speed, 5, mode="edge"), np.ones(11) / 11, mode="valid")  # a boat takes time to change
    course = np.radians(start_deg + np.cumsum(turn))
    metres = np.cumsum(np.stack([speed * np.sin(course), speed * np.cos(course)], axis=1), axis=0)
    return np.arange(len(speed), dtype=float), metres, speed


def miss_m(track: Track, t: float, metres: np.ndarray, frame: LocalFrame = HOME) -> float:
    position = position_at(track, START_S + t)
    assert position is not None
    lat, lon = frame.to_degrees(metres[None])
    return geodesic_m(float(lat[0]), float(lon[0]), position.lat, position.lon)


def test_speed_of_a_steady_boat_is_right_in_knots() -> None:
    t, metres, _ = way_of((300, 10.0, 0.0))
    track = clean_track(fixes_of(t, metres))
    position = position_at(track, START_S + 150.5)
    assert position is not None
    # source: UNI-02, a knot is 1852/3600 m/s
    assert position.speed_mps == pytest.approx(10 * 1852 / 3600, abs=0.1)
    assert position.course_deg == pytest.approx(40.0, abs=1.0)
    assert not position.interpolated
    assert miss_m(track, 150, metres[150]) < 2.0


def test_the_stated_uncertainty_of_speed_holds() -> None:
    inside, errors = [], []
    for seed in range(6):
        t, metres, speed = way_of((60, 0, 0), (120, 8, 0.4), (300, 2.2, 0.3), (120, 0.6, 1.5), (120, 2.5, 0))
        track = clean_track(fixes_of(t, metres, noise_m=1.5, seed=seed))
        found, sigma = speed_series(track, START_S + t[5:-5])
        errors.append(found - speed[5:-5])
        inside.append(np.abs(errors[-1]) < 1.96 * sigma)
    assert 0.88 < np.mean(inside) <= 1.0
    assert np.sqrt(np.mean(np.square(errors))) < 0.25  # half a knot


def test_speed_at_rest_is_near_nothing_and_has_no_course() -> None:
    t = np.arange(300.0)
    track = clean_track(fixes_of(t, np.zeros((300, 2)), noise_m=2.0))
    speed, sigma = speed_series(track, START_S + t)
    assert np.mean(speed) < 0.1
    assert np.all(sigma > 0)
    courses = [position_at(track, START_S + s) for s in range(10, 290, 10)]
    assert sum(p is not None and p.course_deg is None for p in courses) > 0.8 * len(courses)
    assert [leg.kind for leg in track.legs] == ["not moving"]


@pytest.mark.parametrize("run", [1, 2, 8, 60])
def test_a_teleport_is_removed_however_long(run: int) -> None:
    t, metres, _ = way_of((400, 3.0, 0.2))
    false = metres.copy()
    false[200 : 200 + run] += [900.0, -400.0]
    track = clean_track(fixes_of(t, false))
    assert dict(track.dropped)["jump"] == run
    assert max(miss_m(track, s, metres[s]) for s in (150, 198, 200 + run + 1, 300)) < 4.0


def test_a_spike_that_is_no_leap_is_an_outlier() -> None:
    t, metres, _ = way_of((300, 2.0, 0.0))
    false = metres.copy()
    false[150] += [18.0, 18.0]
    track = clean_track(fixes_of(t, false, noise_m=0.8))
    assert sum(dict(track.dropped).values()) == 1
    assert miss_m(track, 150, metres[150]) < 2.5


def test_a_stuck_receiver_is_not_believed() -> None:
    t, metres, _ = way_of((400, 8.0, 0.0))
    false = metres.copy()
    false[200:220] = false[200]
    fixes = fixes_of(t, false, noise_m=0.5)
    fixes.loc[200:219, ["lat", "lon"]] = fixes.loc[200, ["lat", "lon"]].to_numpy(float)
    track = clean_track(fixes)
    assert dict(track.dropped)["stuck receiver"] == 19
    position = position_at(track, START_S + 210)
    assert position is not None
    assert position.interpolated
    assert position.sigma_m > 2.0
    assert miss_m(track, 210, metres[210]) < 6.0


def test_duplicates_and_disorder() -> None:
    t, metres, _ = way_of((200, 4.0, 0.0))
    fixes = fixes_of(t, metres)
    doubled = pd.concat([fixes, fixes.iloc[20:30]]).sample(frac=1, random_state=3)
    track = clean_track(doubled)
    assert dict(track.dropped) == {"duplicate": 10}
    assert np.all(np.diff(track.points["time_utc_s"]) > 0)


def test_of_two_fixes_at_one_instant_the_plausible_one_is_kept() -> None:
    t, metres, _ = way_of((200, 4.0, 0.0))
    fixes = fixes_of(t, metres)
    wrong = fixes.iloc[[100]].assign(lat=61.0)
    track = clean_track(pd.concat([wrong, fixes]))
    assert dict(track.dropped) == {"duplicate": 1}
    assert miss_m(track, 100, metres[100]) < 3.0


def test_a_receiver_that_goes_back_in_time() -> None:
    t, metres, _ = way_of((300, 6.0, 0.0))
    stamps = t.copy()
    stamps[200:210] -= 120.4  # ten fixes carry the time of two minutes before
    track = clean_track(fixes_of(stamps, metres, noise_m=0.5))
    assert sum(dict(track.dropped).values()) == 10
    assert miss_m(track, 85, metres[85]) < 3.0


def test_a_first_date_of_long_ago_is_no_part_of_the_trip() -> None:
    t, metres, _ = way_of((200, 4.0, 0.0))
    fixes = fixes_of(t, metres)
    fixes.loc[:3, "time_utc_s"] -= 1024 * 7 * 86400  # source: TIM-27, GPS weeks count to 1024
    track = clean_track(fixes)
    assert dict(track.dropped) == {"other day": 4}
    assert track.gaps == ()


def test_gaps_are_kept_and_short_ones_bridged() -> None:
    t, metres, _ = way_of((600, 5.5, 0.0))
    keep = ~((t > 100) & (t < 120)) & ~((t > 300) & (t < 400))
    track = clean_track(fixes_of(t[keep], metres[keep]))
    assert track.gaps == ((START_S + 300, START_S + 400),)
    assert position_at(track, START_S + 350) is None
    speed, sigma = speed_series(track, np.array([START_S + 350, START_S - 1, START_S + 601, START_S + 200]))
    assert np.isnan(speed[:3]).all() and np.isnan(sigma[:3]).all() and speed[3] > 0
    bridged, plain = position_at(track, START_S + 110), position_at(track, START_S + 90)
    assert bridged is not None and plain is not None
    assert bridged.interpolated and not plain.interpolated
    assert bridged.sigma_m > plain.sigma_m
    assert position_at(track, START_S + 300) is not None and position_at(track, START_S + 400) is not None
    for leg in track.legs:
        assert leg.end_utc_s <= START_S + 300 or leg.start_utc_s >= START_S + 400


def test_a_log_that_is_thin_on_purpose_is_bridged_at_its_own_pace() -> None:
    t, metres, _ = way_of((2400, 2.0, 0.0))
    track = clean_track(fixes_of(t[::40], metres[::40]))
    assert track.gaps == ()
    position = position_at(track, START_S + 1020)
    assert position is not None and miss_m(track, 1020, metres[1020]) < 10


def test_two_receivers_in_one_boat() -> None:
    t, metres, speed = way_of((400, 2.4, 0.1))
    a = fixes_of(t, metres, seed=1)
    b = fixes_of(t[::3] + 0.37, metres[::3] + np.array([3.0, -2.0]), seed=2).assign(source="other.gpx")
    track = clean_track(pd.concat([a, b]))
    found, _ = speed_series(track, START_S + t[10:-10])
    assert np.abs(found - speed[10:-10]).max() < 0.5
    assert track.gaps == ()


def test_across_the_date_line() -> None:
    frame = LocalFrame(-17.0, 180.0)
    t, metres, _ = way_of((400, 8.0, 0.0), start_deg=90.0)
    metres = metres - metres[200]
    track = clean_track(fixes_of(t, metres, frame=frame))
    assert track.dropped == ()
    lons = [position_at(track, START_S + s).lon for s in (100.5, 300.5)]  # type: ignore[union-attr]
    assert lons[0] > 179 and lons[1] < -179
    between = np.abs([position_at(track, START_S + 200 + s / 10).lon for s in range(-9, 10)])  # type: ignore[union-attr]
    assert between.min() > 179.9


def test_receiver_speed_without_course_sharpens_the_speed() -> None:
    t, metres, speed = way_of((200, 2.0, 0.3), (200, 3.0, -0.3))
    rng = np.random.default_rng(4)
    plain = fixes_of(t, metres, noise_m=2.5)
    told = plain.assign(speed_mps=np.abs(speed + rng.normal(0, 0.05, len(t))))
    times = START_S + t[10:-10]
    errors = [np.std(speed_series(clean_track(f), times)[0] - speed[10:-10]) for f in (plain, told)]
    assert errors[1] < errors[0]


def test_legs_of_a_day() -> None:
    t, metres, _ = way_of(
        (120, 0, 0),
        (300, 15, 0.1),
        (500, 2.3, 0.2),
        (180, 0.6, 3.0),
        (400, 2.3, -0.2),
        (400, 0.7, 0.0),
        (200, 15, 0),
        (120, 0, 0),
    )
    track = clean_track(fixes_of(t, metres))
    kinds = [leg.kind for leg in track.legs]
    want = ["not moving", "under way", "trolling", "circling", "trolling", "drifting", "under way", "not moving"]
    assert kinds == want
    under_way = track.legs[1]
    assert under_way.mean_speed_mps / KNOT_MPS == pytest.approx(15, abs=1.0)
    assert under_way.distance_m == pytest.approx(300 * 15 * KNOT_MPS, rel=0.05)
    assert under_way.start_utc_s - START_S == pytest.approx(120, abs=15)
    assert [leg.number for leg in track.legs] == list(range(1, 9))
    assert track.leg_at(START_S + 600) == track.legs[2]


def test_speeds_around_a_threshold_do_not_chop_a_leg() -> None:
    pairs = [(30, 4.6, 0.0), (30, 5.2, 0.0)] * 8
    t, metres, _ = way_of(*pairs)
    assert len(clean_track(fixes_of(t, metres)).legs) == 1


def test_no_fixes_give_an_empty_track() -> None:
    for fixes in (fixes_of(np.array([]), np.zeros((0, 2))), fixes_of(np.array([1.0]), np.zeros((1, 2)))):
        track = clean_track(fixes)
        assert track.empty and track.legs == () and track.gaps == ()
        assert position_at(track, START_S) is None
        assert np.isnan(speed_series(track, np.array([START_S]))[0]).all()


def test_a_track_made_elsewhere_needs_only_the_named_columns() -> None:
    t, metres, _ = way_of((100, 4.0, 0.0))
    track = clean_track(fixes_of(t, metres))
    bare = Track(track.points[["time_utc_s", "lat", "lon", "sigma_m", "speed_mps", "speed_sigma_mps", "course_deg", "piece"]])
    a, b = position_at(track, START_S + 50.5), position_at(bare, START_S + 50.5)
    assert a is not None and b is not None
    assert geodesic_m(a.lat, a.lon, b.lat, b.lon) < 0.5


numbers = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.one_of(numbers, st.floats(1.7e9, 1.7e9 + 600), st.integers(0, 300).map(lambda k: 1.7e9 + k)),
            st.one_of(numbers, st.floats(59.99, 60.01)),
            st.one_of(numbers, st.floats(4.99, 5.01)),
            st.one_of(numbers, st.floats(0, 20)),
            st.one_of(numbers, st.floats(0, 360)),
            st.one_of(numbers, st.floats(0.5, 10)),
        ),
        max_size=60,
    )
)
@example(
    [(1.7e9, 60.0, 5.0, 0.0, 0.0, 1e-291), (1.7e9 + 60, 60.0, 5.0, 0.0, 0.0, 1e-291), (1.7e9 + 120, 60.0, 5.0, 0.0, 0.0, 3e17)]
)
def test_any_fixes_give_a_track_that_keeps_its_promises(rows: list[tuple[float, ...]]) -> None:
    fixes = pd.DataFrame([(*row, np.nan, "x") for row in rows], columns=list(FIX_COLUMNS))
    before = fixes.copy()
    track = clean_track(fixes)
    pd.testing.assert_frame_equal(fixes, before)  # the input is left as it was
    t = track.points["time_utc_s"].to_numpy()
    assert np.all(np.diff(t) > 0)
    assert np.isfinite(track.points[["lat", "lon", "sigma_m", "speed_mps", "speed_sigma_mps"]].to_numpy(float)).all()
    assert len(t) + sum(n for _, n in track.dropped) == len(rows)
    ends = [(leg.start_utc_s, leg.end_utc_s) for leg in track.legs]
    assert all(a[1] <= b[0] for a, b in itertools.pairwise(ends))
    assert all(leg.kind in LEG_KINDS for leg in track.legs)
    for start, end in track.gaps:
        assert position_at(track, (start + end) / 2) is None
    for k in range(0, len(t), 7):
        assert position_at(track, float(t[k])) is not None


@pytest.mark.parametrize("mad", [np.inf, np.nan, 5.1e306, -5.1e306, 253_402_300_800.0])
def test_a_time_that_no_calendar_holds_is_no_fix(mad: float) -> None:
    t, metres, _ = way_of((100, 4.0, 0.0))
    fixes = fixes_of(t, metres)
    good = clean_track(fixes)
    fixes.loc[50, "time_utc_s"] = mad
    track = clean_track(fixes)
    assert dict(track.dropped) == {"no fix": 1}
    assert len(track.points) == len(good.points) - 1


@pytest.mark.parametrize("mad", [np.inf, 1e200, -3.0, 1e6])
def test_mad_speeds_and_courses_of_a_receiver_are_not_believed(mad: float) -> None:
    t, metres, speed = way_of((120, 4.0, 0.0))
    fixes = fixes_of(t, metres).assign(speed_mps=speed, course_deg=40.0)
    fixes.loc[50:60, "speed_mps"] = mad
    fixes.loc[70:75, "course_deg"] = mad
    found, _ = speed_series(clean_track(fixes), START_S + t[5:-5])
    assert np.abs(found - speed[5:-5]).max() < 0.5


def test_a_receiver_that_gives_noise_leaves_next_to_nothing() -> None:
    rng = np.random.default_rng(8)
    track = clean_track(fixes_of(np.arange(500.0), rng.uniform(-5e4, 5e4, (500, 2))))
    assert dict(track.dropped)["jump"] > 400


def test_a_burst_of_the_throttle_is_not_taken_for_outliers() -> None:
    quiet, burst = (1500, 2.2, 0.1), (40, 16.0, 0.0)
    t, metres, speed = way_of(quiet, burst, quiet)
    track = clean_track(fixes_of(t, metres, noise_m=0.8))
    assert sum(n for _, n in track.dropped) <= 3
    found, _ = speed_series(track, START_S + t[1490:1550])
    assert np.abs(found - speed[1490:1550]).max() < 1.5

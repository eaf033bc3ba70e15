import io
import struct
from fractions import Fraction

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.media import timing
from reelnotes.media.probe import probe
from reelnotes.media.tags import creation_stamp, device_hint, read_location, read_stamp, stamp_in_name


def look(path):
    return probe(path, path.name, "chest")


# --- rates ---------------------------------------------------------------------------------------


# source: SMPTE ST 12-1 and ITU-R BT.709: the broadcast rates are exact multiples of 1000/1001
@pytest.mark.parametrize("rate", ["24000/1001", "24", "25", "30000/1001", "30", "50", "60000/1001", "60", "120000/1001", "240"])
@pytest.mark.parametrize("suffix", [".mp4", ".mov", ".mkv", ".avi"])
def test_the_rate_is_the_exact_rational(tmp_path, make_clip, rate, suffix):
    clip = look(make_clip(tmp_path / f"a{suffix}", rate=Fraction(rate), frames=40, sound=False))
    assert clip.set_aside == ""
    assert (clip.rate, clip.variable_rate, clip.frames) == (Fraction(rate), False, 40)
    assert clip.duration_s == pytest.approx(float(40 / Fraction(rate)), abs=1e-9)


def test_an_uncommon_constant_rate_is_kept(tmp_path, make_clip):
    clip = look(make_clip(tmp_path / "a.mp4", rate=Fraction(7), frames=30))
    assert (clip.rate, clip.variable_rate) == (Fraction(7), False)


def test_reordered_pictures_are_counted_once_each(tmp_path, make_clip):
    clip = look(make_clip(tmp_path / "a.mp4", rate=Fraction(25), frames=31, b_frames=2))
    assert (clip.rate, clip.variable_rate, clip.frames) == (Fraction(25), False, 31)


def test_a_variable_rate_gives_the_nearest_common_one_and_the_true_length(tmp_path, make_clip):
    ticks = [
        number * 3000 + (6000 if number > 20 else 0) + (number % 3) * 200 for number in range(50)
    ]  # 1/90000 s; two frames dropped
    clip = look(make_clip(tmp_path / "a.mp4", frames=50, ticks=ticks, time_base=Fraction(1, 90000), sound=False))
    assert clip.variable_rate
    assert (clip.rate, clip.frames) == (Fraction(30), 50)
    assert clip.duration_s == pytest.approx((ticks[-1] - ticks[0]) / 90000 + 1 / 30, abs=0.005)


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(timing.COMMON_RATES), st.integers(3, 4000), st.sampled_from([1000, 90000, 12800, 30000]))
def test_rounded_times_of_a_constant_rate_are_constant(rate, frames, ticks_a_second):
    base = Fraction(1, ticks_a_second)
    ticks = [round(k / rate / base) for k in range(frames)]
    pace = timing.pace(ticks, base, (rate,))
    assert not pace.variable
    assert pace.rate == rate


@settings(max_examples=60, deadline=None)
@given(st.integers(90, 900), st.data())
def test_one_lost_frame_makes_a_rate_variable(frames, data):
    lost = data.draw(st.integers(30, frames - 30))
    ticks = [k * 3000 for k in range(frames) if k != lost]
    pace = timing.pace(ticks, Fraction(1, 90000), ())
    assert (pace.rate, pace.variable) == (Fraction(30), True)


# --- what else a clip tells -----------------------------------------------------------------------


def test_sound_rotation_and_size(tmp_path, make_clip):
    clip = look(make_clip(tmp_path / "a.mp4", rotation=-90, sound_late_s=0.25))  # PyAV counts counter-clockwise
    assert clip.rotation_deg == 90
    assert (clip.width_px, clip.height_px, clip.shown_size_px) == (64, 48, (48, 64))
    assert (clip.audio.sample_rate_hz, clip.audio.channels, clip.audio.codec) == (48000, 1, "aac")
    assert clip.audio.start_s == pytest.approx(0.25, abs=0.03)
    assert look(make_clip(tmp_path / "b.mp4", sound=False)).audio is None


def test_metadata_reaches_the_clip(tmp_path, make_clip):
    tags = {
        "creation_time": "2026-05-09T09:23:36Z",
        "location": "+62.1876+005.0264/",
        "make": "Invented",
        "model": "Box 2",
        "timecode": "01:00:00:00",
    }
    clip = look(make_clip(tmp_path / "a.mov", tags=tags, options={"movflags": "use_metadata_tags"}))
    assert clip.stamp_s == pytest.approx(1778318616.0)
    assert (clip.stamp_step_s, clip.stamp_is_utc, clip.stamp_from) == (1.0, False, "metadata")
    assert (clip.location.lat, clip.location.lon) == pytest.approx((62.1876, 5.0264))
    assert (clip.make, clip.model, clip.timecode) == ("Invented", "Box 2", "01:00:00:00")


# source: reference TIM-22, TIM-23 (QuickTime File Format, "Creation time"; 1904 -> 1970 is 2 082 844 800 s)
@pytest.mark.parametrize(
    ("field", "stamp_s"),
    [(0, None), (2_082_844_800, None), (2_082_844_800 + 1_778_318_616, 1_778_318_616.0), (2_082_844_800 + 60, 60.0)],
)
def test_the_1904_field_in_the_movie_header(tmp_path, make_clip, field, stamp_s):
    path = make_clip(tmp_path / "a.mp4", tags={"creation_time": "2020-01-01T00:00:00Z"})
    path.write_bytes(with_creation_field(path.read_bytes(), field))
    assert look(path).stamp_s == stamp_s


def with_creation_field(data: bytes, value: int) -> bytes:
    """Overwrite the creation field of mvhd, tkhd and mdhd boxes of version 0.

    source: ISO/IEC 14496-12: size, type, version and flags (4 bytes), then creation_time, 32 bits in version 0.
    """
    changed = bytearray(data)
    for kind in (b"mvhd", b"tkhd", b"mdhd"):
        at = data.find(kind)
        while at >= 0:
            assert data[at + 4] == 0
            changed[at + 8 : at + 12] = struct.pack(">I", value)
            at = data.find(kind, at + 4)
    return bytes(changed)


@pytest.mark.parametrize(
    ("text", "seconds", "step_s", "is_utc"),
    [
        # source: RFC 3339 section 5.8, examples 1 and 2 (reference TIM-01, TIM-02)
        ("1985-04-12T23:20:50.52Z", 482196050.52, 0.01, False),
        ("1996-12-19T16:39:57-08:00", 851042397.0, 1.0, True),
        # example 3: a leap second folds onto the second before (TIM-03)
        ("1990-12-31T23:59:60Z", 662687999.0, 1.0, False),
        ("2026-05-09T06:23:36+0200", 1778300616.0, 1.0, True),
        ("2026:05:09 09:23:36", 1778318616.0, 1.0, False),
        ("2026-05-09 09:23", 1778318580.0, 60.0, False),
    ],
)
def test_stamps_as_text(text, seconds, step_s, is_utc):
    stamp = read_stamp(text)
    assert (stamp.seconds, stamp.step_s, stamp.is_utc) == (pytest.approx(seconds), pytest.approx(step_s), is_utc)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1904-01-01T00:00:00.000000Z",
        "1970-01-01T00:00:00.000000Z",
        "0000-00-00 00:00:00",
        "2026",
        "2026-13-01T00:00:00Z",
        "dawn",
    ],
)
def test_no_stamp(text):
    assert read_stamp(text) is None


def test_a_stamp_with_an_offset_goes_before_the_bare_header():
    tables = [{"creation_time": "2026-05-09T06:23:36Z", "com.apple.quicktime.creationdate": "2026-05-09T06:23:36+0200"}]
    assert creation_stamp(tables).seconds == 1778300616.0
    assert creation_stamp([{}], "VID_20260509_092336.mp4").source == "file name"


@pytest.mark.parametrize(
    ("name", "seconds"),
    [
        ("20260509_062210.mov", 1778307730.0),
        ("VID_2026-05-09 06-22-10.mp4", 1778307730.0),
        ("CLIP0001.mp4", None),
        ("20260509.mp4", None),
        ("20261350_062210.mov", None),
        ("1202605090622101.mp4", None),
    ],
)
def test_stamps_in_names(name, seconds):
    stamp = stamp_in_name(name)
    assert (stamp.seconds if stamp else None) == seconds


# source: ISO 6709 Annex H; reference ISO-01 (the digits choose the form) and ISO-02 (published good examples)
@pytest.mark.parametrize(
    ("text", "lat", "lon", "altitude"),
    [
        ("+48.8577+002.295/", 48.8577, 2.295, None),
        ("+35.36083+138.72750+3776CRSWGS_84/", 35.36083, 138.7275, 3776.0),
        ("+90+000/", 90.0, 0.0, None),
        ("+00-160/", 0.0, -160.0, None),
        ("+2759.27+08656.67/", 27 + 59.27 / 60, 86 + 56.67 / 60, None),
        ("+275916+0865640+8850CRSWGS_84/", 27 + 59 / 60 + 16 / 3600, 86 + 56 / 60 + 40 / 3600, 8850.0),
        ("-3352.1-15112.4", -(33 + 52.1 / 60), -(151 + 12.4 / 60), None),
        # Reference ISO-03 and ISO-04, the widely copied wrong ones: their form says degrees, so degrees are read.
        ("+27.5916+086.5640+8850CRSWGS_84/", 27.5916, 86.564, 8850.0),
        ("+48.52+002.20/", 48.52, 2.2, None),
    ],
)
def test_iso_6709(text, lat, lon, altitude):
    place = read_location(text)
    assert (place.lat, place.lon) == pytest.approx((lat, lon), abs=1e-9)
    assert place.altitude_m == altitude


@pytest.mark.parametrize("text", ["", "48.85 2.29", "+91+000/", "+48+181/", "+4860+00200/", "+486+0020/", "+00.0000+000.0000/"])
def test_no_place(text):
    assert read_location(text) is None


@settings(max_examples=200, deadline=None)
@given(st.floats(-90, 90), st.floats(-180, 180), st.sampled_from([0, 1, 2]))
def test_iso_6709_there_and_back(lat, lon, form):
    def write(value, digits):
        sign, value = "-" if value < 0 else "+", abs(value)
        degrees = int(value)
        minutes = (value - degrees) * 60
        if form == 0:
            return f"{sign}{value:0{digits + 8}.7f}"
        if form == 1:
            return f"{sign}{degrees:0{digits}d}{min(minutes, 59.99999):08.5f}"
        return f"{sign}{degrees:0{digits}d}{int(minutes):02d}{min((minutes % 1) * 60, 59.999):06.3f}"

    place = read_location(write(lat, 2) + write(lon, 3) + "/")
    if place is None:
        assert abs(lat) < 1e-5
        assert abs(lon) < 1e-5
    else:
        assert place.lat == pytest.approx(lat, abs=2e-6)
        assert place.lon == pytest.approx(lon, abs=2e-6)


def test_muxers_names_are_no_hint():
    assert device_hint([{"software": "Lavf60.1"}]) == ""
    assert device_hint([{"encoder": "Lavf60.1"}, {"handler_name": "VideoHandler"}, {"handler_name": "SoundHandler"}]) == ""
    assert device_hint([{"handler_name": "Deck Eye"}]) == "Deck Eye"
    assert device_hint([{"comment": "chest recorder"}, {"handler_name": "Deck Eye"}]) == "chest recorder"


# --- files that cannot be used ----------------------------------------------------------------------


def test_an_empty_file(tmp_path):
    (tmp_path / "a.mp4").touch()
    assert look(tmp_path / "a.mp4").set_aside == "the file is empty (zero bytes)"


def test_a_missing_file(tmp_path):
    assert "cannot be read" in look(tmp_path / "a.mp4").set_aside


@pytest.mark.parametrize("content", [b"not a film at all, just words " * 40, bytes(5000), b"\x89PNG\r\n\x1a\n" + bytes(200)])
def test_a_file_that_is_no_video(tmp_path, content):
    (tmp_path / "a.mp4").write_bytes(content)
    assert "it is no video file" in look(tmp_path / "a.mp4").set_aside


def test_a_recording_without_its_index(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", frames=60)
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert "index (moov) is missing" in look(path).set_aside


def test_a_copy_that_ends_early_though_its_index_is_there(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", frames=60, options={"movflags": "faststart"})
    whole = path.read_bytes()
    assert look(path).usable
    path.write_bytes(whole[: len(whole) * 7 // 10])
    assert "ends early" in look(path).set_aside


@pytest.mark.parametrize("suffix", [".mkv", ".avi"])
def test_other_containers_cut_short(tmp_path, make_clip, suffix):
    path = make_clip(tmp_path / f"a{suffix}", frames=240, rate=Fraction(24), size=(160, 120))
    assert look(path).usable
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    assert "ends early" in look(path).set_aside


def test_sound_alone_is_no_clip(tmp_path):
    with av.open(str(tmp_path / "a.mp4"), "w") as box:
        voice = box.add_stream("aac", rate=48000, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
        frame.sample_rate, frame.pts = 48000, 0
        box.mux(voice.encode(frame))
        box.mux(voice.encode(None))
    assert look(tmp_path / "a.mp4").set_aside == "it holds no pictures"


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_no_damage_raises(tmp_path_factory, make_clip, data):
    folder = tmp_path_factory.mktemp("damage")
    whole = bytearray(make_clip(folder / "whole.mp4", frames=5).read_bytes())
    for _ in range(data.draw(st.integers(1, 8))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    path = folder / "a.mp4"
    path.write_bytes(io.BytesIO(whole).read(data.draw(st.integers(0, len(whole)))))
    clip = look(path)
    assert clip.usable == (clip.frames is not None)


def test_a_damaged_word_in_the_tags_costs_no_clip(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", frames=5)
    whole = path.read_bytes()
    at = whole.index(b"Lavf")  # the writer's name, a tag of the container
    path.write_bytes(whole[:at] + b"\x80" + whole[at + 1 :])
    assert look(path).usable

"""Decoding against clips made here with known frames and known sound."""

import itertools
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
import pytest

from reelnotes.media.decode import Undrawn, pictures, sound, undrawn
from reelnotes.media.opening import opened
from reelnotes.records.problems import UnreadableError

RATE = Fraction(30000, 1001)


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """90 frames whose left half brightens with the frame number; a 1 kHz beep from 1.0 s to 1.5 s."""
    path = tmp_path_factory.mktemp("media") / "made.mp4"
    with av.open(str(path), "w") as out:
        video = out.add_stream("libx264", rate=RATE, options={"crf": "10", "g": "30", "sc_threshold": "0"})
        video.width, video.height, video.pix_fmt = 160, 96, "yuv420p"
        audio = out.add_stream("aac", rate=48000, layout="mono")
        for n in range(90):
            picture = np.zeros((96, 160, 3), np.uint8)
            picture[:, :80] = 20 + 2 * n
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            out.mux(video.encode(frame))
        out.mux(video.encode(None))
        t = np.arange(3 * 48000) / 48000
        beep = (0.5 * np.sin(2 * np.pi * 1000 * t) * ((t >= 1.0) & (t < 1.5))).astype(np.float32)
        for start in range(0, len(beep), 1024):
            block = beep[None, start : start + 1024]
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(block), format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
            out.mux(audio.encode(frame))
        out.mux(audio.encode(None))
    return path


def test_every_frame_with_its_number_and_time(clip: Path) -> None:
    seen = list(pictures(clip, grey=True))
    assert [p.frame for p in seen] == list(range(90))
    assert seen[89].time_s == pytest.approx(89 * 1001 / 30000, abs=1e-3)
    brightness = [float(p.pixels[40:56, 20:60].mean()) for p in seen]
    assert np.all(np.diff(brightness) > 0)


def test_a_stretch_is_the_same_frames_as_the_whole(clip: Path) -> None:
    whole = {p.frame: float(p.pixels.mean()) for p in pictures(clip, grey=True)}
    part = list(pictures(clip, grey=True, start_s=1.5, end_s=2.0))
    assert [p.frame for p in part] == list(range(45, 60))
    assert all(whole[p.frame] == pytest.approx(float(p.pixels.mean())) for p in part)


def test_keyframes_only(clip: Path) -> None:
    numbers = [p.frame for p in pictures(clip, keyframes_only=True)]
    assert numbers == [0, 30, 60]


def test_scaled_down(clip: Path) -> None:
    first = next(iter(pictures(clip, max_side_px=80)))
    assert first.pixels.shape == (48, 80, 3)


def test_sound_keeps_its_time(clip: Path) -> None:
    blocks = list(sound(clip, rate_hz=16000, block_s=0.7))
    assert len(blocks) > 3
    samples = np.concatenate([b.samples for b in blocks])
    for a, b in itertools.pairwise(blocks):
        assert b.time_s == pytest.approx(a.time_s + len(a.samples) / 16000, abs=1e-4)
    loud = np.flatnonzero(np.abs(samples) > 0.25) / 16000 + blocks[0].time_s
    assert loud[0] == pytest.approx(1.0, abs=0.005) and loud[-1] == pytest.approx(1.5, abs=0.005)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("empty.mp4", b""),
        ("text.mp4", b"not a film at all" * 50),
        ("list.mp4", b"#EXTM3U\n#EXTINF:3,\nhttp://127.0.0.1:9/never.ts\n"),
        ("concat.mp4", b"ffconcat version 1.0\nfile other.mp4\n"),
    ],
)
def test_what_is_no_clip_is_refused_in_one_sentence(tmp_path: Path, name: str, content: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(UnreadableError) as told, opened(path):
        pass
    assert name in str(told.value) and "\n" not in str(told.value)


def test_a_missing_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError), opened(tmp_path / "no.mp4"):
        pass


def test_a_held_frame_is_the_same_picture_later_and_its_brightness_is_its_luma(clip: Path) -> None:
    held = list(undrawn(clip, every=10))
    drawn = list(pictures(clip, every=10))
    assert [h.frame for h in held] == [p.frame for p in drawn]
    for h, p in zip(held, drawn, strict=True):
        assert np.array_equal(h.picture().pixels, p.pixels)
        assert h.brightness().shape == (96, 160)
    # source: Rec. ITU-R BT.601: luma codes black as 16, and a grey v of 255 as 16 + 219 v / 255.
    grey = drawn[5].pixels[40:56, 20:60].mean()
    assert float(held[5].brightness()[40:56, 20:60].mean()) == pytest.approx(16 + 219 * grey / 255, abs=2.0)


def test_brightness_of_a_format_without_a_luma_plane_of_bytes() -> None:
    picture = np.full((8, 12, 3), 90, np.uint8)
    for name in ("bgr24", "yuv420p10le", "rgb24"):
        frame = av.VideoFrame.from_ndarray(picture, format="bgr24").reformat(format=name)
        light = Undrawn(0, 0.0, frame).brightness()
        assert light.shape == (8, 12) and light.dtype == np.uint8
        assert abs(float(light.mean()) - 90) < 20


@pytest.mark.parametrize("coding", ["yuv420p", "yuvj420p", "yuv422p", "yuv420p10le", "rgb24"])
def test_a_thumbnail_has_the_colours_of_the_picture(coding: str) -> None:
    # Smooth fields of colour: FFmpeg's own conversion is the reference, within what shrinking before or after it differs by.
    u, v = np.meshgrid(np.linspace(0, 1, 640), np.linspace(0, 1, 352))
    picture = np.stack([40 + 170 * u, 200 - 150 * v, 60 + 120 * u * v], axis=-1).astype(np.uint8)
    frame = av.VideoFrame.from_ndarray(picture, format="bgr24").reformat(format=coding)
    made = Undrawn(0, 0.0, frame).thumbnail(160, 90)
    whole = Undrawn(0, 0.0, frame).picture().pixels
    wanted = cv2.resize(whole, (160, 90), interpolation=cv2.INTER_AREA)
    assert made.shape == (90, 160, 3)
    assert np.abs(made.astype(int) - wanted)[2:-2, 2:-2].max() <= 5


def test_a_thumbnail_of_a_portrait_frame_stands_upright() -> None:
    picture = np.zeros((320, 180, 3), np.uint8)
    picture[:80] = 200
    frame = av.VideoFrame.from_ndarray(picture, format="bgr24").reformat(format="yuv420p")
    made = Undrawn(0, 0.0, frame).thumbnail(160, 90)
    assert made.shape == (160, 90, 3)
    assert made[:30].min() > 150 and made[60:].max() < 50

"""Filmed clocks in made clips: small, askew, short, between key frames; and everything that is none."""

import datetime as dt
from pathlib import Path

import av
import cv2
import numpy as np
import pytest
import segno

from reelnotes.clocks.clues.filmed_clock import Sighting, filmed_clock_clues, read_show, stretches
from reelnotes.media.packets import packet_sizes
from reelnotes.records.clips import Clip

RATE = 30
START = dt.datetime(2026, 6, 14, 3, 11, 27, 173_000, tzinfo=dt.UTC).timestamp()


def code(shown_utc_s: float, side_px: int) -> np.ndarray:
    """The code by segno, not by our own page."""
    text = dt.datetime.fromtimestamp(shown_utc_s, dt.UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    modules = segno.make(f"reelnotes-clock:{text}", version=3, error="m", mode="byte", boost_error=False).matrix
    light = np.pad(1 - np.array([list(r) for r in modules], np.uint8), 4, constant_values=1) * np.uint8(255)
    return cv2.resize(light, (side_px, side_px), interpolation=cv2.INTER_AREA)


def make_clip(
    path: Path, *, seconds: float, show: tuple[float, float] | None, side_px: int = 120, turn_deg: float = 8.0, gop: int = 60
) -> Clip:
    """A moving, noisy scene of 480 x 270; a phone's screen in it from show[0] to show[1] seconds."""
    rng = np.random.default_rng(5)
    wide = cv2.GaussianBlur(rng.integers(40, 215, (400, 700, 3), np.uint8), (0, 0), 3)
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=RATE, options={"g": str(gop), "crf": "26", "preset": "veryfast"})
        stream.width, stream.height, stream.pix_fmt = 480, 270, "yuv420p"
        for n in range(round(seconds * RATE)):
            t = n / RATE
            x, y = int(60 + 40 * np.sin(t)), int(40 + 20 * np.cos(1.3 * t))
            picture = wide[y : y + 270, x : x + 480].copy()
            if show and show[0] <= t < show[1]:
                shown = np.floor((START + t) * 10 + 1e-6) / 10
                _paste(picture, code(shown, side_px), turn_deg + 2 * np.sin(3 * t), (240 + 30 * np.sin(2 * t), 130))
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = n
            for packet in stream.encode(frame):
                container.mux(packet)
        for packet in stream.encode():
            container.mux(packet)
    return Clip("clips/a/x.mp4", path, "a", duration_s=seconds)


def _paste(picture: np.ndarray, square: np.ndarray, turn_deg: float, middle: tuple[float, float]) -> None:
    side = square.shape[0]
    lean = np.float32([[0, 0], [side, 0.04 * side], [0.98 * side, side], [0, 0.96 * side]])  # askew as well as turned
    home = np.float32([[0, 0], [side, 0], [side, side], [0, side]])
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), turn_deg, 1.0)
    turn[:, 2] += np.array(middle) - side / 2
    whole = np.vstack([turn, [0, 0, 1]]) @ cv2.getPerspectiveTransform(home, lean)
    size = picture.shape[1::-1]
    screen = cv2.warpPerspective(square, whole, size, flags=cv2.INTER_AREA)
    mask = cv2.warpPerspective(np.full_like(square, 255), whole, size)
    picture[mask > 127] = screen[mask > 127][:, None]


@pytest.mark.parametrize(
    ("show", "side_px", "turn_deg", "gop"),
    [
        ((3.0, 6.0), 120, 8.0, 60),
        ((4.25, 4.75), 110, -20.0, 60),  # half a second, between key frames
        ((9.3, 9.8), 110, 30.0, 250),  # half a second, far from any key frame
        ((5.0, 7.5), 84, 12.0, 60),  # small: about two pixels a module
    ],
)
def test_a_shown_clock_is_found_and_read_to_a_fraction_of_a_frame(tmp_path, show, side_px, turn_deg, gop):
    clip = make_clip(tmp_path / "x.mp4", seconds=14, show=show, side_px=side_px, turn_deg=turn_deg, gop=gop)
    (clue,) = filmed_clock_clues(clip)
    assert clue.kind == "filmed clock"
    assert abs(clue.value_s - START) < 1 / RATE
    assert abs(clue.value_s - START) < 3 * clue.sigma_s
    assert show[0] <= clue.at_s <= show[1]


def test_a_clip_without_a_clock_has_no_clue(tmp_path):
    assert filmed_clock_clues(make_clip(tmp_path / "x.mp4", seconds=4, show=None)) == []


def test_another_qr_code_is_no_clock(tmp_path, monkeypatch):
    other = np.pad(1 - np.array([list(r) for r in segno.make("https://example.org/menu").matrix], np.uint8), 4, constant_values=1)
    square = cv2.resize(other * np.uint8(255), (120, 120), interpolation=cv2.INTER_NEAREST)
    monkeypatch.setattr(f"{__name__}.code", lambda _shown, _side: square)
    assert filmed_clock_clues(make_clip(tmp_path / "x.mp4", seconds=4, show=(1.0, 3.0))) == []


def test_the_stretch_with_the_code_stands_out_by_its_bytes(tmp_path):
    clip = make_clip(tmp_path / "x.mp4", seconds=14, show=(9.3, 9.8), gop=250)
    first = stretches(packet_sizes(clip.path))[0]
    assert first[0] <= 9.8
    assert first[1] >= 9.3


def sightings(start_s: float, times: np.ndarray, late_s: float = 0.0) -> list[Sighting]:
    return [Sighting(float(t), float(np.floor((start_s + t - late_s) * 10 + 1e-6) / 10)) for t in times]


def test_changes_of_the_shown_tenth_narrow_the_start_down():
    seen = sightings(START, 3.0 + np.arange(60) * 1001 / 30000)
    clue = read_show("x", seen)
    assert abs(clue.value_s - START) < 0.017
    assert clue.sigma_s < 0.015


def test_one_frame_alone_tells_a_tenth():
    clue = read_show("x", sightings(START, np.array([3.0])))
    assert abs(clue.value_s - START) <= 0.05
    assert clue.sigma_s == pytest.approx(0.1 / np.sqrt(12), rel=0.05)


def test_a_misread_frame_does_not_matter():
    seen = [*sightings(START, 3.0 + np.arange(20) / 30), Sighting(3.1, START + 3600.0)]
    assert abs(read_show("x", seen).value_s - START) < 0.034


def test_a_photograph_of_the_page_is_no_clock():
    assert read_show("x", [Sighting(t, START) for t in np.arange(3.0, 5.0, 1 / 30)]) is None

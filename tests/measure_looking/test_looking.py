"""Which frames are searched for a board: short clips whole, long ones where they differ."""

from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.measure.looking import MOST_SEARCHED, Glimpse, frames_to_search, search_order


def water(rng: np.random.Generator) -> np.ndarray:
    picture = np.zeros((90, 160, 3), np.float32)
    picture[:40], picture[40:] = (200, 180, 160), (110, 100, 60)
    return np.clip(picture + rng.normal(0, 6, picture.shape), 0, 255).astype(np.uint8)


def board(rng: np.random.Generator) -> np.ndarray:
    picture = np.full((90, 160, 3), 70, np.uint8)
    picture[25:65, 15:150] = (225, 230, 230)
    return np.clip(picture + rng.normal(0, 6, picture.shape), 0, 255).astype(np.uint8)


def film(path: Path, shown: list[np.ndarray]) -> None:
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=10, options={"g": "10", "sc_threshold": "0", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt = 160, 90, "yuv420p"
        for picture in shown:
            out.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="bgr24")))
        out.mux(stream.encode(None))


@pytest.mark.parametrize("at_s", [4, 17, 36])
def test_a_board_shown_for_three_seconds_in_forty_is_searched(tmp_path: Path, at_s: int) -> None:
    rng = np.random.default_rng(at_s)
    shown = [board(rng) if at_s <= n / 10 < at_s + 3 else water(rng) for n in range(400)]
    film(tmp_path / "long.mp4", shown)
    times = [p.time_s for p in frames_to_search(tmp_path / "long.mp4")]
    assert len(times) <= MOST_SEARCHED
    assert any(at_s <= t < at_s + 3 for t in times)


def test_a_board_shown_all_along_is_searched_first(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    film(tmp_path / "all.mp4", [water(rng) if n < 20 else board(rng) for n in range(300)])
    first = next(frames_to_search(tmp_path / "all.mp4"))
    assert first.time_s >= 2.0 and first.pixels.shape == (90, 160, 3)


def test_water_all_day_costs_one_search(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    film(tmp_path / "water.mp4", [water(rng) for _ in range(200)])  # 20 s
    assert len(list(frames_to_search(tmp_path / "water.mp4"))) == 1


@given(st.integers(0, 12), st.integers(1, 6), st.integers(0, 99))
def test_the_order_names_each_frame_at_most_once(count: int, most: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    glimpses = [Glimpse(float(i), rng.uniform(0, 255, 60).astype(np.float32)) for i in range(count)]
    order = search_order(glimpses, most)
    assert len(order) == len(set(order)) <= max(most, 0) and all(0 <= i < count for i in order)
    assert order or not count


def test_a_short_clip_is_searched_between_its_key_frames_too(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    film(tmp_path / "short.mp4", [board(rng) for _ in range(25)])
    times = [round(p.time_s, 2) for p in frames_to_search(tmp_path / "short.mp4")]
    assert times[:3] == [0.0, 1.0, 2.0]
    assert len(times) > 4 and min(np.diff(sorted(times))) > 0.35

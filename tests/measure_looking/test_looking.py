"""Which frames are searched for a board: short clips whole, long ones where they differ."""

from pathlib import Path

import av
import numpy as np
import pytest

from reelnotes.measure import looking
from reelnotes.measure.looking import GLANCED_AT_FIRST, MOST_SEARCHED, Sights, frames_to_search, glance_through


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


@pytest.fixture(autouse=True)
def glances(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A glance that tells a board by its whiteness, so that these tests are of where one looks, not of the net; its scores."""
    scores: list[float] = []

    def by_whiteness(image: np.ndarray) -> float:
        scores.append(0.9 if (image > 212).mean() > 0.2 else 0.1)
        return scores[-1]

    monkeypatch.setattr(looking, "board_likeness", by_whiteness)
    return scores


def searched(path: Path, *, thorough: bool = False) -> list[float]:
    return [round(p.time_s, 2) for p in frames_to_search(path, glance_through(path, thorough=thorough))]


@pytest.mark.parametrize("at_s", [4, 17, 36])
def test_a_board_shown_for_three_seconds_in_forty_is_all_that_is_searched(tmp_path: Path, at_s: int) -> None:
    rng = np.random.default_rng(at_s)
    film(tmp_path / "long.mp4", [board(rng) if at_s <= n / 10 < at_s + 3 else water(rng) for n in range(400)])
    times = searched(tmp_path / "long.mp4")
    assert 0 < len(times) <= MOST_SEARCHED
    assert all(at_s <= t < at_s + 3 for t in times)


def test_water_all_day_costs_a_glance_and_no_search(tmp_path: Path, glances: list[float]) -> None:
    rng = np.random.default_rng(6)
    film(tmp_path / "water.mp4", [water(rng) for _ in range(200)])  # 20 s
    assert searched(tmp_path / "water.mp4") == []
    assert len(glances) == GLANCED_AT_FIRST  # all its key frames look alike


def test_who_asks_for_one_clip_has_its_likeliest_frames_searched_however_unlikely(tmp_path: Path) -> None:
    rng = np.random.default_rng(6)
    film(tmp_path / "water.mp4", [water(rng) for _ in range(200)])
    assert len(searched(tmp_path / "water.mp4", thorough=True)) == MOST_SEARCHED


def test_a_short_clip_is_searched_between_its_key_frames_too(tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    film(tmp_path / "short.mp4", [board(rng) for _ in range(25)])
    times = searched(tmp_path / "short.mp4")
    assert sorted(times[:3]) == [0.0, 1.0, 2.0]
    assert len(times) > 4 and min(np.diff(sorted(times))) > 0.35


def test_nothing_in_sight_is_nothing_to_search(tmp_path: Path) -> None:
    rng = np.random.default_rng(8)
    film(tmp_path / "short.mp4", [board(rng) for _ in range(25)])
    assert list(frames_to_search(tmp_path / "short.mp4", Sights((), 0.0, 8.0))) == []

"""Shared sound: found without any prior, a millisecond and a slope; and nothing where there is nothing."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from scipy.signal import correlate
from sound_scenes import RATE_HZ, Microphone, band_noise, clip_of, drone, hear, knocks, voices, wind

from reelnotes.clocks.clues import sound_coarse
from reelnotes.clocks.clues.sound import sound_clues
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue

Sources = dict[str, np.ndarray]
PATHS = {"voices": 0.003, "knocks": -0.002}


def scene(seed: int, seconds: float) -> Sources:
    rng = np.random.default_rng(seed)
    return {"voices": voices(rng, seconds), "knocks": 5 * knocks(rng, seconds)}


def clues_of(folder: Path, a: np.ndarray, b: np.ndarray) -> list[Clue]:
    return sound_clues([clip_of(folder / "a.mov", a, "bow"), clip_of(folder / "b.mov", b, "stern")])


def difference(clues: list[Clue], a: str = "a.mov", b: str = "b.mov") -> tuple[float, Clue]:
    """start(a) - start(b) of the one clue between the two."""
    (clue,) = [c for c in clues if {c.clip, c.other} == {a, b}]
    return (clue.value_s if clue.clip == a else -clue.value_s), clue


@pytest.mark.parametrize("snr_db", [10.0, 0.0])
@pytest.mark.parametrize("seed", [1, 2])
def test_overlap_is_found_and_true_within_sound_paths(tmp_path: Path, snr_db: float, seed: int) -> None:
    sources = scene(seed, 60)
    a = hear(sources, Microphone(ppm=10, snr_db=snr_db), 17.0, 40, seed)
    b = hear(sources, Microphone(PATHS, ppm=-15, snr_db=snr_db, gain_control=True), 0.0, 50, seed + 100)
    value, clue = difference(clues_of(tmp_path, a, b))
    # b hears voices 3 ms later and knocks 2 ms earlier than a.
    assert -0.0035 < value - 17.0 < 0.0025
    assert abs(value - 17.0) < 3 * clue.sigma_s
    assert clue.sigma_s < 0.004
    assert clue.confidence > 0.99
    assert clue.slope_ppm is not None and clue.slope_sigma_ppm is not None
    sign = 1 if clue.clip == "a.mov" else -1
    assert abs(sign * clue.slope_ppm - 25) < 4 * max(1.0, clue.slope_sigma_ppm)


def test_deaf_microphone_and_clipped_wind(tmp_path: Path) -> None:
    sources = scene(3, 50)
    a = hear(sources, Microphone(snr_db=0, low_pass_hz=2500, clip_at=1.0), 8.0, 40, 5)
    b = hear(sources, Microphone(snr_db=0), 0.0, 40, 6)
    value, _ = difference(clues_of(tmp_path, a, b))
    assert value == pytest.approx(8.0, abs=0.002)


def test_overlap_of_six_seconds(tmp_path: Path) -> None:
    sources = scene(4, 70)
    a = hear(sources, Microphone(snr_db=3), 0.0, 40, 7)
    b = hear(sources, Microphone(snr_db=3), 34.0, 30, 8)
    value, _ = difference(clues_of(tmp_path, a, b))
    assert value == pytest.approx(-34.0, abs=0.002)


def test_compressed_sound(tmp_path: Path) -> None:
    sources = scene(5, 40)
    clips = [
        clip_of(tmp_path / "a.mp4", hear(sources, Microphone(snr_db=6), 5.0, 30, 9), "bow"),
        clip_of(tmp_path / "b.mov", hear(sources, Microphone(snr_db=6), 0.0, 30, 10), "stern"),
    ]
    value, _ = difference(sound_clues(clips), "a.mp4")
    # source: ISO/IEC 14496-12: an edit list takes the encoder's priming samples (1024 of AAC, 64 ms here) away again.
    assert value == pytest.approx(5.0, abs=0.001)


def test_coarse_correlation_is_the_plain_sum() -> None:
    # source: scipy.signal.correlate on white onsets, for which whitening changes little: the same top, and a score
    # at it of about the root of bands x frames (the noise's deviation is that of one product a band and frame).
    rng = np.random.default_rng(10)
    a = rng.standard_normal((12, 900)).astype(np.float32)
    b = a[:, 350:].copy()
    lags, score = sound_coarse.correlation(a, b)
    plain = sum(correlate(x, y, mode="full") for x, y in zip(a, b, strict=True))
    assert lags[np.argmax(score)] == np.argmax(plain) - (b.shape[1] - 1) == 350
    assert score.max() == pytest.approx(np.sqrt(12 * 550), rel=0.15)


def test_shoulders_of_a_broad_peak_stay_numbers(monkeypatch: pytest.MonkeyPatch) -> None:
    # Once the best peak is cut out, the next best is its shoulder, beside the cut and with no top of its own.
    lags = np.arange(-200, 201)
    score = 20.0 - 0.1 * np.abs(lags)
    monkeypatch.setattr(sound_coarse, "correlation", lambda a, b, spectra: (lags, score))
    onsets = np.zeros((12, 400), np.float32)
    found = list(sound_coarse._peaks(onsets, onsets, {}))
    assert len(found) == sound_coarse.CANDIDATES_A_PAIR
    assert np.isfinite(found).all()
    assert found[0][0] == pytest.approx(0.0)


def test_chapters_move_together(tmp_path: Path) -> None:
    sources = scene(6, 70)
    long = hear(sources, Microphone(snr_db=6), 0.0, 60, 11)
    half = 30 * RATE_HZ
    clips = [
        clip_of(tmp_path / "c1.mov", long[:half], "bow", recording="r", lead_s=0.0),
        clip_of(tmp_path / "c2.mov", long[half:], "bow", recording="r", lead_s=30.0),
        clip_of(tmp_path / "b.mov", hear(sources, Microphone(snr_db=6), 15.0, 40, 12), "stern"),
    ]
    clues = sound_clues(clips)
    assert len(clues) == 2
    assert difference(clues, "c1.mov")[0] == pytest.approx(-15.0, abs=0.002)
    assert difference(clues, "c2.mov")[0] == pytest.approx(15.0, abs=0.002)


def test_same_camera_is_never_compared(tmp_path: Path) -> None:
    sound = hear(scene(7, 20), Microphone(), 0.0, 15, 13)
    assert sound_clues([clip_of(tmp_path / "a.mov", sound, "bow"), clip_of(tmp_path / "b.mov", sound, "bow")]) == []


def test_unusable_clips_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "broken.mov").write_bytes(b"no film at all")
    clips = [
        Clip("aside.mov", tmp_path / "none.mov", "bow", set_aside="empty"),
        Clip("broken.mov", tmp_path / "broken.mov", "bow"),
        clip_of(tmp_path / "b.mov", hear(scene(8, 20), Microphone(), 0.0, 15, 14), "stern"),
    ]
    assert sound_clues(clips) == []


def silence(rng: np.random.Generator) -> Sources:
    return {"nothing": np.zeros(40 * RATE_HZ)}


def other_talk(rng: np.random.Generator) -> Sources:
    return {"voices": voices(rng, 40)}


def other_knocks(rng: np.random.Generator) -> Sources:
    return {"knocks": knocks(rng, 40, a_minute=60)}


def constant_drone(rng: np.random.Generator) -> Sources:
    return {"engine": drone(rng, 40)}


def pure_drone(rng: np.random.Generator) -> Sources:
    return {"engine": drone(rng, 40, noise=0.0)}


def drag_heard_again(rng: np.random.Generator) -> Sources:
    """The very same drag in either clip, at another moment of other talk."""
    out = 0.3 * voices(rng, 40)
    drag = band_noise(np.random.default_rng(99), 3 * RATE_HZ, 1000, 6000)
    at = int(rng.uniform(5, 30) * RATE_HZ)
    out[at : at + len(drag)] += drag
    return {"scene": out}


def beeper(rng: np.random.Generator) -> Sources:
    """An alarm that beeps once a second, alike in both, over other talk."""
    t = np.arange(40 * RATE_HZ) / RATE_HZ - rng.uniform(0, 1)
    beep = (t % 1.0 < 0.2) * np.sin(2 * np.pi * 2100 * (t % 1.0)) * 2
    return {"beep": beep, "voices": 0.5 * voices(rng, 40)}


@pytest.mark.parametrize("kind", [silence, other_talk, other_knocks, constant_drone, pure_drone, drag_heard_again, beeper])
@pytest.mark.parametrize("snr_db", [None, 0.0])
def test_nothing_is_claimed_where_nothing_was_shared(
    tmp_path: Path, kind: Callable[[np.random.Generator], Sources], snr_db: float | None
) -> None:
    for seed in (1, 2):
        a = hear(kind(np.random.default_rng(seed)), Microphone(snr_db=snr_db), 0.1, 35, seed)
        b = hear(kind(np.random.default_rng(seed + 50)), Microphone(snr_db=snr_db), 1.3, 35, seed + 9)
        assert clues_of(tmp_path, a, b) == []


def test_wind_alone(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    a, b = (0.1 * wind(rng, 40).astype(np.float32) for _ in range(2))
    assert clues_of(tmp_path, a, b) == []


def test_two_hundred_pairs_that_never_overlapped(tmp_path: Path) -> None:
    clips = []
    for k in range(27):
        sources = scene(100 + k, 11)
        sources["engine"] = 0.5 * drone(np.random.default_rng(k), 11, hz=50 + k % 3)
        sound = hear(sources, Microphone(snr_db=6), 0.2, 10, k)
        clips.append(clip_of(tmp_path / f"{k}.mov", sound, f"camera {k % 3}"))
    assert sound_clues(clips) == []  # 3 cameras of 9 takes: 243 pairs

"""Engine noise against speed: placed where it surely can be, silent everywhere else."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from sound_scenes import RATE_HZ, band_noise, clip_of

from reelnotes.clocks.audio_features import LOUDNESS_STEP_S, AudioFeatures
from reelnotes.clocks.clues.engine_noise import EngineMatch, engine_clue, masked_correlation, throttle
from reelnotes.records.clips import Clip

ZERO_UTC_S = 1_780_000_000.0
BANDS = 7


@dataclass
class Day:
    """An invented outing of ``seconds``: what the throttle asked, second by second, and how fast the boat went."""

    asked: np.ndarray
    speed: np.ndarray


def outing(seed: int, seconds: int = 4200, answer_s: float = 2.5, fastest: float = 10.0) -> Day:
    rng = np.random.default_rng(seed)
    asked = np.zeros(seconds)
    at = 0
    while at < seconds:
        kind = rng.integers(4)
        n = int(rng.uniform(30, 150))
        asked[at : at + n] = (0.0, rng.uniform(0.5, 1.0) * fastest, rng.uniform(0.1, 0.25) * fastest, 0.3)[kind]
        at += n
    speed = np.zeros(seconds)
    for i in range(1, seconds):
        speed[i] = speed[i - 1] + (asked[i] - speed[i - 1]) / answer_s
    return Day(asked, np.abs(speed + rng.normal(0, 0.05, seconds)))


def speed_at(day: Day) -> Callable[[np.ndarray], np.ndarray]:
    seconds = ZERO_UTC_S + np.arange(len(day.speed))
    return lambda t: np.interp(t, seconds, day.speed, left=np.nan, right=np.nan)


def heard(day: Day, start_s: float, length_s: float, seed: int, engine: bool = True) -> AudioFeatures:
    """Loudness in bands: rising with the throttle, a step where the boat planes, gusts of wind over all."""
    rng = np.random.default_rng(seed)
    first = 0.27
    t = start_s + first + LOUDNESS_STEP_S * np.arange(int(length_s / LOUDNESS_STEP_S))
    asked = np.interp(t, np.arange(len(day.asked)), day.asked)
    level = -10 + (1.6 * np.log1p(asked) + 0.8 * (asked > 4) if engine else 0 * asked)
    gusts = 0.3 * np.convolve(rng.standard_normal(len(t) + 20), np.ones(21) / np.sqrt(21), "valid")
    bands = level + gusts + 0.15 * rng.standard_normal((BANDS, len(t)))
    return AudioFeatures(0.016, np.zeros((12, int(length_s * 62.5)), np.int8), first, bands.astype(np.float32))


STARTS_S = (100.0, 520.0, 1100.0, 1500.0, 2300.0, 3000.0)


def match(day: Day, on: Day, engine: bool = True, starts: tuple[float, ...] = STARTS_S) -> EngineMatch | None:
    rng = np.random.default_rng(1)
    clips = [Clip(f"{k}.mp4", Path("unused"), "helm") for k in range(len(starts))]
    features = {clip.name: heard(day, s, 200.0, k, engine) for k, (clip, s) in enumerate(zip(clips, starts, strict=True))}
    stamps = {c.name: s - starts[0] + rng.uniform(-0.5, 0.5) for c, s in zip(clips, starts, strict=True)}
    return engine_clue(clips, stamps, speed_at(on), (ZERO_UTC_S - 5000, ZERO_UTC_S + 9000), features)


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_lone_camera_is_placed_within_three_seconds(seed: int) -> None:
    day = outing(seed, answer_s=1.0 + seed)
    found = match(day, day)
    assert found is not None
    error = found.clue.value_s - (ZERO_UTC_S + STARTS_S[0])
    assert abs(error) < 3.0
    assert abs(error) < 3 * found.sigma_s
    assert found.sigma_s < 3.0
    assert found.clue.clip == "0.mp4" and found.clue.other is None and found.clue.kind == "engine"
    assert found.score > found.next_score
    assert found.clue.confidence > 0.9


@pytest.mark.parametrize("seed", range(12))
def test_another_days_track_gives_no_claim(seed: int) -> None:
    assert match(outing(seed), outing(seed + 500)) is None


@pytest.mark.parametrize("seed", range(4))
def test_no_engine_no_claim(seed: int) -> None:
    assert match(outing(seed), outing(seed), engine=False) is None


def test_steady_speed_no_claim() -> None:
    steady = Day(np.full(4200, 6.0), np.full(4200, 6.0))
    assert match(steady, steady) is None


def test_one_clip_with_one_change_is_no_proof() -> None:
    day = Day(np.repeat([0.0, 8.0] * 6, 350), np.repeat([0.0, 8.0] * 6, 350))
    assert match(day, day, starts=(300.0,)) is None


def test_track_that_does_not_cover_the_footage() -> None:
    day = outing(5)
    nowhere = Day(day.asked, np.full(len(day.speed), np.nan))
    assert match(day, nowhere) is None


def test_no_sound_no_claim() -> None:
    clips = [Clip("a.mp4", Path("unused"), "helm")]
    assert engine_clue(clips, {"a.mp4": 0.0}, speed_at(outing(6)), (ZERO_UTC_S, ZERO_UTC_S + 1), {}) is None


def test_from_real_sound(tmp_path: Path) -> None:
    day = outing(7, seconds=900)
    rng = np.random.default_rng(2)
    t = np.arange(600 * RATE_HZ) / RATE_HZ + 150.0
    size = 0.005 * (1 + np.interp(t, np.arange(900), day.asked)) ** 0.8
    clip = clip_of(tmp_path / "helm.mov", (size * band_noise(rng, len(t), 80, 5000)).astype(np.float32), "helm")
    found = engine_clue([clip], {"helm.mov": 0.0}, speed_at(day), (ZERO_UTC_S - 900, ZERO_UTC_S + 900))
    assert found is not None
    assert abs(found.clue.value_s - (ZERO_UTC_S + 150.0)) < 3.0


def test_masked_correlation_is_pearsons() -> None:
    # source: numpy.corrcoef on the same steps, one lag at a time.
    rng = np.random.default_rng(3)
    a, b = rng.standard_normal(50), rng.standard_normal(120)
    a[20:25] = np.nan
    b[60:63] = np.nan
    r = masked_correlation(a, b)
    assert r.shape == (71,)
    for k in (0, 13, 40, 70):
        both = np.isfinite(a) & np.isfinite(b[k : k + 50])
        assert r[k] == pytest.approx(np.corrcoef(a[both], b[k : k + 50][both])[0, 1], abs=1e-9)


def test_throttle_inverts_a_first_order_answer() -> None:
    # source: v' = (u - v) / tau with u a step from 0 to u0 has v = u0 (1 - exp(-t / tau)); v + tau v' gives u back.
    t = LOUDNESS_STEP_S * np.arange(60)
    speed = 8 * (1 - np.exp(-t / 4.0))
    assert throttle(speed, 4.0)[1:-1] == pytest.approx(np.full(58, 8.0), abs=0.05)

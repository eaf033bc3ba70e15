"""Moments: what the log, the board, the shore clips and the sound make of a line-up."""

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reelnotes.media.decode import SoundBlock
from reelnotes.moments import densities, find_moments
from reelnotes.moments.evidence import GRID_S, Evidence, Liveliness, Scene
from reelnotes.moments.signals import board, log, shore, sound_onset
from reelnotes.records.clips import AudioLayout, Clip
from reelnotes.records.clocks import ClipTime
from reelnotes.records.cuts import Moment
from reelnotes.records.estimates import Estimate
from reelnotes.records.lengths import FishLength
from reelnotes.records.log import LogEvent
from reelnotes.records.trip import Catch, LineUp, PlacedClip, PlacedEvent

T0 = 1_770_000_000.0
SILENT = {"log": log.signal, "board": board.signal, "shore": shore.signal}


def clip(name: str, start_s: float | None, length_s: float, when: str = "on the water", camera: str = "bow") -> PlacedClip:
    made = Clip(name, Path("/trip") / name, camera, rate=Fraction(25), frames=int(25 * length_s), duration_s=length_s)
    time = ClipTime(name, "none") if start_s is None else ClipTime(name, "utc", T0 + start_s, 0.1)
    return PlacedClip(made, time, None, None, when)


def row(kind: str, at_s: float, step_s: float = 60.0, late_s: float = 120.0, name: str = "E01", catch: str = "") -> PlacedEvent:
    event = LogEvent(kind, T0 + at_s, step_s, "log/catches.csv line 2", late_s)
    return PlacedEvent(name, event, Estimate(T0 + at_s - 40, 30.0), None, None, (), catch)


def fish(events: tuple[str, ...], outcome: str = "landed", at_s: float = 600.0) -> Catch:
    return Catch("C01", outcome, Estimate(T0 + at_s, 30.0), "cod", True, None, None, events, ())


def of(moments: tuple[Moment, ...], kind: str) -> list[Moment]:
    return [m for m in moments if m.kind == kind]


def heard(name: str, length_s: float, at_s: float, ratio: float = 30.0) -> Evidence:
    """What a signal would say of a clip in which one instant stands out."""
    cells = np.ones(math.ceil(length_s / GRID_S))
    cells[int(at_s / GRID_S)] = ratio
    return Evidence(liveliness=(Liveliness(name, cells),))


# --- the log as a probability


@given(st.sampled_from([1.0, 60.0, 300.0]), st.floats(5, 300))
def test_a_row_tells_of_an_instant_before_it_was_written(step_s: float, late_s: float) -> None:
    start, chance = log.noted(row("landed", 600, step_s, late_s).event)
    at = start + (np.arange(len(chance)) + 0.5) * GRID_S - (T0 + 600)
    assert chance.sum() == pytest.approx(1.0)
    mean = float(at @ chance)
    # analytic: uniform over the digits (mean step/4 for cut off and rounded alike), less a half-normal's mean s sqrt(2/pi)
    assert mean == pytest.approx(step_s / 4 - late_s / 2 * math.sqrt(2 / math.pi), abs=0.06 * late_s + 1.0)
    assert at[chance > 1e-12].max() <= step_s + GRID_S and at.min() >= -1.5 * late_s - step_s


def test_an_earlier_event_lies_earlier_by_the_lag() -> None:
    sharp = (T0, np.array([1.0]))
    start, chance = densities.earlier(sharp, 100.0, 0.3)
    at = start + np.arange(len(chance)) * GRID_S - T0
    assert float(at[np.argmax(np.cumsum(chance) >= 0.5)]) == pytest.approx(-100.0, abs=2.0)  # a log-normal's median


def test_independent_rows_multiply() -> None:
    a = (T0, np.full(100, 0.01))
    b = (T0 + 40 * GRID_S, np.full(100, 0.01))
    start, chance = densities.combined([a, b])
    shown = np.flatnonzero(chance)
    assert chance.sum() == pytest.approx(1.0)
    assert start + shown[0] * GRID_S == T0 + 20.0 and start + shown[-1] * GRID_S == T0 + 49.5
    assert densities.combined([a, (T0 + 1e4, np.ones(1))]) == a  # rows that exclude each other: the first holds


# --- strikes that nobody wrote down


def test_a_landed_fish_implies_a_strike_before_it() -> None:
    line = LineUp((clip("a.mp4", 0, 900),), (row("landed", 600, catch="C01"),), (fish(("E01",)),))
    moments = find_moments(line, signals=SILENT)
    strike, landed = of(moments, "strike"), of(moments, "landed")
    assert strike and landed and {m.event for m in strike} == {"C01 strike"}

    def middle(found: list[Moment]) -> float:
        return sum(m.chance * m.start_s for m in found) / sum(m.chance for m in found)

    assert 60 < middle(landed) - middle(strike) < 180  # fights last one to three minutes


def test_a_written_strike_is_not_implied_again() -> None:
    events = (row("strike", 500, name="E01", catch="C01"), row("landed", 600, name="E02", catch="C01"))
    line = LineUp((clip("a.mp4", 0, 900),), events, (fish(("E01", "E02")),))
    assert {m.event for m in of(find_moments(line, signals=SILENT), "strike")} == {"E01"}


# --- where in the footage


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.floats(-300, 900), st.floats(1, 400)), max_size=5), st.floats(0, 600), st.sampled_from([1.0, 60.0]))
def test_moments_lie_inside_their_clips_and_share_one_probability(
    spans: list[tuple[float, float]], at_s: float, step_s: float
) -> None:
    clips = tuple(clip(f"{n}.mp4", start, length, camera=f"cam{n}") for n, (start, length) in enumerate(spans))
    line = LineUp(clips, (row("landed", at_s, step_s, catch="C01"),), (fish(("E01",), at_s=at_s),))
    moments = find_moments(line, signals=SILENT)
    for m in moments:
        placed = line.clip(m.clip)
        assert placed is not None and 0 <= m.start_s <= m.core_s[0] < m.core_s[1] <= m.end_s <= placed.clip.duration_s + 1e-9
        assert 0 < m.chance <= 1 and 0 < m.weight <= 1 and m.reasons
    for event in ("E01", "C01 strike"):
        assert sum(m.chance for m in moments if m.event == event) <= 1 + 1e-6
    assert list(moments) == sorted(moments, key=lambda m: m.order_s)


def test_an_event_outside_all_footage_gives_no_moment() -> None:
    line = LineUp((clip("a.mp4", 5000, 60),), (row("bait check", 600),), ())
    assert of(find_moments(line, signals=SILENT), "bait check") == []


def test_a_loud_instant_inside_the_window_is_the_likeliest() -> None:
    line = LineUp((clip("a.mp4", 400, 300),), (row("sighting", 600),), ())
    spoken = {**SILENT, "sound": lambda _: heard("a.mp4", 300, 150.0)}
    best = max(of(find_moments(line, signals=spoken), "sighting"), key=lambda m: m.chance)
    assert best.core_s[0] <= 150.0 <= best.core_s[1]


def test_a_loud_instant_outside_the_window_changes_nothing() -> None:
    line = LineUp((clip("a.mp4", 400, 600),), (row("sighting", 600),), ())
    plain = of(find_moments(line, signals=SILENT), "sighting")
    spoken = {**SILENT, "sound": lambda _: heard("a.mp4", 600, 500.0)}
    assert of(find_moments(line, signals=spoken), "sighting") == plain


def test_the_camera_that_holds_the_window_is_named() -> None:
    line = LineUp((clip("a.mp4", 300, 262), clip("b.mp4", 561, 200, camera="stern")), (row("landed", 600, 1.0, 10.0),), ())
    best = max(of(find_moments(line, signals=SILENT), "landed"), key=lambda m: m.chance)
    assert best.clip == "b.mp4"


# --- spans


def test_shore_clips_and_fish_on_the_board_are_moments_of_their_own() -> None:
    line = LineUp((clip("ramp.mp4", 0, 60, "before"), clip("fish.mp4", 900, 10), clip("fire.mp4", 9000, 4, "after")), (), ())
    lengths = [FishLength("fish.mp4", 2.0, 7.0, "measured"), FishLength("fish.mp4", 8.0, 9.0, "refused", "no fish")]
    moments = find_moments(line, lengths, signals=SILENT)
    assert [m.clip for m in of(moments, "rigging")] == ["ramp.mp4"]
    assert [m.core_s for m in of(moments, "ashore")] == [(0.0, 4.0)]
    assert [m.core_s for m in of(moments, "the fish on the board")] == [(2.0, 7.0)]


def test_a_fish_in_an_unplaced_clip_stands_with_its_catch() -> None:
    line = LineUp((clip("a.mp4", 0, 900), clip("u.mp4", None, 10)), (row("landed", 600, catch="C01"),), (fish(("E01",)),))
    lengths = [FishLength("u.mp4", 2.0, 7.0, "check", "lens unknown", catch="C01")]
    (shown,) = of(find_moments(line, lengths, signals=SILENT), "the fish on the board")
    assert T0 + 590 < shown.order_s < T0 + 620


# --- sound


def noise(length_s: float, bursts: list[float], gain: float = 1.0, seed: int = 1) -> np.ndarray:
    """Wind-like noise (red) with short voice-band bursts."""
    rng = np.random.default_rng(seed)
    n = int(length_s * sound_onset.RATE_HZ)
    spectrum = np.fft.rfft(rng.standard_normal(n))
    frequency = np.fft.rfftfreq(n, 1 / sound_onset.RATE_HZ)
    wind = np.fft.irfft(spectrum / np.maximum(frequency, 30.0), n)
    wind *= 0.05 / wind.std()
    t = np.arange(n) / sound_onset.RATE_HZ
    for at in bursts:  # a shout: a gliding voice with its harmonics, and breath
        phase = 2 * np.pi * (260.0 * (t - at) - 60.0 * (t - at) ** 2)
        voice = sum(np.sin(k * phase) / np.sqrt(k) for k in range(1, 14)) + rng.standard_normal(n)
        wind += 0.02 * np.exp(-0.5 * ((t - at) / 0.2) ** 2) * voice
    return (gain * wind).astype(np.float32)


def blocks(samples: np.ndarray, at_s: float = 0.0, block_s: float = 7.0) -> list[SoundBlock]:
    step = int(block_s * sound_onset.RATE_HZ)
    return [SoundBlock(at_s + i / sound_onset.RATE_HZ, samples[i : i + step]) for i in range(0, len(samples), step)]


@pytest.mark.parametrize("gain", [1.0, 0.01])
def test_a_shout_in_wind_stands_out_at_any_recording_level(gain: float) -> None:
    ratio = sound_onset.onset_ratio(sound_onset.band_levels(blocks(noise(60, [33.2], gain))), 60.0)
    assert len(ratio) == 120 and abs((int(ratio.argmax()) + 0.5) * GRID_S - 33.2) <= 0.75
    assert ratio.max() > 8 and np.median(ratio) < 2


def test_a_bell_stands_out_though_it_fills_one_line_of_the_spectrum_only() -> None:
    samples = noise(60, [])
    t = np.arange(len(samples)) / sound_onset.RATE_HZ
    bell = 0.05 * np.where(t > 20.3, np.exp(-(t - 20.3) / 0.5), 0.0) * np.sin(2 * np.pi * 1700.0 * t)
    ratio = sound_onset.onset_ratio(sound_onset.band_levels(blocks((samples + bell).astype(np.float32))), 60.0)
    assert abs((int(ratio.argmax()) + 0.5) * GRID_S - 20.3) <= 0.75 and ratio.max() > 8


def test_plain_wind_says_nothing() -> None:
    ratio = sound_onset.onset_ratio(sound_onset.band_levels(blocks(noise(60, []))), 60.0)
    assert ratio.max() < 4


def test_blocks_do_not_matter_and_a_late_start_is_kept() -> None:
    samples = noise(30, [12.0])
    whole, cut = (sound_onset.band_levels(blocks(samples, block_s=b)) for b in (30.0, 1.3))
    assert np.allclose(whole, cut, atol=1e-3)
    late = sound_onset.onset_ratio(sound_onset.band_levels(blocks(samples[8000 * 5 :], at_s=5.0)), 30.0)
    assert abs((int(late[12:].argmax()) + 12 + 0.5) * GRID_S - 12.0) <= 0.75


def write_sound(path: Path, samples: np.ndarray) -> None:
    """A small film with sound, made by PyAV."""
    with av.open(str(path), "w") as out:
        picture = out.add_stream("mpeg4", rate=5)
        picture.width = picture.height = 32
        picture.pix_fmt = "yuv420p"
        track = out.add_stream("aac", rate=8000, layout="mono")
        for _ in range(int(5 * len(samples) / 8000)):
            out.mux(picture.encode(av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8))))
        out.mux(picture.encode(None))
        for i in range(0, len(samples) - 1024, 1024):
            frame = av.AudioFrame.from_ndarray(samples[None, i : i + 1024], format="fltp", layout="mono")
            frame.sample_rate, frame.pts = 8000, i
            out.mux(track.encode(frame))
        out.mux(track.encode(None))


def test_real_files_are_heard_and_broken_ones_passed_over(tmp_path: Path) -> None:
    write_sound(tmp_path / "a.mp4", noise(20, [8.0]))
    (tmp_path / "b.mp4").write_bytes(b"no film")
    clips = []
    for name in ("a.mp4", "b.mp4"):
        placed = clip(name, 0, 20)
        clips.append(replace(placed, clip=replace(placed.clip, path=tmp_path / name, audio=AudioLayout(8000, 1, "aac"))))
    told: list[str] = []
    evidence = sound_onset.signal(Scene(LineUp(tuple(clips), (), ()), progress=lambda _, what: told.append(what)))
    (lively,) = evidence.liveliness
    assert lively.clip == "a.mp4" and abs((int(lively.ratio.argmax()) + 0.5) * GRID_S - 8.0) <= 0.75
    assert told == ["listening to a.mp4", "listening to b.mp4"]
    scenes = of(find_moments(LineUp(tuple(clips), (), ())), "scene")
    assert {m.clip for m in scenes} == {"a.mp4", "b.mp4"}
    assert next(m for m in scenes if m.clip == "a.mp4").core_s[0] <= 8.0 <= next(m for m in scenes if m.clip == "a.mp4").core_s[1]

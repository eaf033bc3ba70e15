"""Small invented scenes: what happens on a boat, and what a microphone at some place makes of it."""

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.signal import butter, sosfilt

from reelnotes.records.clips import Clip

RATE_HZ = 16000


def band_noise(rng: np.random.Generator, n: int, low_hz: float, high_hz: float) -> NDArray[np.float64]:
    out: NDArray[np.float64] = sosfilt(butter(2, [low_hz, high_hz], "bandpass", fs=RATE_HZ, output="sos"), rng.standard_normal(n))
    return out / (out.std() + 1e-12)


def voices(rng: np.random.Generator, seconds: float) -> NDArray[np.float64]:
    """Bursts of buzz and hiss at random times, like talk: no two alike."""
    out = np.zeros(int(seconds * RATE_HZ))
    at = rng.uniform(0, 0.5)
    while at < seconds - 0.7:
        n = int(rng.uniform(0.08, 0.4) * RATE_HZ)
        t = np.arange(n) / RATE_HZ
        pitch = rng.uniform(90, 260) * (1 + 0.1 * np.sin(2 * np.pi * rng.uniform(2, 6) * t))
        buzz = sum(np.sin(k * 2 * np.pi * np.cumsum(pitch) / RATE_HZ) / k for k in range(1, 25))
        low = rng.uniform(300, 2500)
        word = (buzz + 0.5 * band_noise(rng, n, low, low * 2)) * np.hanning(n)
        i = int(at * RATE_HZ)
        out[i : i + n] += rng.uniform(0.3, 1.0) * word
        at += n / RATE_HZ + rng.exponential(0.25)
    return out / (out.std() + 1e-12)


def knocks(rng: np.random.Generator, seconds: float, a_minute: float = 20.0) -> NDArray[np.float64]:
    out = np.zeros(int(seconds * RATE_HZ))
    for at in rng.uniform(0, seconds - 0.3, rng.poisson(a_minute * seconds / 60)):
        t = np.arange(int(0.25 * RATE_HZ)) / RATE_HZ
        i = int(at * RATE_HZ)
        out[i : i + len(t)] += np.exp(-t * rng.uniform(20, 60)) * (
            np.sin(2 * np.pi * rng.uniform(150, 900) * t) + 0.5 * rng.standard_normal(len(t))
        )
    return out


def wind(rng: np.random.Generator, seconds: float) -> NDArray[np.float64]:
    """Gusty low noise, of each microphone's own."""
    n = int(seconds * RATE_HZ)
    gusts = np.exp(0.6 * np.repeat(rng.standard_normal(n // 8000 + 1), 8000)[:n])
    out = gusts * (band_noise(rng, n, 30, 300) + 0.4 * band_noise(rng, n, 300, 2500))
    return out / out.std()


def drone(rng: np.random.Generator, seconds: float, hz: int = 55, noise: float = 0.05) -> NDArray[np.float64]:
    """An engine that never changes: harmonics, and a little hiss of its own each time."""
    t = np.arange(RATE_HZ) / RATE_HZ
    second = sum(np.sin(2 * np.pi * k * hz * t + rng.uniform(0, 6)) / k for k in range(1, 60))  # hz whole: it repeats
    out = np.resize(second, int(seconds * RATE_HZ))
    return out / np.std(out) + noise * rng.standard_normal(len(out))


@dataclass
class Microphone:
    """Where and how it listens: delays (s) of each source, gain, sample clock error, wind against scene."""

    delays_s: dict[str, float] = field(default_factory=dict)
    ppm: float = 0.0
    snr_db: float | None = None
    low_pass_hz: float | None = None
    gain_control: bool = False
    clip_at: float | None = None


def hear(
    sources: dict[str, NDArray[np.float64]], mic: Microphone, start_s: float, seconds: float, seed: int
) -> NDArray[np.float32]:
    """What the microphone records from ``start_s`` of the scene; its clock runs fast by ``ppm``."""
    n = int(seconds * RATE_HZ)
    t = start_s + np.arange(n) / RATE_HZ / (1 + mic.ppm * 1e-6)
    out = np.zeros(n)
    for name, sound in sources.items():
        at = t - mic.delays_s.get(name, 0.0)
        first = max(0, int(at[0] * RATE_HZ) - 8)
        piece = sound[first : int(at[-1] * RATE_HZ) + 8]
        out += CubicSpline((first + np.arange(len(piece))) / RATE_HZ, piece)(at)
    rng = np.random.default_rng(seed)
    if mic.snr_db is not None:
        out = out + wind(rng, seconds + 1)[:n] * (out.std() or 1.0) * 10 ** (-mic.snr_db / 20)
    if mic.low_pass_hz:
        out = sosfilt(butter(4, mic.low_pass_hz, fs=RATE_HZ, output="sos"), out)
    if mic.gain_control:
        level = np.sqrt(np.convolve(out**2, np.ones(4000) / 4000, "same")) + 1e-3
        out = out / level
    out = out / (out.std() + 1e-12) * 0.1 if out.std() > 1e-9 else out
    if mic.clip_at:
        out = np.clip(out, -0.1 * mic.clip_at, 0.1 * mic.clip_at)
    return (out + 1e-4 * rng.standard_normal(n)).astype(np.float32) if out.std() > 1e-9 else out.astype(np.float32)


def clip_of(path: Path, samples: NDArray[np.float32], camera: str, recording: str = "", lead_s: float = 0.0) -> Clip:
    """Write the sound as a QuickTime file (16-bit PCM, or AAC by the name's ending .mp4) and name it as a clip."""
    whole = (np.clip(samples, -1, 1) * 32767).astype(np.int16)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac" if path.suffix == ".mp4" else "pcm_s16le", rate=RATE_HZ, layout="mono")
        for first in range(0, len(whole), 1024):
            frame = av.AudioFrame.from_ndarray(whole[None, first : first + 1024], format="s16", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, first, Fraction(1, RATE_HZ)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return Clip(path.name, path, camera, duration_s=len(samples) / RATE_HZ, recording=recording, lead_s=lead_s)

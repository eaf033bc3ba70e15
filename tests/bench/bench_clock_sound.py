"""What the clock's sound work costs, beside plain audio decoding of the same files in the same run.

    python tests/bench/bench_clock_sound.py [--minutes 15]

Two cameras film the same invented outing, one in chapters, with 20 ppm between their sample clocks. Printed: seconds
of processor a second of footage for each step, their ratio to plain decoding, and the peak of memory.
"""

import argparse
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from multiprocessing import get_context
from pathlib import Path
from typing import TypeVar

import av
import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parents[1] / "clocks_sound"))
from sound_scenes import RATE_HZ, Microphone, hear, knocks, voices

from reelnotes.clocks.clues.engine_noise import engine_clue
from reelnotes.clocks.clues.sound import features_of_clips, sound_clues
from reelnotes.records.clips import Clip

FILE_HZ = 48000
T = TypeVar("T")


def written(path: Path, samples: NDArray[np.float32]) -> float:
    """Write as AAC at 48 kHz, as cameras do; the length in seconds."""
    resampler = av.AudioResampler(format="fltp", layout="mono", rate=FILE_HZ, frame_size=1024)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("aac", rate=FILE_HZ, layout="mono")
        for first in range(0, len(samples), RATE_HZ):
            frame = av.AudioFrame.from_ndarray(samples[None, first : first + RATE_HZ], format="fltp", layout="mono")
            frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, first, Fraction(1, RATE_HZ)
            for piece in resampler.resample(frame):
                out.mux(stream.encode(piece))
        out.mux(stream.encode(None))
    return len(samples) / RATE_HZ


def outing() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ten hours of speed, a change about every minute: (seconds, m/s)."""
    rng = np.random.default_rng(4)
    asked = np.repeat(rng.choice([0.0, 1.0, 2.0, 7.0, 9.0], 600), 12)
    return np.arange(len(asked)) * 5.0, asked


def footage(folder: Path, minutes: float) -> list[Clip]:
    """One take of the stern camera, and the same minutes from the bow in three chapters."""
    seconds = minutes * 60
    rng = np.random.default_rng(1)
    sources = {"voices": voices(rng, seconds + 20), "knocks": 5 * knocks(rng, seconds + 20)}
    n = len(sources["voices"])
    sources["engine"] = np.interp(np.arange(n) / RATE_HZ, *outing()) * rng.standard_normal(n)
    stern = hear(sources, Microphone(snr_db=3), 10.0, seconds, 2)
    bow = hear(sources, Microphone({"voices": 0.003}, ppm=20.0, snr_db=3), 1.0, seconds, 3)
    clips = [Clip("stern.mp4", folder / "stern.mp4", "stern", duration_s=written(folder / "stern.mp4", stern))]
    third = len(bow) // 3
    for k in range(3):
        name = f"bow_{k}.mp4"
        length = written(folder / name, bow[k * third : (k + 1) * third])
        clips.append(Clip(name, folder / name, "bow", duration_s=length, recording="r", lead_s=k * third / RATE_HZ))
    return clips


def speed_at(t_s: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.interp(t_s, *outing(), left=np.nan, right=np.nan)


def decode_plainly(clips: list[Clip]) -> None:
    for clip in clips:
        with av.open(str(clip.path)) as container:
            for _ in container.decode(audio=0):
                pass


def processor_s(work: Callable[[], T]) -> tuple[float, T]:
    begin = time.process_time()
    done = work()
    return time.process_time() - begin, done


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=15.0)
    minutes = parser.parse_args().minutes
    with tempfile.TemporaryDirectory() as folder:
        with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as other:  # its memory is none of ours
            clips = other.submit(footage, Path(folder), minutes).result()
        total = sum(clip.duration_s for clip in clips)
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        plain, _ = processor_s(lambda: decode_plainly(clips))
        listening, features = processor_s(lambda: features_of_clips(clips))
        lining_up, clues = processor_s(lambda: sound_clues(clips, features=features))
        zero = {clip.name: clip.lead_s for clip in clips[1:]}
        engine, match = processor_s(lambda: engine_clue(clips[1:], zero, speed_at, (-3600.0, 36000.0), features))
        after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    found = f"{match.clue.value_s:.1f} s" if match else "no claim"
    print(f"{total / 60:.0f} min of footage; {len(clues)} overlaps lined up; the engine places bow_0 at {found} (true: 1.0 s)")
    steps = {"plain audio decoding": plain, "listening (decoding in it)": listening, "lining up": lining_up, "engine": engine}
    for name, seconds in steps.items():
        share = f"{100 * seconds / total:6.3f} % of footage  {seconds / plain:6.2f} x plain decoding"
        print(f"  {name:28s} {seconds:7.2f} s  {share}")
    beyond = listening - plain + lining_up + engine
    print(f"  beyond plain decoding        {beyond:7.2f} s  {100 * beyond / total:6.3f} % of footage (limit 2 %)")
    print(f"  peak memory {after / 1024:.0f} MB; {before / 1024:.0f} MB of it before the work")


if __name__ == "__main__":
    main()

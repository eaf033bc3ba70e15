"""What all clock work on a trip costs: processor time against plain audio decoding and against the footage.

    python tests/bench/bench_clocks.py [TRIP ...]     (default: the sample trip)

Prints, for each trip, in one run: seconds of footage; processor seconds of decoding its sound once; of
looking for filmed clocks; of everything that solve_clocks does; and the ratios. Asserts nothing.
"""

import resource
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from reelnotes.clocks import solve_clocks
from reelnotes.clocks.collecting import filmed_clocks
from reelnotes.intake import read_trip
from reelnotes.media.decode import sound
from reelnotes.track import clean_track, speed_series

SAMPLE = Path(__file__).resolve().parents[2] / "sample_inputs" / "skerry-morning"


def processor_s(work: Callable[[], object]) -> float:
    """Processor seconds of this process and its children over one call."""
    before = time.process_time()
    work()
    return time.process_time() - before


def bench(root: Path) -> None:
    """Measure one trip and print its line."""
    folder = read_trip(root)
    track = clean_track(folder.fixes)
    clips = [clip for clip in folder.clips if clip.usable]
    footage = sum(clip.duration_s for clip in clips)

    def decode() -> None:
        for clip in clips:
            for _ in sound(clip.path, rate_hz=16000):
                pass

    decode()  # warm the file cache, so that both see the same disk
    plain = processor_s(decode)
    filmed = processor_s(partial(filmed_clocks, clips))
    everything = processor_s(partial(solve_clocks, folder, track, partial(speed_series, track)))
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{root.name}: {footage:.0f} s of footage")
    rows = {"audio decode once": plain, "filmed clocks": filmed, "all clock work": everything}
    rows["beyond audio decode"] = everything - plain
    for name, spent in rows.items():
        print(f"  {name:22}{spent:8.2f} s {100 * spent / footage:7.2f} % of footage {spent / plain:7.1f} x audio decode")
    print("  wanted: beyond audio decode 2 % of footage or less")
    print(f"  peak memory of the process {peak_mb:.0f} MB (wanted: under 400 MB)")


if __name__ == "__main__":
    for trip in [Path(name) for name in sys.argv[1:]] or [SAMPLE]:
        bench(trip)

"""What measuring costs: a clip without a board against its key frames' decode, a measured clip against its span's decode.

    python tests/bench/bench_measure.py [TRIP ...]     (default: the sample trip and a made clip of 1280 x 720 without a board)

Prints for each clip, in one run, processor seconds and the ratio (a glance through the clip, as a trip's clips get it, and
measuring where that saw anything):
  no board in sight   all of it / decoding the key frames once (wanted: 1.3 or less)
  a board in sight    all of it / decoding every frame from the first to the last frame used (wanted: 3 or less), and
                      the same against the whole clip, for the search looks beyond the span
A last line says how much of a board-less clip's cost is the glance, and how much is search. Asserts nothing.
"""

import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

from reelnotes.intake import read_trip
from reelnotes.measure import ClipMeasure, measure_clip, pose
from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import board_features
from reelnotes.measure.looking import Sights, glance_through
from reelnotes.media.decode import pictures
from reelnotes.records.boards import Board, Lens
from reelnotes.records.problems import UnreadableError

SAMPLE = Path(__file__).resolve().parents[2] / "sample_inputs" / "skerry-morning"


def processor_s(work: Callable[[], object]) -> float:
    """Processor seconds of this process, all its threads, over one call."""
    before = time.process_time()
    work()
    return time.process_time() - before


def decode_s(path: Path, **what: object) -> float:
    """Least processor seconds of three plain decodes: the cost without the first one's cold caches."""

    def decode() -> None:
        for _ in pictures(path, **what):  # type: ignore[arg-type]
            pass

    return min(processor_s(decode) for _ in range(3))


def bench_clip(path: Path, name: str, boards: Sequence[Board], lens: Lens | None) -> tuple[float, float, float] | None:
    """Print one clip's line. For a clip without a board: seconds of all of it, of the glance, of its key frames' decode."""
    keys = decode_s(path, keyframes_only=True)
    sights: list[Sights] = []
    glance = processor_s(lambda: sights.append(glance_through(path)))
    made: list[ClipMeasure] = []
    spent = glance
    if sights[0].times_s:
        spent += processor_s(
            lambda: made.append(measure_clip(path, clip_name=name, boards=boards, lens=lens, sights=sights[0]))
        )
    if not made or not made[0].board_seen:
        searched = "searched" if made else ""
        print(f"  {name:30} no board   {spent:7.3f} s  key frames {keys:6.3f} s  x {spent / keys:7.2f}  {searched}")
        return spent, glance, keys
    row = made[0].lengths[0]
    whole = decode_s(path)
    span = decode_s(path, start_s=row.start_s, end_s=row.end_s + 0.001) if row.end_s > row.start_s else whole
    print(
        f"  {name:30} {row.verdict:10} {spent:7.3f} s  its span   {span:6.3f} s  x {spent / span:7.2f}"
        f"   whole clip {whole:6.3f} s  x {spent / whole:7.2f}"
    )
    return None


def made_without_board(path: Path, seconds: int = 20, size: tuple[int, int] = (1280, 720)) -> None:
    """A clip of drifting cloud over moving ripples with sensor noise, a key frame a second."""
    width, height = size
    rng = np.random.default_rng(3)
    ripples = cv2.GaussianBlur(rng.normal(size=(height, 2 * width)).astype(np.float32), (0, 0), 6, sigmaY=2)
    ripples *= 25 / ripples.std()
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30, options={"crf": "24", "g": "30", "preset": "veryfast"})
        stream.width, stream.height, stream.pix_fmt, stream.time_base = width, height, "yuv420p", Fraction(1, 30)
        for i in range(30 * seconds):
            shift = (7 * i) % width
            grey = 110 + ripples[:, shift : shift + width] + rng.normal(0, 3, (height, width))
            picture = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[:, :, None], 3, axis=2)
            frame = av.VideoFrame.from_ndarray(picture, format="bgr24")
            frame.pts = i
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


def bench(root: Path, *, with_made: bool) -> None:
    """All clips of one trip, one line each, then the sums."""
    folder = read_trip(root)
    lens_of = {c.name: folder.lenses.get(c.lens) for c in folder.settings.camera if c.lens}
    ready = processor_s(lambda: [board_features(m) for m in map(pose._load, folder.boards) if isinstance(m, BoardModel)])
    print(f"{root.name}: {len(folder.boards)} boards made ready in {ready:.2f} s, once a process and not counted below")
    lines = []
    for clip in folder.clips:
        if not clip.usable:
            continue
        try:
            lines.append(bench_clip(clip.path, clip.name, folder.boards, lens_of.get(clip.camera)))
        except UnreadableError as fault:
            print(f"  {fault}")
    if with_made:
        with tempfile.TemporaryDirectory() as place:
            path = Path(place) / "ripples.mp4"
            made_without_board(path)
            lines.append(bench_clip(path, "made, 1280 x 720", folder.boards, None))
    empty = [line for line in lines if line is not None]
    if empty:
        spent, chosen, keys = (sum(column) for column in zip(*empty, strict=True))
        print(f"  without a board, together: x {spent / keys:.2f} of the key frames' decode (wanted: 1.3 or less);")
        print(f"    glance x {chosen / keys:.2f}, search x {(spent - chosen) / keys:.2f}")


if __name__ == "__main__":
    cv2.setNumThreads(1)  # one thread's work, not the price of waking others
    given = [Path(name) for name in sys.argv[1:]]
    for trip in given or [SAMPLE]:
        bench(trip, with_made=not given)

"""What measuring costs: a clip without a board against its key frames' decode, a measured clip against its span's decode.

    python tests/bench/bench_measure.py [TRIP ...]     (default: the sample trip, and made clips without a board and with one)

What is fixed for each measured clip: finding the board, following it to eight to sixteen frames, eight of them sharpened,
posed and stacked, the fish outlined. What grows with the span, up to its limit of eight seconds: the decode, and a look at the
sharpness of every kept frame. So a clip of two seconds at 1280 x 720 costs many times its decode, and one of eight at
3840 x 2160 about three.

Prints for each clip, in one run, processor seconds and the ratio (a glance through the clip, as a trip's clips get it, and
measuring where that saw anything):
  no board in sight   all of it / decoding the key frames once (wanted: 1.3 or less)
  a board in sight    all of it / decoding every frame from the first to the last frame used (wanted: 3 or less), and
                      the same against the whole clip, for the search looks beyond the span
A last line says how much of a board-less clip's cost is the glance, and how much is search. Asserts nothing.
"""

import resource
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
        spent += processor_s(lambda: made.append(measure_clip(path, clip_name=name, boards=boards, lens=lens, sights=sights[0])))
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


def made_with_board(path: Path, board: Board, seconds: int, size: tuple[int, int]) -> None:
    """A board on a grained deck under a swaying camera, a dark fish-like shape at its stop; a key frame a second."""
    width, height = size
    model = pose._load(board)
    assert isinstance(model, BoardModel)
    picture, scale = model.picture.copy(), model.px_per_mm
    x0, y0 = model.zero_px
    fish, half = 0.55 * board.length_mm, 0.2 * board.width_mm
    outline = [(0, 0), (0.2, 0.9), (0.45, 1), (0.85, 0.2), (1, 0.9), (0.95, 0), (1, -0.9), (0.85, -0.2), (0.45, -1), (0.2, -0.9)]
    mm = np.array([(x * fish, 0.5 * board.width_mm + y * half) for x, y in outline])
    px = (np.stack([x0 + mm[:, 0] * scale, y0 - mm[:, 1] * scale], axis=-1) * 16).round().astype(np.int32)
    cv2.fillPoly(picture, [px], (60, 75, 70), cv2.LINE_AA, shift=4)
    rng = np.random.default_rng(5)
    deck = np.clip(95 + 12 * cv2.GaussianBlur(rng.normal(size=(height, width)), (0, 0), 2) * 7, 0, 255).astype(np.uint8)
    deck = np.repeat(deck[:, :, None], 3, axis=2)
    grain = [rng.integers(0, 9, (height, width, 3), dtype=np.uint8) for _ in range(4)]
    high, wide = picture.shape[:2]
    corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32) - 0.5
    gain = 0.8 * width / wide
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=30, options={"crf": "23", "g": "30", "preset": "ultrafast"})
        stream.width, stream.height, stream.pix_fmt, stream.time_base = width, height, "yuv420p", Fraction(1, 30)
        for i in range(30 * seconds):
            tilt, turn = 0.12 + 0.06 * np.sin(i / 23), 0.06 * np.sin(i / 31)
            at = (corners - [wide / 2, high / 2]) * gain
            depth = 1 + (tilt * at[:, 1:] + turn * at[:, :1]) / width
            seen = at / depth + [width * (0.5 + 0.02 * np.sin(i / 17)), height * (0.5 + 0.02 * np.sin(i / 13))]
            H = cv2.getPerspectiveTransform(corners, seen.astype(np.float32))
            shot = cv2.warpPerspective(picture, H, size, deck.copy(), cv2.INTER_AREA, cv2.BORDER_TRANSPARENT)
            frame = av.VideoFrame.from_ndarray(cv2.add(shot, grain[i % 4]), format="bgr24")
            frame.pts = i
            out.mux(stream.encode(frame))
        out.mux(stream.encode())


MADE = ((3, (1280, 720)), (12, (1280, 720)), (9, (3840, 2160)))  # seconds and size of the made clips with a board


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
            for seconds, size in MADE:
                path = Path(place) / f"board-{seconds}-{size[0]}.mp4"
                made_with_board(path, folder.boards[0], seconds, size)
                bench_clip(path, f"made, {seconds} s of {size[0]} x {size[1]}", folder.boards, None)
                path.unlink()
            print(f"  most memory so far: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MB")
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

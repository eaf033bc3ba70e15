"""Draw a set of measuring clips with exact truth, as a trip folder.

    python tests/bench/make_clips.py SEED COUNT OUTDIR [--workers 2]

Writes OUTDIR/trip (clips/<camera>/mNNN.mp4, boards/, lenses/, trip.toml) and OUTDIR/truth.csv (clip, kind, expect,
total_length_mm, fork_length_mm, and what was drawn). The same seed draws the same set. About 46 % of the clips are
ordinary, 29 % hard, 25 % are to be refused or checked. Nothing here imports the product.
"""

import argparse
import csv
import itertools
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))
from made_clips.boards import Board
from made_clips.camera import Lens, draw_lens, write_lens
from made_clips.scenes import GUARD, HARD, ORDINARY, RATE, Shot, a_set_of_boards, shoot


def a_set(seed: int) -> tuple[list[Board], list[tuple[Lens, bool]]]:
    """The boards, and four cameras with whether their calibration is in the folder."""
    rng = np.random.default_rng([seed, 1])
    boards = a_set_of_boards(rng)
    sizes = [(1280, 720), (1280, 720), (1920, 1080), (720, 1280)]
    fisheye, given = rng.permutation([True, True, False, False]), rng.permutation([True, True, False, False])
    names = rng.permutation(["mast", "cap", "hatch", "thwart", "vest", "pole"])[:4]
    cameras = []
    for size, fish, has, name in zip(sizes, fisheye, given, names, strict=True):
        fov = float(rng.uniform(98, 125) if fish else rng.uniform(95, 104))
        cameras.append((draw_lens(rng, str(name), size, fov, bool(fish)), bool(has)))
    return boards, cameras


def kinds_of(count: int) -> list[str]:
    """The kinds of a set's clips, in order."""
    hard, guard = round(count * 0.29), round(count * 0.25)
    parts = ((ORDINARY, count - hard - guard), (HARD, hard), (tuple(GUARD), guard))
    return [k for kinds, n in parts for k in itertools.islice(itertools.cycle(kinds), n)]


_held: dict[int, tuple[list[Board], list[tuple[Lens, bool]]]] = {}


def film(job: tuple[int, int, str, str]) -> dict[str, str]:
    """Draw one clip; its row of the truth."""
    seed, number, kind, folder = job
    cv2.setNumThreads(1)
    if seed not in _held:
        _held[seed] = a_set(seed)
    boards, cameras = _held[seed]
    rng = np.random.default_rng([seed, 2, number])
    lens, given = cameras[(number * 7 + number // 4) % 4]
    began = time.process_time()
    shot = shoot(rng, kind, boards, lens)
    name = f"clips/{lens.name}/m{number:03d}.mp4"
    encode(Path(folder) / name, shot, rng)
    print(f"{name:28} {kind:18} {shot.detail:24} {len(shot.poses)} frames {time.process_time() - began:6.1f} s", flush=True)
    f = shot.fish if kind not in ("no_board", "other_board", "stop_out_of_sight", "tail_hidden") else None
    return {
        "clip": name, "kind": kind, "expect": shot.expect,
        "total_length_mm": f"{f.total:.2f}" if f else "", "fork_length_mm": f"{f.fork:.2f}" if f else "",
        "drawn": shot.detail, "lens": lens.model, "lens_given": str(int(given)),
    }  # fmt: skip


def encode(path: Path, shot: Shot, rng: np.random.Generator) -> None:
    """H.264 of all frames, each rendered."""
    path.parent.mkdir(parents=True, exist_ok=True)
    lens, poses, stage = shot.stage.lens, shot.poses, shot.stage
    if shot.fish is not None:
        anchor = np.array([shot.fish.total * 0.6, shot.fish.axis_y, 0.0])
    else:
        anchor = np.array([200.0, 90.0, 0.0])
    px = np.array([lens.project(p.to_camera(anchor[None]))[0][0] for p in poses])
    speed = np.gradient(px, axis=0) * RATE
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=Fraction(int(RATE)))
        stream.width, stream.height, stream.pix_fmt = lens.width, lens.height, "yuv420p"
        stream.codec_context.gop_size = int(rng.integers(15, 61))
        stream.options = {"crf": str(int(rng.integers(21, 26))), "preset": "veryfast", "threads": "1"}
        for pose, v in zip(poses, speed, strict=True):
            image = stage.expose(stage.frame(pose), shot.sensor, np.clip(v * shot.sensor.exposure_s, -40, 40))
            out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="bgr24")))
        out.mux(stream.encode())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seed", type=int)
    parser.add_argument("count", type=int)
    parser.add_argument("outdir", type=Path)
    parser.add_argument("--workers", type=int, default=2)
    args = parser.parse_args()
    trip = args.outdir / "trip"
    for part in ("boards", "lenses", "clips"):
        (trip / part).mkdir(parents=True, exist_ok=True)
    boards, cameras = a_set(args.seed)
    for board in boards:
        board.write(trip / "boards")
    lines = ['title = "Drawn lengths"', 'timezone = "Europe/Oslo"', 'units = "metric"', ""]
    for lens, given in cameras:
        lines += ["[[camera]]", f'name = "{lens.name}"', f'folder = "clips/{lens.name}"']
        if given:
            write_lens(trip / "lenses", lens, np.random.default_rng([args.seed, 3]))
            lines.append(f'lens = "lenses/{lens.name}.toml"')
        lines.append("")
    (trip / "trip.toml").write_text("\n".join(lines))
    jobs = [(args.seed, i + 1, kind, str(trip)) for i, kind in enumerate(kinds_of(args.count))]
    jobs.sort(key=lambda j: j[1] % 4)
    with ProcessPoolExecutor(args.workers) as pool:
        rows = sorted(pool.map(film, jobs), key=lambda r: Path(r["clip"]).name)
    with (args.outdir / "truth.csv").open("w", newline="") as handle:
        table = csv.DictWriter(handle, fieldnames=list(rows[0]))
        table.writeheader()
        table.writerows(rows)


if __name__ == "__main__":
    main()

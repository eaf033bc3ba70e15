"""Train the region net: where in a frame a measuring board lies, with all that a fish, a hand or shade covers of it.

    python tests/bench/train_region.py FOLDER [--batches 2400] [--out reelnotes/measure/region.onnx]

FOLDER holds frames drawn by train_glance.py (its ``train`` and ``held`` folders); this trains on the first, folds the batch norms
into the convolutions, writes the net, and prints how well the boards of the second are found.

Needs torch and onnx, which are no dependencies of the project: only whoever trains the net again has to install them.
All frames are drawn (glance_frames.py) and worn (below, and glance_wear.py); no filmed picture is used.
"""

import argparse
import sys
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from itertools import pairwise
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

sys.path.insert(0, str(Path(__file__).resolve().parent))
from glance_wear import code_strip, exposed
from train_parts import _step, _twice, folded

Image = NDArray[Any]
Rng = np.random.Generator
SIZE = (224, 128)  # what the net sees
BATCH = 16
MOST_WEAR = 0.7  # worn more, half the boards are past knowing
WITH_BOARD = 0.8  # share of the frames that show one
WIDTHS = (16, 24, 40, 56, 64)
GREY, SPREAD = 110.0, 64.0


class Region(nn.Module):
    """A small U (Ronneberger et al. 2015): (n, 3, 128, 224) -> (n, 1, 64, 112) logits."""

    def __init__(self) -> None:
        super().__init__()
        w = WIDTHS
        self.first = nn.Sequential(*_step(3, w[0], 2, 4), *_step(w[0], w[0], 1))
        self.down = nn.ModuleList(nn.Sequential(*_step(a, b, 2), *_step(b, b, 1)) for a, b in pairwise(w))
        self.up = nn.ModuleList(nn.Sequential(*_step(w[k] + w[k + 1], w[k], 1)) for k in range(len(w) - 2, -1, -1))
        self.out = nn.Conv2d(w[0], 1, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        y = self.first(x)
        kept = []
        for step in self.down:
            kept.append(y)
            y = step(y)
        for step in self.up:
            y = step(torch.cat([_twice(y), kept.pop()], 1))
        return self.out(y)


def held(folder: Path, most_without: int) -> tuple[list[Image], list[Image]]:
    """Frames (135, 240, 4) with a board, and up to ``most_without`` frames that show none."""
    yes: list[Image] = []
    no: list[Image] = []
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            pixels, span = data["pixels"], data["span"]
        yes += [p.copy() for p in pixels[span > 0]]
        no += [p.copy() for p in pixels[span == 0]]
    return yes, no[:: max(1, len(no) // max(most_without, 1))]


def worn(rng: Rng, frame: Image, other: Image, wear: float) -> tuple[Image, NDArray[np.float32]]:
    """A frame turned any way, near or far, before another background at times, as a poor camera shows it; its board's place."""
    if rng.random() < 0.3 * wear and frame[..., 3].any():
        rim = np.ones((3, 3), np.uint8)
        grown = cv2.dilate(frame[..., 3], rim, iterations=int(rng.integers(1, 5)))
        alpha = cv2.GaussianBlur(grown, (0, 0), 0.8)[..., None] / 255.0
        frame = np.dstack([(frame[..., :3] * alpha + other[..., :3] * (1 - alpha)).astype(np.uint8), frame[..., 3]])
    h, w = frame.shape[:2]
    zoom = float(np.exp(rng.uniform(np.log(0.4), np.log(1.6)))) if rng.random() < 0.8 else 1.0
    a = float(rng.uniform(0, 2 * np.pi)) if rng.random() < 0.5 else float(rng.normal(0, 0.15)) + np.pi * float(rng.integers(2))
    flip = np.diag([rng.choice([-1, 1]), 1.0])
    stretch = float(np.exp(rng.normal(0, 0.1)))
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    M = turn @ np.diag([stretch, 1 / stretch]) @ flip * zoom * SIZE[0] / w
    shift = rng.normal(0, 0.1 if zoom > 0.8 else 0.2, 2) * SIZE
    move = np.array(SIZE) / 2 + shift - M @ [w / 2, h / 2]
    soft = cv2.GaussianBlur(frame, (0, 0), float(rng.uniform(0.2, 0.5) / min(zoom, 1.0)))
    bordered = cv2.BORDER_REFLECT if rng.random() < 0.5 else cv2.BORDER_CONSTANT
    out = cv2.warpAffine(soft, np.column_stack([M, move]), SIZE, flags=cv2.INTER_LINEAR, borderMode=bordered)
    if bordered == cv2.BORDER_CONSTANT:  # beyond the frame another one goes on
        seen = cv2.warpAffine(np.full((h, w), 255, np.uint8), np.column_stack([M, move]), SIZE)[..., None] / 255.0
        behind = cv2.resize(other[..., :3], SIZE)
        out[..., :3] = (out[..., :3] + behind * (1 - seen)).clip(0, 255)
    if rng.random() < 0.3:
        code_strip(rng, out)
    return exposed(rng, np.ascontiguousarray(out[..., :3]), wear), (out[..., 3] / 255.0).astype(np.float32)


_shared: dict[str, Any] = {}


def batch_of(seed: int, wear: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(n, 3, 128, 224) and the board's share of each place (n, 1, 64, 112)."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 23])
    yes, no = _shared["yes"], _shared["no"]
    x, y = [], []
    for _ in range(BATCH):
        other = no[rng.integers(len(no))]
        frame = yes[rng.integers(len(yes))] if rng.random() < WITH_BOARD else no[rng.integers(len(no))]
        image, where = worn(rng, frame, other, wear)
        x.append((image.astype(np.float32).transpose(2, 0, 1) - GREY) / SPREAD)
        y.append(cv2.resize(where, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA)[None])
    return np.stack(x), np.stack(y)


def train(folder: Path, batches: int, seed: int, keep: Path, begin: Path | None = None) -> Region:
    torch.manual_seed(seed)
    torch.set_num_threads(1)
    net = Region().to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    if begin is not None:
        net.load_state_dict(torch.load(begin))
    best = torch.optim.AdamW(net.parameters(), lr=4e-3, weight_decay=1e-3)
    rate = torch.optim.lr_scheduler.OneCycleLR(best, 4e-3, total_steps=batches, pct_start=0.1)
    yes, no = held(folder, 2500)
    _shared.update(yes=yes, no=no)
    print(f"{len(yes)} frames with a board, {len(no)} without", flush=True)
    began, total = time.time(), 0.0
    with ProcessPoolExecutor(1) as pool:  # forked: it shares the frames
        jobs = ((seed * 1_000_000 + n, min(MOST_WEAR, 0.3 + 2 * n / batches)) for n in range(batches + 6))
        ahead = [pool.submit(batch_of, *next(jobs)) for _ in range(6)]
        for n in range(batches):
            x, y = (torch.from_numpy(a) for a in ahead.pop(0).result())
            ahead.append(pool.submit(batch_of, *next(jobs)))
            logit = net(x.contiguous(memory_format=torch.channels_last))
            cross = nn.functional.binary_cross_entropy_with_logits(logit, y)
            likely = logit.sigmoid()
            overlap = (2 * (likely * y).sum((1, 2, 3)) + 20) / ((likely + y).sum((1, 2, 3)) + 20)
            loss = cross + 0.5 * (1 - overlap).mean()
            best.zero_grad()
            loss.backward()
            best.step()
            rate.step()
            total += loss.item()
            if (n + 1) % 100 == 0:
                print(f"batch {n + 1:5} loss {total / 100:.4f} {time.time() - began:.0f} s", flush=True)
                total = 0.0
                torch.save(net.state_dict(), keep)
    return net


def export(net: nn.Module, path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(net, (torch.zeros(1, 3, SIZE[1], SIZE[0]),), str(path), opset_version=13, dynamo=False,
                          input_names=["picture"], output_names=["logits"])  # fmt: skip


def report(net: nn.Module, folder: Path) -> None:
    """Held-out frames, worn: how far the net's place and the board's overlap, by the board's size; what it sees where none is."""
    rng = np.random.default_rng(5)
    yes, no = held(folder, 300)
    rows, false = [], []
    for frame in [*yes[::3], *no]:
        image, where = worn(rng, frame, no[rng.integers(len(no))], MOST_WEAR)
        with torch.no_grad():
            x = torch.from_numpy((image.astype(np.float32).transpose(2, 0, 1)[None] - GREY) / SPREAD)
            got = net(x)[0, 0].numpy() > 0
        want = cv2.resize(where, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA) > 0.5
        if want.mean() > 0.003:
            rows.append((float(want.mean()), (got & want).sum() / max((got | want).sum(), 1)))
        elif not want.any():
            false.append(got.mean())
    area, overlap = np.array(rows).T
    for low, high in ((0.003, 0.02), (0.02, 0.06), (0.06, 0.15), (0.15, 1.0)):
        here = overlap[(area >= low) & (area < high)]
        if len(here):
            print(f"{low:.3f} to {high:.3f} of the picture: {len(here)} boards, overlap median {np.median(here):.2f}, "
                  f"over a half {np.mean(here > 0.5):.3f}")  # fmt: skip
    print(f"without a board: {len(false)} frames, over 1 % taken for one in {np.mean(np.array(false) > 0.01):.3f}")


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--batches", type=int, default=2400)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--begin", type=Path, help="weights to begin with")
    ask.add_argument("--out", type=Path, default=Path(__file__).resolve().parents[2] / "reelnotes" / "measure" / "region.onnx")
    asked = ask.parse_args()
    net = train(asked.folder / "train", asked.batches, asked.seed, asked.folder / "region.pt", asked.begin).eval()
    report(net, asked.folder / "held")
    export(folded(net), asked.out)


if __name__ == "__main__":
    main()

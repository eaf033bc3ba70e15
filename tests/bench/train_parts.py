"""Train the parts net: it tells fish, hands and board apart on a frame drawn square on.

    python tests/bench/train_parts.py FOLDER [--seeds 2400] [--batches 2600] [--out reelnotes/measure/parts.onnx]

Draws the scenes that FOLDER lacks (seeds 0..N-1 to train on, 9000..9039 held out), trains, folds the batch norms into the
convolutions, writes the net, and prints how well held-out fish are found: overlap, and how far their ends are off.

Needs torch and onnx, which are no dependencies of the project: only whoever trains the net again has to install them.
The net that is shipped was trained in two goes (900 batches on 262 scenes, then 2300 from there on 935, their light drawn a
little wider), so another training gives another net: look at its report, and at filmed clips if you have any.
All scenes are drawn (parts_scenes.py) and worn (below, and glance_wear.py); no filmed picture is used.
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
import parts_scenes
from glance_wear import exposed

Image = NDArray[Any]
Rng = np.random.Generator
HELD_OUT = range(9000, 9040)
BATCH = 12
KINDS = 3  # board, fish, hands and tools
CELL = 32  # sizes are multiples of this
WIDTHS = (16, 24, 40, 56, 72)


class Halving(nn.Module):
    """Halvings see the whole picture; what they know is carried back up to each place (the U of Ronneberger et al. 2015).

    It works at half the size of what it is given; sizes are multiples of CELL.
    """

    def __init__(self, channels: int, w: tuple[int, ...]) -> None:
        super().__init__()
        self.first = nn.Sequential(*_step(channels, w[0], 2, 4), *_step(w[0], w[0], 1))
        self.down = nn.ModuleList(nn.Sequential(*_step(a, b, 2), *_step(b, b, 1)) for a, b in pairwise(w))
        self.up = nn.ModuleList(nn.Sequential(*_step(w[k] + w[k + 1], w[k], 1)) for k in range(len(w) - 2, -1, -1))

    def known(self, x: torch.Tensor) -> torch.Tensor:
        """(n, channels, h, w) -> (n, w[0], h / 2, w / 2)."""
        y = self.first(x)
        kept = []
        for step in self.down:
            kept.append(y)
            y = self.thought_over(step(y))
        for step in self.up:
            y = step(torch.cat([_twice(y), kept.pop()], 1))
        return y

    def thought_over(self, y: torch.Tensor) -> torch.Tensor:
        """What more is made of a level, after its halving."""
        return y


class Parts(Halving):
    """It says for each of its places what the four pixels there show."""

    def __init__(self) -> None:
        super().__init__(8, WIDTHS)
        self.out = nn.Sequential(*_step(WIDTHS[0], 24, 1), nn.Conv2d(24, 4 * KINDS, 1))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """(n, 8, h, w) -> (n, 12, h / 2, w / 2) logits, the kinds of the first of four pixels first; sizes multiples of 32."""
        return self.out(self.known(x))


def at_pixels(logits: torch.Tensor) -> torch.Tensor:
    """(n, 12, h, w) -> (n, 3, 2h, 2w)."""
    n, _, h, w = logits.shape
    return logits.view(n, 2, 2, KINDS, h, w).permute(0, 3, 4, 1, 5, 2).reshape(n, KINDS, 2 * h, 2 * w)


def _twice(x: torch.Tensor) -> torch.Tensor:
    return nn.functional.interpolate(x, scale_factor=2.0, mode="nearest")


def _step(before: int, after: int, stride: int, size: int = 3) -> list[nn.Module]:
    return [nn.Conv2d(before, after, size, stride, 1, bias=False), nn.BatchNorm2d(after), nn.ReLU()]


def folded(module: nn.Module) -> nn.Module:
    """The net with its batch norms folded into the convolutions."""
    for name, child in module.named_children():
        if isinstance(child, nn.Sequential):
            kept: list[nn.Module] = []
            layers = list(child)
            for n, layer in enumerate(layers):
                if isinstance(layer, nn.Conv2d) and n + 1 < len(layers) and isinstance(layers[n + 1], nn.BatchNorm2d):
                    kept.append(torch.nn.utils.fuse_conv_bn_eval(layer.eval(), layers[n + 1].eval()))
                elif not isinstance(layer, nn.BatchNorm2d):
                    kept.append(layer)
            setattr(module, name, nn.Sequential(*kept))
        elif isinstance(child, nn.ModuleList):
            folded(child)
    return module


# ---- samples


def draw(job: tuple[int, str]) -> None:
    """One seed's samples into the folder, without the empty rows below them."""
    seed, folder = job
    path = Path(folder) / f"{seed}.npz"
    if path.exists():
        return
    some = parts_scenes.some_samples(seed)
    halfway = path.with_suffix(".half.npz")
    np.savez(halfway, **{k: np.stack([getattr(s, k) for s in some]) for k in ("seen", "board", "label", "inside")})
    halfway.replace(path)


def held(folder: Path, seeds: range) -> list[Image]:
    """Samples as (h, w, 8) uint8: seen, board, label, inside; only the rows that show something, h a multiple of CELL."""
    out = []
    for seed in seeds:
        path = folder / f"{seed}.npz"
        if not path.exists():
            continue
        with np.load(path) as data:
            seen, board, label, inside = (data[k] for k in ("seen", "board", "label", "inside"))
        for n in range(len(seen)):
            rows = np.flatnonzero((inside[n] > 0).any(axis=1) | (board[n] > 0).any(axis=(1, 2)))
            high = min(-(-(int(rows[-1]) + 1) // CELL) * CELL, parts_scenes.HEIGHT) if len(rows) else CELL
            out.append(np.dstack([seen[n], board[n], label[n], inside[n]])[:high])
    return out


def worn_sample(rng: Rng, sample: Image, wear: float) -> Image:
    """Other colours for frame and board alike, another colour for the fish, shadows, the camera's faults."""
    out = sample.copy()
    if rng.random() < 0.5:
        out = np.ascontiguousarray(out[::-1])
    seen, board, label, inside = out[..., :3].astype(np.float32), out[..., 3:6].astype(np.float32), out[..., 6], out[..., 7]
    if rng.random() < 0.5 * wear:  # the same other colours for both
        order = rng.permutation(3)
        mix = np.eye(3)[order] * rng.uniform(0.6, 1.0) + rng.uniform(0, 0.35, (3, 3)) / 3
        seen, board = (np.clip(p @ mix, 0, 255) for p in (seen, board))
        board[out[..., 3:6].max(-1) == 0] = 0
    if rng.random() < 0.5 * wear:
        soft = cv2.GaussianBlur((label == parts_scenes.FISH).astype(np.float32), (0, 0), 0.6)[..., None]
        seen += soft * (rng.normal(0, 22, 3) + seen * rng.normal(0, 0.15))
    if rng.random() < 0.4 * wear:
        seen *= _shadow(rng, seen.shape[:2])[..., None]
    if rng.random() < 0.3 * wear:
        seen += _glints(rng, seen.shape[:2])[..., None]
    seen = exposed(rng, np.clip(seen, 0, 255).astype(np.uint8), wear)
    seen[inside == 0] = 0
    out[..., :3], out[..., 3:6] = seen, np.clip(board, 0, 255)
    return out


def _shadow(rng: Rng, shape: tuple[int, int]) -> NDArray[np.float32]:
    """A dark shape with an edge of any softness, over part of the picture."""
    h, w = shape
    shade = np.zeros((h, w), np.float32)
    middle = rng.uniform(-0.2, 1.2, 2) * [w, h]
    corners = middle + rng.normal(0, 1, (int(rng.integers(3, 7)), 2)) * [w / 4, h / 2]
    cv2.fillConvexPoly(shade, cv2.convexHull(corners.astype(np.int32)), 1.0)
    soft = cv2.GaussianBlur(shade, (0, 0), float(np.exp(rng.uniform(-0.7, 2.3))))
    return (1 - rng.uniform(0.2, 0.75) * soft).astype(np.float32)


def _glints(rng: Rng, shape: tuple[int, int]) -> NDArray[np.float32]:
    h, w = shape
    light = np.zeros((h, w), np.float32)
    for _ in range(int(rng.integers(1, 5))):
        at = (int(rng.uniform(0, w)), int(rng.uniform(0, h)))
        cv2.ellipse(light, at, (int(rng.uniform(2, 40)), int(rng.uniform(2, 14))), float(rng.uniform(0, 180)), 0, 360, 1.0, -1)
    return (rng.uniform(40, 400) * cv2.GaussianBlur(light, (0, 0), float(rng.uniform(1, 12)))).astype(np.float32)


def weights(label: Image, inside: Image) -> NDArray[np.float32]:
    """What a pixel counts: edges double, the hindmost part of the fish more, what is out of the frame nothing."""
    fish = (label == parts_scenes.FISH).astype(np.uint8)
    rim = cv2.dilate(fish, np.ones((7, 7), np.uint8)) - cv2.erode(fish, np.ones((7, 7), np.uint8))
    out = 1.0 + rim.astype(np.float32)
    columns = np.flatnonzero(fish.any(axis=0))
    if len(columns):
        tail = int(columns[-1] - 0.15 * len(columns))
        out[:, tail : columns[-1] + 12] *= 2.0
    return out * (inside > 0)


_shared: dict[str, Any] = {}


def batch_of(seed: int, wear: float) -> tuple[NDArray[np.float32], NDArray[np.int64], NDArray[np.float32]]:
    """A worn batch of samples of about one height."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 17])
    samples, order = _shared["samples"], _shared["order"]
    start = int(rng.integers(0, max(len(order) - 4 * BATCH, 1)))
    chosen = [samples[i] for i in rng.choice(order[start : start + 4 * BATCH], BATCH)]
    high = max(len(s) for s in chosen)
    x, y, w = [], [], []
    for sample in chosen:
        worn = worn_sample(rng, cv2.copyMakeBorder(sample, 0, high - len(sample), 0, 0, cv2.BORDER_CONSTANT), wear)
        x.append(parts_scenes.net_input(worn[..., :3], worn[..., 3:6], worn[..., 7]))
        y.append(worn[..., 6].astype(np.int64))
        w.append(weights(worn[..., 6], worn[..., 7]))
    return np.stack(x), np.stack(y), np.stack(w)


# ---- training


def train(folder: Path, seeds: int, batches: int, seed: int, keep: Path, begin: Path | None = None) -> Parts:
    torch.manual_seed(seed)
    torch.set_num_threads(1)  # more threads wait for each other longer than they work
    net = Parts().to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    if begin is not None:
        net.load_state_dict(torch.load(begin))
    best = torch.optim.AdamW(net.parameters(), lr=4e-3, weight_decay=1e-3)
    rate = torch.optim.lr_scheduler.OneCycleLR(best, 4e-3, total_steps=batches, pct_start=0.1)
    samples = held(folder, range(seeds))
    _shared.update(samples=samples, order=np.argsort([len(s) for s in samples], kind="stable"))
    print(f"{len(samples)} samples", flush=True)
    began, total = time.time(), 0.0
    with ProcessPoolExecutor(1) as pool:  # forked: it shares the samples
        jobs = ((seed * 1_000_000 + n, min(1.0, 0.3 + 2 * n / batches)) for n in range(batches + 6))
        ahead = [pool.submit(batch_of, *next(jobs)) for _ in range(6)]
        for n in range(batches):
            x, y, w = (torch.from_numpy(a) for a in ahead.pop(0).result())
            ahead.append(pool.submit(batch_of, *next(jobs)))
            logit = at_pixels(net(x.contiguous(memory_format=torch.channels_last)))
            cross = nn.functional.cross_entropy(logit, y, reduction="none")
            fish, wanted = logit.softmax(1)[:, 1], (y == parts_scenes.FISH).float()
            overlap = (2 * (fish * wanted).sum((1, 2)) + 50) / ((fish + wanted).sum((1, 2)) + 50)
            loss = (cross * w).sum() / w.sum() + 0.5 * (1 - overlap).mean()
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
        torch.onnx.export(net, (torch.zeros(1, 8, 96, 384),), str(path), opset_version=13, dynamo=False,
                          input_names=["views"], output_names=["logits"],
                          dynamic_axes={"views": {2: "h", 3: "w"}, "logits": {2: "h2", 3: "w2"}})  # fmt: skip


def report(net: nn.Module, folder: Path) -> None:
    """Held-out samples: overlap with the fish, and how many pixels its hindmost end is off."""
    rng = np.random.default_rng(5)
    overlaps, ends = [], []
    for s in held(folder, HELD_OUT):
        worn = worn_sample(rng, s, 1.0)
        with torch.no_grad():
            x = parts_scenes.net_input(worn[..., :3], worn[..., 3:6], worn[..., 7])[None]
            got = at_pixels(net(torch.from_numpy(x))).argmax(1)[0].numpy() == 1
        want = worn[..., 6] == 1
        if want.sum() < 200:
            continue
        overlaps.append((got & want).sum() / max((got | want).sum(), 1))
        last = np.flatnonzero(got.sum(axis=0) > 1)
        ends.append(abs(int(last[-1]) - int(np.flatnonzero(want.any(axis=0))[-1])) if len(last) else 384)
    print(f"{len(ends)} held out: overlap median {np.median(overlaps):.3f}, tenth {np.quantile(overlaps, 0.1):.3f}; "
          f"end off by median {np.median(ends):.0f} px, nine in ten below {np.quantile(ends, 0.9):.0f} px")  # fmt: skip


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--seeds", type=int, default=2400)
    ask.add_argument("--batches", type=int, default=2600)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--out", type=Path, default=Path(__file__).resolve().parents[2] / "reelnotes" / "measure" / "parts.onnx")
    asked = ask.parse_args()
    asked.folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor() as pool:
        list(pool.map(draw, [(s, str(asked.folder)) for s in [*range(asked.seeds), *HELD_OUT]], chunksize=4))
    net = train(asked.folder, asked.seeds, asked.batches, asked.seed, asked.folder / "halfway.pt").eval()
    report(net, asked.folder)
    export(folded(net), asked.out)


if __name__ == "__main__":
    main()

"""Train the region net: where in a frame a measuring board lies, with all that a fish, a hand or shade covers of it.

    python tests/bench/train_region.py FOLDER [--minutes 60] [--out reelnotes/measure/region.onnx]

FOLDER holds frames drawn by train_glance.py (its ``train`` and ``held`` folders); this trains on the first, folds the batch norms
into the convolutions, writes the net, and prints how well the boards of the second are found.

The net that is shipped was trained in several goes (some 7000 batches under other wear, without the added steps, then 6600 in
twenty minutes), so another training gives another net: look at its report.
Needs torch and onnx, which are no dependencies of the project: only whoever trains the net again has to install them.
All frames are drawn (glance_frames.py) and worn (below, and glance_wear.py); no filmed picture is used.
"""

import argparse
import copy
import sys
import time
import warnings
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

sys.path.insert(0, str(Path(__file__).resolve().parent))
from glance_frames import HEIGHT, WIDTH
from glance_wear import code_strip, exposed
from train_parts import Halving, _shadow, _step, folded

Image = NDArray[Any]
Rng = np.random.Generator
SIZE = (224, 128)  # what the net sees
BATCH = 16
RATE = 3e-3
LEAST_SPAN, MOST_SPAN = 0.10, 1.2  # of a board made smaller or larger, shares of the picture's width
MOST_WEAR = 0.7  # worn more, half the boards are past knowing
WITH_BOARD = 0.8  # share of the frames that show one
WIDTHS = (16, 24, 40, 56, 64)
MORE = (56, 64, 64, 64)  # steps more at the levels of these widths
GREY, SPREAD = 110.0, 64.0


class Region(Halving):
    """(n, 3, 128, 224) -> (n, 1, 64, 112) logits.

    At its two coarsest levels, where the whole picture is but a few places wide, steps more are added to what is there (He et
    al. 2016): from a piece of rim to the whole rectangle is a long way.
    """

    def __init__(self) -> None:
        super().__init__(3, WIDTHS)
        self.more = nn.ModuleList(nn.Sequential(*_step(n, n, 1)[:2]) for n in MORE)  # added before their ReLU
        self.out = nn.Conv2d(WIDTHS[0], 1, 1)
        for step in self.more:
            nn.init.zeros_(step[1].weight)  # type: ignore[arg-type]  # at first they change nothing

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.out(self.known(x))

    def thought_over(self, y: torch.Tensor) -> torch.Tensor:
        for more in self.more:
            if more[0].in_channels == y.shape[1]:
                y = torch.relu(y + more(y))
        return y


def held(folder: Path, most_without: int) -> tuple[list[Image], list[float], list[Image], list[Image]]:
    """Frames (135, 240, 4) with a board, their spans, bare decks, and up to ``most_without`` frames of anything else."""
    yes: list[Image] = []
    spans: list[float] = []
    decks: list[Image] = []
    rest: list[Image] = []
    for path in sorted(folder.glob("*.npz")):
        with np.load(path) as data:
            pixels, span, kind = data["pixels"], data["span"], data["kind"]
        yes += [p.copy() for p in pixels[span > 0]]
        spans += [float(v) for v in span[span > 0]]
        decks += [p.copy() for p in pixels[(span == 0) & (kind == "bare deck")]]
        rest += [p.copy() for p in pixels[(span == 0) & (kind != "bare deck")]]
    return yes, spans, decks, rest[:: max(1, len(rest) // max(most_without, 1))]


def worn(rng: Rng, frame: Image, span: float, other: Image, wear: float) -> tuple[Image, NDArray[np.float32]]:
    """A frame turned any way, near or far, before another background at times, as a poor camera shows it; its board's place.

    span   of the board, a share of the picture's width; 0: there is none
    other  a frame without a board: what is around the frame, where it is made small
    """
    if span > 0 and rng.random() < 0.3:
        frame = _of_the_decks_colour(rng, frame)
    least, most = max(LEAST_SPAN / max(span, 0.2), 0.35), min(1.6, max(1.0, MOST_SPAN / max(span, 0.2)))
    zoom = float(np.exp(rng.uniform(np.log(least), np.log(most)))) if rng.random() < 0.8 else 1.0
    M = _turned(rng, 0.5) * zoom * SIZE[0] / WIDTH
    shift = rng.normal(0, 0.1 if zoom > 0.8 else 0.2, 2) * SIZE
    place = np.column_stack([M, np.array(SIZE) / 2 + shift - M @ [WIDTH / 2, HEIGHT / 2]])
    how = rng.random()
    soft = cv2.GaussianBlur(frame, (0, 0), float(rng.uniform(0.2, 0.5) / min(zoom, 1.0)))
    edge = cv2.BORDER_REFLECT if how < 0.5 and zoom > 0.75 else cv2.BORDER_CONSTANT
    out = cv2.warpAffine(soft, place, SIZE, flags=cv2.INTER_LINEAR, borderMode=edge)
    if edge == cv2.BORDER_CONSTANT:
        around = _covering(rng, other)
        seen = np.full((HEIGHT, WIDTH), 255, np.uint8)
        if span > 0 and (how < 0.9 or zoom < 0.75):  # the board alone, with a rim of what it lay on, not the whole frame
            n = 2 * int(rng.choice([1, 2, 3, 6, 12])) + 1
            seen = cv2.dilate(frame[..., 3], cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n)))
            seen = cv2.GaussianBlur(seen, (0, 0), 0.3 * n)
            seen = np.maximum(seen, frame[..., 3])
        alpha = cv2.warpAffine(seen, place, SIZE, flags=cv2.INTER_LINEAR)[..., None] / 255.0
        edgeless = cv2.warpAffine(soft, place, SIZE, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        out[..., :3] = edgeless[..., :3] * alpha + around * (1 - alpha)
    if rng.random() < 0.3:
        out[..., :3] = out[..., :3] * _shadow(rng, (SIZE[1], SIZE[0]))[..., None]
    if rng.random() < 0.3:
        code_strip(rng, out)
    seen = exposed(rng, np.ascontiguousarray(out[..., :3]), wear)
    return seen, (out[..., 3] / 255.0).astype(np.float32)


def _turned(rng: Rng, freely: float) -> NDArray[np.float64]:
    """A 2 x 2 turn with a stretch and at times a flip; by any angle with probability ``freely``, else by a small or half one."""
    a = float(rng.uniform(0, 2 * np.pi)) if rng.random() < freely else float(rng.normal(0, 0.15)) + np.pi * float(rng.integers(2))
    stretch = float(np.exp(rng.normal(0, 0.1)))
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return turn @ np.diag([stretch, 1 / stretch]) @ np.diag([float(rng.choice([-1, 1])), 1.0])


def _covering(rng: Rng, other: Image) -> Image:
    """A frame drawn over the whole picture, turned, nearer or farther, (128, 224, 3)."""
    M = _turned(rng, 0.3) * float(rng.uniform(0.6, 1.8)) * SIZE[0] / WIDTH
    place = np.column_stack([M, np.array(SIZE) / 2 - M @ [WIDTH / 2, HEIGHT / 2]])
    return cv2.warpAffine(
        np.ascontiguousarray(other[..., :3]), place, SIZE, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )


def _of_the_decks_colour(rng: Rng, frame: Image) -> Image:
    """A board (and what lies on it) brought nearer in colour to what is around it."""
    on = frame[..., 3] > 127
    if not on.any() or on.all():
        return frame
    rim = cv2.dilate(on.astype(np.uint8), np.ones((15, 15), np.uint8)).astype(bool) & ~on
    if not rim.any():
        return frame
    by = rng.uniform(0.3, 0.9) * (np.median(frame[rim][:, :3], axis=0) - np.median(frame[on][:, :3], axis=0))
    alpha = frame[..., 3:].astype(np.float32) / 255.0
    return np.dstack([np.clip(frame[..., :3] + by * alpha, 0, 255).astype(np.uint8), frame[..., 3]])


_shared: dict[str, Any] = {}


def batch_of(seed: int, wear: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(n, 3, 128, 224) and the board's share of each place (n, 1, 64, 112)."""
    rng = np.random.default_rng([seed, 23])
    yes, spans, decks, rest = (_shared[k] for k in ("yes", "spans", "decks", "rest"))
    x, y = [], []
    for _ in range(BATCH):
        other = _one(rng, decks if rng.random() < 0.6 else rest)
        if rng.random() < WITH_BOARD:
            i = int(rng.integers(len(yes)))
            frame, span = yes[i], spans[i]
        else:
            frame, span = _one(rng, decks if rng.random() < 0.6 else rest), 0.0
        image, where = worn(rng, frame, span, other, wear * float(rng.uniform(0.2, 1)))
        x.append((image.astype(np.float32).transpose(2, 0, 1) - GREY) / SPREAD)
        y.append(cv2.resize(where, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA)[None])
    return np.stack(x), np.stack(y)


def _one(rng: Rng, frames: list[Image]) -> Image:
    return frames[int(rng.integers(len(frames)))]


def train(folder: Path, minutes: float, seed: int, out: Path, begin: Path | None = None) -> Region:
    """AdamW at a rate that rises and falls with the time spent; a usable net is written every two minutes."""
    torch.manual_seed(seed)
    torch.set_num_threads(1)
    cv2.setNumThreads(1)
    net = Region().to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    if begin is not None:
        net.load_state_dict(torch.load(begin), strict=False)
    best = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=1e-3)
    yes, spans, decks, rest = held(folder, 2000)
    _shared.update(yes=yes, spans=spans, decks=decks, rest=rest)
    print(f"{len(yes)} frames with a board, {len(decks)} bare decks, {len(rest)} others", flush=True)
    began, total, n, kept = time.time(), 0.0, 0, 0.0
    while (spent := (time.time() - began) / (60 * minutes)) < 1:
        for group in best.param_groups:
            group["lr"] = RATE * min(spent / 0.05 + 0.05, 0.5 + 0.5 * float(np.cos(np.pi * spent)))
        x, y = (torch.from_numpy(a) for a in batch_of(seed * 1_000_000 + n, MOST_WEAR))
        with torch.autocast("cpu", torch.bfloat16):
            logit = net(x.contiguous(memory_format=torch.channels_last))
        logit = logit.float()
        cross = nn.functional.binary_cross_entropy_with_logits(logit, y)
        likely = logit.sigmoid()
        overlap = (2 * (likely * y).sum((1, 2, 3)) + 20) / ((likely + y).sum((1, 2, 3)) + 20)
        loss = cross + 0.5 * (1 - overlap).mean()
        best.zero_grad()
        loss.backward()
        best.step()
        total, n = total + loss.item(), n + 1
        if n % 200 == 0:
            print(f"batch {n:5} loss {total / 200:.4f} {time.time() - began:.0f} s", flush=True)
            total = 0.0
        if time.time() - began - kept > 120:
            kept = time.time() - began
            torch.save(net.state_dict(), out.with_suffix(".pt"))
            export(folded(copy.deepcopy(net).eval()), out)
    torch.save(net.state_dict(), out.with_suffix(".pt"))
    return net


def export(net: nn.Module, path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(net, (torch.zeros(1, 3, SIZE[1], SIZE[0]),), str(path), opset_version=13, dynamo=False,
                          input_names=["picture"], output_names=["logits"])  # fmt: skip


def report(net: nn.Module, folder: Path) -> None:
    """Held-out frames, as drawn and worn: how far the net's place and the board's overlap, by the board's span; what it sees
    where none is."""
    rng = np.random.default_rng(5)
    yes, spans, decks, rest = held(folder, 300)
    for name, wear in (("as drawn", None), ("worn", MOST_WEAR)):
        rows = []
        for frame, span in zip(yes[::2], spans[::2], strict=True):
            image, where = _shown(rng, frame, span, decks, wear)
            got, want = _likely(net, image), cv2.resize(where, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA) > 0.5
            if want.mean() > 0.003:
                rows.append((span, (got & want).sum() / max((got | want).sum(), 1)))
        spanned, overlap = np.array(rows).T
        print(f"{name}: {len(overlap)} boards, overlap median {np.median(overlap):.2f}, over a half {np.mean(overlap > 0.5):.2f}")
        for low, high in ((0.18, 0.25), (0.25, 0.4), (0.4, 0.7), (0.7, 2.0)):
            here = overlap[(spanned >= low) & (spanned < high)]
            print(
                f"  span {low:.2f} to {high:.2f}: {len(here)}, median {np.median(here):.2f}, over half {np.mean(here > 0.5):.2f}"
            )
        for kind, frames in (("bare decks", decks), ("others", rest)):
            false = np.array([_likely(net, _shown(rng, f, 0.0, decks, wear)[0]).mean() for f in frames])
            print(f"  {kind}: {len(false)}, mean area {false.mean():.3f}, over 1 % in {np.mean(false > 0.01):.2f}")


def _shown(rng: Rng, frame: Image, span: float, decks: list[Image], wear: float | None) -> tuple[Image, NDArray[np.float32]]:
    if wear is not None:
        return worn(rng, frame, span, _one(rng, decks), wear)
    small = cv2.resize(frame, SIZE, interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(small[..., :3]), (small[..., 3] / 255.0).astype(np.float32)


def _likely(net: nn.Module, image: Image) -> NDArray[np.bool_]:
    with torch.no_grad():
        x = torch.from_numpy((image.astype(np.float32).transpose(2, 0, 1)[None] - GREY) / SPREAD)
        return np.asarray(net(x)[0, 0].numpy() > 0)


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--minutes", type=float, default=60.0)
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--begin", type=Path, help="weights to begin with")
    ask.add_argument("--out", type=Path, default=Path(__file__).resolve().parents[2] / "reelnotes" / "measure" / "region.onnx")
    asked = ask.parse_args()
    net = train(asked.folder / "train", asked.minutes, asked.seed, asked.out, asked.begin).eval()
    report(net, asked.folder / "held")
    export(folded(net), asked.out)


if __name__ == "__main__":
    main()

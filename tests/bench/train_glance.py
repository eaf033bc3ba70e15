"""Train the glance: the tiny net that says whether a frame could show a measuring board at all.

    python tests/bench/train_glance.py FOLDER [--seeds 80] [--epochs 24] [--out reelnotes/measure/glance.onnx]

Draws the frames that FOLDER lacks (seeds 0..N-1 to train on, 5000..5009 held out), trains, folds the batch norms into
the convolutions, writes the net, and prints how held-out frames score, by kind and by size of the board.

Needs torch and onnx, which are no dependencies of the project: only whoever trains the net again has to install them.
The net that is shipped was trained in two goes (5600 batches of an earlier form, whose first four convolutions the second
go of 3600 began from), so another training gives another net: look at its report, and set UNLIKELY anew.
All frames are drawn (glance_frames.py) and worn (glance_wear.py); no filmed picture is used.
"""

import argparse
import os
import sys
import time
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import nn

sys.path.insert(0, str(Path(__file__).resolve().parent))
import glance_frames
from glance_wear import SIZE, exposed, worn_frame

Image = NDArray[Any]
HELD_OUT = range(5000, 5010)
SCENES_A_SEED = 15
CELLS = (20, 12)  # of the heat map
BATCH = 64
MOST_WEAR = 0.7
# How often frames without a board come, by kind. A tray of compartments on a deck is so like a board that to turn it away
# costs boards, and to let it through costs but a search.
OFTEN = {"tackle_box": 0.05, "bare deck": 0.3, "textures": 0.5}


def plain_to_net(batch: Image) -> torch.Tensor:
    """(n, h, w, 3) uint8 -> what the net takes. The product's own way in must do the same."""
    return (torch.from_numpy(batch).permute(0, 3, 1, 2).float() - 128.0) / 64.0


class Glance(nn.Module):
    """Four convolutions see pieces of board; from them, one more and a weighing of places judge the frame as a whole.

    A board that is measured on is filmed from above, so that a horizon speaks against it: hence the places.
    """

    def __init__(self) -> None:
        super().__init__()
        self.layers = nn.Sequential(*_step(3, 8, 2), *_step(8, 16, 2), *_step(16, 24, 2), *_step(24, 24, 1))
        self.map = nn.Conv2d(24, 1, 1)  # where the board is: only taught, never asked
        nn.init.constant_(self.map.bias, -2.0)  # type: ignore[arg-type]
        self.whole = nn.Sequential(nn.AvgPool2d(2), *_step(24, 24, 1), nn.AvgPool2d(2), nn.Conv2d(24, 1, (3, 5)))

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """(n, 1, 1, 1) logits of the frames, (n, 1, 12, 20) logits of the places."""
        pieces = self.layers(x)
        return self.whole(pieces), self.map(pieces)


def _step(before: int, after: int, stride: int) -> list[nn.Module]:
    return [nn.Conv2d(before, after, 3, stride, 1, bias=False), nn.BatchNorm2d(after), nn.ReLU()]


def folded(net: Glance) -> nn.Sequential:
    """The frame's judge alone, its batch norms folded into the convolutions."""
    kept: list[nn.Module] = []
    layers = [*net.eval().layers, *net.whole]
    for n, layer in enumerate(layers):
        if isinstance(layer, nn.Conv2d) and n + 1 < len(layers):
            kept.append(torch.nn.utils.fuse_conv_bn_eval(layer, layers[n + 1]))
        elif not isinstance(layer, nn.BatchNorm2d):
            kept.append(layer)
    return nn.Sequential(*kept).eval()


# ---- frames


def draw(job: tuple[int, str]) -> None:
    """One seed's frames into the folder."""
    seed, folder = job
    path = Path(folder) / f"{seed}.npz"
    if path.exists():
        return
    frames = glance_frames.some_frames(seed, SCENES_A_SEED)
    halfway = path.with_suffix(".tmp.npz")
    np.savez(halfway, pixels=np.stack([f.pixels for f in frames]), kind=np.array([f.kind for f in frames]),
             span=np.array([f.span for f in frames], np.float32))  # fmt: skip
    halfway.replace(path)


def held(folder: Path, seeds: range) -> tuple[Image, NDArray[Any], NDArray[Any]]:
    """Pixels (n, 135, 240, 4), kinds, spans (0 where there is no board)."""
    parts = [np.load(folder / f"{seed}.npz") for seed in seeds if (folder / f"{seed}.npz").exists()]
    return tuple(np.concatenate([p[k] for p in parts]) for k in ("pixels", "kind", "span"))  # type: ignore[return-value]


_shared: dict[str, Any] = {}


def share(pixels: Image, kind: NDArray[Any], span: NDArray[Any]) -> None:
    """What the drawing processes are forked with: the frames, and how often each one comes."""
    no = np.flatnonzero(span == 0)
    often = np.array([OFTEN.get(k, 1.0) for k in kind[no]])
    _shared.update(pixels=pixels, yes=np.flatnonzero(span > 0), no=no, often=often / often.sum())


def batch_of(seed: int, wear: float) -> tuple[Image, NDArray[np.float32]]:
    """One worn batch, half of it boards: (n, 90, 160, 4) and labels."""
    cv2.setNumThreads(1)
    rng = np.random.default_rng([seed, 91])
    pixels, yes, no = _shared["pixels"], _shared["yes"], _shared["no"]
    labels = (np.arange(BATCH) % 2 == 0).astype(np.float32)
    other = iter(rng.choice(no, BATCH * 3, p=_shared["often"]))
    out = np.zeros((BATCH, SIZE[1], SIZE[0], 4), np.uint8)
    for k, board in enumerate(labels > 0):
        i = yes[rng.integers(len(yes))] if board else next(other)
        out[k] = worn_frame(rng, pixels[i], [pixels[next(other)], pixels[next(other)]], bool(board), wear)
    return out, labels


# ---- training


def train(epochs: int, each: int, seed: int, begin: Path | None = None) -> Glance:
    """AdamW under a one-cycle rate; the loss is the frame's and, less and less, the map's."""
    torch.manual_seed(seed)
    net = Glance()
    if begin is not None:
        net.load_state_dict(torch.load(begin), strict=False)
    net = net.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    best = torch.optim.AdamW(net.parameters(), lr=5e-3, weight_decay=1e-3)
    rate = torch.optim.lr_scheduler.OneCycleLR(best, 5e-3, total_steps=epochs * each, pct_start=0.15)
    began = time.time()
    with ProcessPoolExecutor(2) as pool:  # forked: they share the frames
        # Mild at first: thrown in at the deep end, so small a net learns nothing.
        jobs = ((seed * 1_000_000 + n, min(MOST_WEAR, 2 * n / (epochs * each))) for n in range(epochs * each + 8))
        ahead = [pool.submit(batch_of, *next(jobs)) for _ in range(8)]
        for epoch in range(epochs):
            total = np.zeros(2)
            net.train()
            for _ in range(each):
                images, labels = ahead.pop(0).result()
                ahead.append(pool.submit(batch_of, *next(jobs)))
                logit, heat = net(plain_to_net(images[..., :3]))
                where = torch.from_numpy(images[..., 3:]).permute(0, 3, 1, 2).float() / 255
                where = nn.functional.adaptive_avg_pool2d(where, (CELLS[1], CELLS[0]))
                map_loss = nn.functional.binary_cross_entropy_with_logits(heat, where)
                frame_loss = nn.functional.binary_cross_entropy_with_logits(logit.flatten(), torch.from_numpy(labels))
                loss = frame_loss + (1.0 - epoch / epochs) * map_loss
                best.zero_grad()
                loss.backward()
                best.step()
                rate.step()
                total += [frame_loss.item(), map_loss.item()]
            frame, map_ = total / each
            print(f"epoch {epoch + 1:3} frame {frame:.4f} map {map_:.4f} {time.time() - began:.0f} s", flush=True)
    return net


def export(net: Glance, path: Path) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        torch.onnx.export(folded(net), (torch.zeros(1, 3, SIZE[1], SIZE[0]),), str(path), opset_version=13, dynamo=False,
                          input_names=["picture"], output_names=["logit"])  # fmt: skip


# ---- how good it is on scenes it was not trained on


def scores(net: nn.Module, images: Image) -> NDArray[np.float64]:
    with torch.no_grad():
        logits = torch.cat([net(plain_to_net(images[i : i + 256])).flatten() for i in range(0, len(images), 256)])
    return torch.sigmoid(logits.double()).numpy()


def report(net: nn.Module, folder: Path) -> None:
    """Recall and false alarms on held-out scenes: as drawn, and as a poor camera shows them."""
    pixels, kind, span = held(folder, HELD_OUT)
    rng = np.random.default_rng(92)
    small = np.stack([cv2.resize(p[..., :3], SIZE, interpolation=cv2.INTER_AREA) for p in pixels])
    poor = np.stack([exposed(rng, p) for p in small])
    board = span > 0
    for name, images in (("as drawn", small), ("worn", poor)):
        got = scores(net, np.ascontiguousarray(images))
        yes, no = got[board], got[~board]
        print(f"\n{name}: {len(yes)} frames with a board, {len(no)} without")
        for lost in (0.001, 0.003, 0.01):
            at = np.quantile(yes, lost)
            print(f"  {lost:.1%} of the boards score below {at:.4f}; {np.mean(no >= at):.2%} of the others above")
        at = float(np.quantile(yes, 0.003))
        for low, high in ((0.18, 0.25), (0.25, 0.4), (0.4, 0.7), (0.7, 2.0)):
            some = got[(span >= low) & (span < high)]
            least = np.quantile(some, 0.01)
            print(f"  span {low:.2f}..{high:.2f}: {np.mean(some >= at):.2%} of {len(some)} above, 1 % below {least:.4f}")
        for k in np.unique(kind):
            some = got[kind == k]
            print(f"  {k:16} {len(some):5} frames, {np.mean(some >= at):7.2%} above, median {np.median(some):.4f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--seeds", type=int, default=80)
    parser.add_argument("--epochs", type=int, default=24)
    parser.add_argument("--each", type=int, default=180, help="batches an epoch")
    parser.add_argument("--start", type=int, default=1, help="seed of the training itself")
    parser.add_argument("--begin", type=Path, help="weights (.pt) to begin from, as far as they fit")
    parser.add_argument("--out", type=Path, default=Path("reelnotes/measure/glance.onnx"))
    args = parser.parse_args()
    os.nice(5)
    torch.set_num_threads(1)
    args.folder.mkdir(parents=True, exist_ok=True)
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(draw, [(seed, str(args.folder)) for seed in (*HELD_OUT, *range(args.seeds))]))
    share(*held(args.folder, range(args.seeds)))
    print(f"{len(_shared['yes'])} frames with a board, {len(_shared['no'])} without", flush=True)
    net = train(args.epochs, args.each, args.start, args.begin)
    export(net, args.out)
    torch.save(net.state_dict(), args.folder / "net.pt")
    report(folded(net), args.folder)


if __name__ == "__main__":
    main()

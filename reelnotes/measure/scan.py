"""Where in the clip is the board? Keyframes first; then every few frames of the span around it, tracked."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.lens_model import Floats
from reelnotes.measure.pose_fit import fit_frames
from reelnotes.measure.posed import Observations
from reelnotes.measure.refine import Alignment, follow
from reelnotes.media.decode import Picture, pictures

_LOOK_EVERY_S = 0.9  # keyframes closer together than this are skipped
_LONGEST_SPAN_S = 8.0
_FLOW_SIDE = 640
_STILL_THERE = 0.2  # strength at the middling scale; the fine look later is stricter
_KEPT_BYTES = 220_000_000  # of decoded pictures held at a time


@dataclass(frozen=True, eq=False)
class Tracked:
    """A frame in which the board was followed."""

    picture: Picture
    alignment: Alignment


def keyframes(path: Path) -> Iterator[Picture]:
    """Keyframes to look at, not closer together than _LOOK_EVERY_S."""
    last = -np.inf
    for picture in pictures(path, keyframes_only=True):
        if picture.time_s - last >= _LOOK_EVERY_S:
            last = picture.time_s
            yield picture


def sampled(path: Path, around_s: float, size_bytes: int, wanted: int) -> list[Picture]:
    """About ``wanted`` pictures, evenly spaced over the clip or over the _LONGEST_SPAN_S around ``around_s``.

    The clip's length need not be known: the spacing doubles, and every second picture is let go, whenever too many have come.
    """
    most = max(8, min(2 * wanted, _KEPT_BYTES // max(size_bytes, 1)))
    start = max(0.0, around_s - _LONGEST_SPAN_S / 2)
    kept: list[Picture] = []
    every = 2
    for count, picture in enumerate(pictures(path, start_s=start, end_s=start + _LONGEST_SPAN_S, every=2)):
        if 2 * count % every:
            continue
        kept.append(picture)
        if len(kept) > most:
            kept, every = kept[::2], 2 * every
    return kept


def track(shots: list[Picture], found_at_s: float, found: Alignment) -> list[Tracked]:
    """Follow the board from the frame nearest ``found_at_s`` both ways through ``shots``, under the lens of ``found``."""
    middle = int(np.argmin([abs(p.time_s - found_at_s) for p in shots]))
    out: list[Tracked] = []
    small = [_small(p.pixels) for p in shots]
    for order in (range(middle, len(shots)), range(middle - 1, -1, -1)):
        last, at, misses = found, middle, 0
        for i in order:
            made = _followed(shots[i].pixels, small[at], small[i], last)
            if made is None:
                misses += 1
                if misses > 4:
                    break
                continue
            misses, last, at = 0, made, i
            out.append(Tracked(shots[i], made))
    return sorted(out, key=lambda f: f.picture.time_s)


def _small(image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    gain = min(1.0, _FLOW_SIDE / max(image.shape[:2]))
    small = cv2.resize(image, None, fx=gain, fy=gain, interpolation=cv2.INTER_AREA)
    return cv2.cvtColor(small, cv2.COLOR_BGR2GRAY).astype(np.uint8)


def _followed(image: NDArray[np.uint8], before: NDArray[np.uint8], now: NDArray[np.uint8], last: Alignment) -> Alignment | None:
    """The board in the next frame: from where the picture's own motion carries it, else from rest."""
    moved = _moved(before, now, last) if before is not now else (last.R, last.t)
    starts = [(*moved, True), (*moved, False)] if moved is not None else []
    for R, t, near in [*starts, (last.R, last.t, False)]:
        made = follow(image, last.model, last.lens, R, t, near=near)
        if made is not None and made.strength > _STILL_THERE:
            return made
    return None


def _moved(before: NDArray[np.uint8], now: NDArray[np.uint8], last: Alignment) -> tuple[Floats, Floats] | None:
    """The pose after the motion that pyramidal Lucas-Kanade (Bouguet 2001) sees between two small grey pictures."""
    board, lens = last.model.board, last.lens
    x, y = np.meshgrid(np.linspace(0.01, 0.99, 22) * board.length_mm, np.linspace(0.03, 0.97, 7) * board.width_mm)
    mm = np.stack([x.ravel(), y.ravel()], axis=1)
    px = lens.project(mm[:, :1] * last.R[:, 0] + mm[:, 1:] * last.R[:, 1] + last.t)
    gain = before.shape[1] / lens.width_px
    inside = np.isfinite(px).all(axis=1) & (px > 4).all(axis=1) & (px < [lens.width_px - 4, lens.height_px - 4]).all(axis=1)
    if inside.sum() < 12:
        return None
    mm, px = mm[inside], px[inside]
    start = (px * gain).astype(np.float32)
    there, ok, _ = cv2.calcOpticalFlowPyrLK(before, now, start, None, winSize=(21, 21), maxLevel=4)  # type: ignore[call-overload]
    back, ok_back, _ = cv2.calcOpticalFlowPyrLK(now, before, there, None, winSize=(21, 21), maxLevel=4)  # type: ignore[call-overload]
    good = (ok.ravel() > 0) & (ok_back.ravel() > 0) & (np.linalg.norm(back - start, axis=1) < 1.5)
    if good.sum() < 12:
        return None
    H, mask = cv2.findHomography(start[good], there[good], cv2.RANSAC, 3.0)
    if H is None or mask.sum() < 10:
        return None
    keep = np.flatnonzero(good)[mask.ravel() > 0]
    weight = np.tile(np.eye(2) * gain**2, (len(keep), 1, 1))
    fit = fit_frames([Observations(mm[keep], there[keep].astype(np.float64) / gain, weight)], lens, [last.R], [last.t])
    return (fit.R[0], fit.t[0]) if fit is not None else None

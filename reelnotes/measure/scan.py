"""Where in the clip is the board? Keyframes first; then every few frames of the span around it, tracked."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import LensFreedom
from reelnotes.measure.refine import Alignment, follow
from reelnotes.media.decode import Picture, pictures

_LOOK_EVERY_S = 0.9  # keyframes closer together than this are skipped
_LONGEST_SPAN_S = 12.0
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


def span_around(time_s: float, duration_s: float) -> tuple[float, float]:
    """The span to decode fully when the board was found at ``time_s``."""
    start = max(0.0, time_s - _LONGEST_SPAN_S / 2)
    return start, min(duration_s, start + _LONGEST_SPAN_S)


def sampled(path: Path, span: tuple[float, float], rate: float, size_bytes: int, wanted: int) -> list[Picture]:
    """About ``wanted`` pictures spread evenly over the span, as many as memory allows."""
    wanted = max(6, min(wanted, _KEPT_BYTES // max(size_bytes, 1)))
    every = max(1, int((span[1] - span[0]) * rate / wanted))
    return list(pictures(path, start_s=span[0], end_s=span[1], every=every))


def track(shots: list[Picture], found_at_s: float, found: Alignment, freedom: LensFreedom) -> list[Tracked]:
    """Follow the board from the frame nearest ``found_at_s`` both ways through ``shots``."""
    middle = int(np.argmin([abs(p.time_s - found_at_s) for p in shots]))
    out: list[Tracked] = []
    for order in (range(middle, len(shots)), range(middle - 1, -1, -1)):
        last, misses, before = found, 0, None
        for i in order:
            made = _followed(shots[i].pixels, last, before, freedom)
            if made is None:
                misses += 1
                before = None
                if misses > 4:
                    break
                continue
            misses, before, last = 0, last, made
            out.append(Tracked(shots[i], made))
    return sorted(out, key=lambda f: f.picture.time_s)


def _followed(image: NDArray[np.uint8], last: Alignment, before: Alignment | None, freedom: LensFreedom) -> Alignment | None:
    """The board in the next frame, starting from steady motion, else from rest."""
    starts: list[tuple[Floats, Floats]] = [(last.R, last.t)]
    if before is not None:
        starts.insert(0, (last.R @ before.R.T @ last.R, 2 * last.t - before.t))
    for R, t in starts:
        made = follow(image, last.model, _plain(last.lens), R, t, freedom)
        if made is not None and made.score > 0.5 * last.score and made.score > 0.3:
            return made
    return None


def _plain(lens: LensModel) -> LensModel:
    return lens.shifted((0.0, 0.0))

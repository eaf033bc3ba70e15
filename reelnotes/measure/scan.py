"""The board followed through a clip: from the frame in which it was found to the sharpest frames of the span around it."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.lens_model import Floats
from reelnotes.measure.pose_fit import fit_frames
from reelnotes.measure.posed import Observations
from reelnotes.measure.refine import Alignment, follow
from reelnotes.media.decode import Picture, Undrawn, undrawn

_LONGEST_SPAN_S = 8.0  # of a clip that is followed, around the frame in which the board was found
_FLOW_SIDE = 640  # the longer side, pixels, of the small pictures that show motion
_STILL_THERE, _LESS = 0.2, 0.6  # strength at the middling scale, and as a share of what it was; the fine look later is stricter
_KEPT_BYTES = 130_000_000  # of decoded frames held at a time: ten of 3840 x 2160
_BURNT = 225  # luma from which nothing more is to be seen, in the range that cameras code it (16 to 235)
_TRIES = 4  # frames of a stretch
_AS_CLEAR = 0.95  # of the print seen in the clearest frame yet, in one that needs no better of its stretch: judgement, no source
_LOST = 2  # stretches without the board, one after the other: it is gone


@dataclass(frozen=True, eq=False)
class Tracked:
    """A frame in which the board was followed."""

    picture: Picture
    alignment: Alignment


class Shot:
    """A frame that the board might be followed to."""

    def __init__(self, held: Undrawn) -> None:
        self.held = held

    @cached_property
    def small(self) -> NDArray[np.uint8]:
        """The picture in grey, _FLOW_SIDE pixels long: for its motion."""
        return _small(self.held.brightness())

    def sharpness(self, where: tuple[slice, slice]) -> float:
        """Mean second difference along every eighth row and column of a part: blur takes it away first, and glints hide it."""
        light = np.minimum(self.held.brightness()[where], _BURNT)
        along = np.abs(np.diff(light[::8].astype(np.int16), 2, axis=1))
        down = np.abs(np.diff(light[:, ::8].astype(np.int16), 2, axis=0))
        return float(min(along.mean(), down.mean())) if along.size and down.size else 0.0


def sampled(path: Path, around_s: float, wanted: int) -> list[Shot]:
    """About ``wanted`` to twice as many frames, evenly spaced over the clip or over the _LONGEST_SPAN_S around ``around_s``.

    The clip's length need not be known: the spacing doubles, and every second frame is let go, whenever too many have come.
    """
    start = max(0.0, around_s - _LONGEST_SPAN_S / 2)
    kept: list[Shot] = []
    every = 2
    for count, held in enumerate(undrawn(path, start_s=start, end_s=start + _LONGEST_SPAN_S, every=2)):
        if 2 * count % every:
            continue
        kept.append(Shot(held))
        size_bytes = held.decoded.width * held.decoded.height * 3 // 2  # colour at half the resolution, as cameras code it
        if len(kept) > max(8, min(2 * wanted, _KEPT_BYTES // max(size_bytes, 1))):
            kept, every = kept[::2], 2 * every
    return kept


def track(shots: list[Shot], picture: Picture, found: Alignment, wanted: int) -> list[Tracked]:
    """Follow the board from where it was found both ways, to the sharpest frame of each of ``wanted`` equal stretches.

    shots            are let go: the list is empty afterwards
    picture, found   a frame and the board in it; its lens stays
    Where the board is in sight in some stretches only, these give more than one frame each.
    """
    trail = _Trail(shots, picture, found)
    stretches = np.array_split(np.arange(len(shots)), min(wanted, len(shots)))
    begin = next((k for k, s in enumerate(stretches) if s[-1] >= trail.middle), len(stretches) - 1)
    for order in (stretches[begin:], stretches[:begin][::-1]):
        lost = 0
        for stretch in order:
            lost = 0 if _best_of(trail, stretch) else lost + 1
            if lost == _LOST:
                break
    held = [i for s in stretches if any(j in trail.followed for j in s) for i in s if i not in trail.tried]
    held.sort(key=lambda i: -trail.sharpness[i])
    for i in held[: 2 * max(0, wanted - len(trail.followed))]:
        if len(trail.followed) < wanted:
            trail.to(int(i))
    # Colours take twice the decoder's bytes: they come last, when all other frames have been let go.
    made = [(shots[i].held, alignment) for i, alignment in sorted(trail.followed.items(), reverse=True)]
    trail.shots = ()
    shots.clear()
    return [Tracked(shot.picture(), alignment) for shot, alignment in (made.pop() for _ in range(len(made)))]


def _best_of(trail: "_Trail", stretch: NDArray[np.int64]) -> bool:
    """Follow the board to the sharpest frame of a stretch (to others, where it is not held there); and to the next, to keep the
    better one, where less of its print is clear than in other stretches: a glint or a hand leaves a picture sharp."""
    made: dict[int, float] = {}
    for i in sorted(map(int, stretch), key=lambda i: -trail.sharpness[i])[:_TRIES]:
        here = trail.to(i)
        if here is not None:
            made[i] = float(np.clip(here.agreement.ncc[here.agreement.seen], 0.0, 1.0).sum())
            trail.clearest = max(trail.clearest, made[i])
            if len(made) == 2 or (len(trail.followed) > 1 and made[i] > _AS_CLEAR * trail.clearest):
                break
    for i in sorted(made, key=lambda i: -made[i])[1:]:
        del trail.followed[i]
    return bool(made)


class _Trail:
    """The frames that the board was followed to, and how it is followed to another from the nearest of them."""

    def __init__(self, shots: Sequence[Shot], picture: Picture, found: Alignment) -> None:
        self.shots, self.found = shots, found
        self.middle = int(np.argmin([abs(s.held.time_s - picture.time_s) for s in shots]))
        self.begun = _small(cv2.cvtColor(picture.pixels, cv2.COLOR_BGR2GRAY).astype(np.uint8))
        part = _around(found, picture.pixels.shape[:2])
        self.sharpness = [shot.sharpness(part) for shot in shots]
        self.followed: dict[int, Alignment] = {}
        self.tried: set[int] = set()
        self.clearest = 0.0  # print seen in any of them

    def to(self, i: int) -> Alignment | None:
        """The board in frame i; None where it is not held there."""
        self.tried.add(i)
        near = min([*self.followed, self.middle], key=lambda k: abs(k - i))
        last, origin = self.found, self.begun
        if near in self.followed:
            last, origin = self.followed[near], self.shots[near].small
        step = 1 if i >= near else -1
        between = [self.shots[k].small for k in range(near + step, i, step)]
        made = _followed(self.shots[i].held.picture().pixels, [origin, *between, self.shots[i].small], last,
                         min(_STILL_THERE, _LESS * self.found.strength))  # fmt: skip
        if made is not None:
            self.followed[i] = made
        return made


def _around(found: Alignment, shape: tuple[int, ...]) -> tuple[slice, slice]:
    """Rows and columns of a picture in which the board lies."""
    board = found.model.board
    x, y = np.meshgrid(np.linspace(0.0, board.length_mm, 9), np.linspace(0.0, board.width_mm, 3))
    px = found.lens.project(x.reshape(-1, 1) * found.R[:, 0] + y.reshape(-1, 1) * found.R[:, 1] + found.t)
    px = px[np.isfinite(px).all(axis=1)]
    low, high = np.clip(px.min(axis=0), 0, None).astype(int), px.max(axis=0).astype(int)
    whole = (slice(0, shape[0]), slice(0, shape[1]))
    return (slice(low[1], high[1]), slice(low[0], high[0])) if (high - low > 32).all() else whole


def _small(light: NDArray[np.uint8]) -> NDArray[np.uint8]:
    gain = min(1.0, _FLOW_SIDE / max(light.shape[:2]))
    return cv2.resize(light, None, fx=gain, fy=gain, interpolation=cv2.INTER_AREA).astype(np.uint8)


def _followed(image: NDArray[np.uint8], greys: Sequence[NDArray[np.uint8]], last: Alignment, least: float) -> Alignment | None:
    """The board in another frame: from where the picture's own motion carries it, at one go or from frame to frame; else from
    rest. greys: small pictures of the frame of ``last``, of those between, of this one; least: strength."""
    for way in ([greys[0], greys[-1]], greys if len(greys) > 2 else None):
        moved = _moved(way, last) if way is not None else None
        if moved is None:
            continue
        for near in (True, False):
            made = follow(image, last.model, last.lens, *moved, near=near)
            if made is not None and made.strength > least:
                return made
    made = follow(image, last.model, last.lens, last.R, last.t, near=False)
    return made if made is not None and made.strength > least else None


def _moved(greys: Sequence[NDArray[np.uint8]], last: Alignment) -> tuple[Floats, Floats] | None:
    """The pose after the motion that pyramidal Lucas-Kanade (Bouguet 2001) sees from each small grey picture to the next."""
    board, lens = last.model.board, last.lens
    x, y = np.meshgrid(np.linspace(0.01, 0.99, 22) * board.length_mm, np.linspace(0.03, 0.97, 7) * board.width_mm)
    mm = np.stack([x.ravel(), y.ravel()], axis=1)
    px = lens.project(mm[:, :1] * last.R[:, 0] + mm[:, 1:] * last.R[:, 1] + last.t)
    gain = greys[0].shape[1] / lens.width_px
    inside = np.isfinite(px).all(axis=1) & (px > 4).all(axis=1) & (px < [lens.width_px - 4, lens.height_px - 4]).all(axis=1)
    if inside.sum() < 12:
        return None
    mm, start = mm[inside], (px[inside] * gain).astype(np.float32)
    there, good = start, np.ones(len(start), bool)
    for before, now in pairwise(greys):
        here = there
        there, ok = _flow(before, now, here)
        back, ok_back = _flow(now, before, there)
        good &= ok & ok_back & (np.linalg.norm(back - here, axis=1) < 1.5)
    if good.sum() < 12:
        return None
    H, mask = cv2.findHomography(start[good], there[good], cv2.RANSAC, 3.0)
    if H is None or mask.sum() < 10:
        return None
    keep = np.flatnonzero(good)[mask.ravel() > 0]
    weight = np.tile(np.eye(2) * gain**2, (len(keep), 1, 1))
    seen = Observations(mm[keep], there[keep].astype(np.float64) / gain, weight)
    fit = fit_frames([seen], lens, [last.R], [last.t], soft=1.0)  # strays are left out already
    return (fit.R[0], fit.t[0]) if fit is not None else None


def _flow(
    before: NDArray[np.uint8], now: NDArray[np.uint8], at: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Where (n, 2) points have gone, and whether that is to be seen."""
    there, ok, _ = cv2.calcOpticalFlowPyrLK(before, now, at, None, winSize=(21, 21), maxLevel=4)  # type: ignore[call-overload]
    return np.asarray(there, np.float32), ok.ravel() > 0

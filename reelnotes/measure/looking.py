"""Which frames of a clip to search for a board: those that might show one, the likeliest first.

Searching a frame costs a hundred times what decoding a small key frame costs, and most of a fishing day shows water. So
key frames get a glance (``glance``) as they are decoded, one of each look, and only what could be a board is searched.
Short clips, which are filmed for one thing, are searched between their key frames too: a hand, a glint or a blur hides
the print in one frame only.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from heapq import nlargest
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.glance import SEEN_PX, UNLIKELY, board_likeness
from reelnotes.media.decode import Picture, pictures, undrawn

LOOK_EVERY_S = 0.9  # key frames closer together than this are skipped
MOST_SEARCHED = 4  # key frames of a clip
SHORT_S, BETWEEN_S, MOST_BETWEEN = 8.0, 0.4, 6  # a clip is short below this; frames between its key frames: so far apart, so many
# A short clip is searched at the least likeness. The highest of many frames' likeness is high by chance, and a long clip
# that shows a board shows it for seconds (0.25: judgement, no source).
UNLIKELY_IN_SHORT, UNLIKELY_IN_LONG = UNLIKELY / 3, 0.25
GLANCED_AT_FIRST = 8  # key frames, before what looks like one of them is passed over
_CELLS = (12, 7)
_ALIKE, _ALIKE_CELL = 14.0, 50.0  # levels that two thumbnails of one look differ by: on average, and in all but two cells


@dataclass(frozen=True, slots=True)
class Sights:
    """Where in a clip a board might be seen.

    times_s   key frames that might show one, the likeliest first, at most MOST_SEARCHED; none: it shows no board
    likeness  of the likeliest frame, 0..1
    short_s   seconds up to which a short clip is searched between key frames too; None for a long clip
    """

    times_s: tuple[float, ...]
    likeness: float
    short_s: float | None


def glance_through(path: Path, *, thorough: bool = False) -> Sights:
    """One pass over a clip's key frames. ``thorough``: the likeliest are kept however unlikely.

    Raises UnreadableError when the clip cannot be opened.
    """
    seen: list[tuple[float, float]] = []  # likeness, time
    looks: list[NDArray[np.int16]] = []  # of frames that show no board
    last = -np.inf
    for shot in undrawn(path, keyframes_only=True):
        if shot.time_s - last < LOOK_EVERY_S:
            continue
        last = shot.time_s
        small = shot.thumbnail(*SEEN_PX)
        look = cv2.resize(small, _CELLS, interpolation=cv2.INTER_AREA).astype(np.int16)
        if len(seen) >= GLANCED_AT_FIRST and _seen_before(look, looks):
            continue
        like = board_likeness(small)
        seen.append((like, shot.time_s))
        if like < UNLIKELY_IN_LONG:
            looks.append(look)
    short = last < SHORT_S
    least = 0.0 if thorough else UNLIKELY_IN_SHORT if short else UNLIKELY_IN_LONG
    best = nlargest(MOST_SEARCHED, [s for s in seen if s[0] >= least])
    likeness = max((like for like, _ in seen), default=0.0)
    return Sights(tuple(time_s for _, time_s in best), likeness, SHORT_S if short else None)


def _seen_before(look: NDArray[np.int16], looks: list[NDArray[np.int16]]) -> bool:
    """Whether a thumbnail is like one of ``looks``: waves and light may differ, but nothing has come into the picture."""
    if not looks:
        return False
    off = np.abs(np.stack(looks) - look).mean(axis=-1).reshape(len(looks), -1)
    alike = (off.mean(axis=1) < _ALIKE) & (np.partition(off, -3, axis=1)[:, -3] < _ALIKE_CELL)
    return bool(alike.any())


def frames_to_search(path: Path, sights: Sights) -> Iterator[Picture]:
    """The frames themselves, in full size: the key frames of ``sights``, then in a short clip a few between them."""
    for time_s in sights.times_s:
        picture = _at(path, time_s)
        if picture is not None:
            yield picture
    if sights.times_s and sights.short_s is not None:
        yield from _between(path, sights.times_s, sights.short_s)


def _between(path: Path, seen_s: tuple[float, ...], end_s: float) -> Iterator[Picture]:
    """Frames of a short clip between those seen, the middle of the clip first."""
    kept: list[Picture] = []
    for picture in pictures(path, end_s=end_s):
        near = min(abs(picture.time_s - t) for t in [*seen_s, *(p.time_s for p in kept)])
        if near >= BETWEEN_S - 1e-3 and len(kept) < MOST_BETWEEN:
            kept.append(picture)
    middle = (kept[0].time_s + kept[-1].time_s) / 2 if kept else 0.0
    yield from sorted(kept, key=lambda p: abs(p.time_s - middle))


def _at(path: Path, time_s: float) -> Picture | None:
    """The key frame at a time, in full size."""
    return next((p for p in pictures(path, start_s=time_s, keyframes_only=True) if abs(p.time_s - time_s) < 0.02), None)

"""Which frames of a clip to search for a board: a few that differ, instead of all.

Searching a frame costs a hundred times what decoding a small key frame costs, and most frames of a
fishing day show the same water as the frame before. A board shown to the camera changes the whole
picture. So all key frames are seen as thumbnails, and the search goes to the one most like the
clip's middle frame (a clip that shows the board throughout), then to those that differ most from
all searched so far (farthest-point order). Short clips, which are filmed for one thing, are searched
whole, and between their key frames too: a hand, a glint or a blur hides the print in one frame only.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.media.decode import Picture, pictures

LOOK_EVERY_S = 0.9  # key frames closer together than this are skipped
MOST_SEARCHED = 4
SHORT_S, BETWEEN_S, MOST_BETWEEN = 8.0, 0.4, 6
THUMBNAIL = (24, 14)
ALIKE = 6.0  # mean difference of grey levels under which two thumbnails show the same scene


@dataclass(frozen=True, slots=True, eq=False)
class Glimpse:
    """A key frame as a thumbnail: when it is, and its (h * w * 3) blurred colours, 0..255."""

    time_s: float
    colours: NDArray[np.float32]


def frames_to_search(path: Path, most: int = MOST_SEARCHED) -> Iterator[Picture]:
    """Frames worth searching for a board, likeliest first: at most ``most`` key frames, then a few between in a short clip.

    Raises UnreadableError when the clip cannot be opened.
    """
    glimpses = list(_glimpses(path))
    for i in search_order(glimpses, most):
        picture = _at(path, glimpses[i].time_s)
        if picture is not None:
            yield picture
    if glimpses and glimpses[-1].time_s < SHORT_S:
        yield from _between(path, [g.time_s for g in glimpses])


def _between(path: Path, seen_s: list[float]) -> Iterator[Picture]:
    """Frames of a short clip between those seen, the middle of the clip first."""
    kept: list[Picture] = []
    for picture in pictures(path, end_s=SHORT_S):
        near = min(abs(picture.time_s - t) for t in [*seen_s, *(p.time_s for p in kept)])
        if near >= BETWEEN_S - 1e-3 and len(kept) < MOST_BETWEEN:
            kept.append(picture)
    middle = (kept[0].time_s + kept[-1].time_s) / 2 if kept else 0.0
    yield from sorted(kept, key=lambda p: abs(p.time_s - middle))


def search_order(glimpses: list[Glimpse], most: int) -> list[int]:
    """Indices in the order of the search: all in time order when there are few, else those that differ."""
    if len(glimpses) <= most:
        return list(range(len(glimpses)))
    seen = np.stack([g.colours for g in glimpses])
    chosen = [int(np.argmin(_apart(seen, np.median(seen, axis=0))))]
    nearest = _apart(seen, seen[chosen[0]])
    while len(chosen) < most and nearest.max() > ALIKE:
        chosen.append(int(np.argmax(nearest)))
        nearest = np.minimum(nearest, _apart(seen, seen[chosen[-1]]))
    return chosen


def _apart(many: NDArray[np.float32], one: NDArray[np.float32]) -> NDArray[np.float32]:
    return np.asarray(np.abs(many - one).mean(axis=1), np.float32)


def _glimpses(path: Path) -> Iterator[Glimpse]:
    last = -np.inf
    for picture in pictures(path, keyframes_only=True, max_side_px=96):
        if picture.time_s - last >= LOOK_EVERY_S:
            last = picture.time_s
            small = cv2.resize(picture.pixels, THUMBNAIL, interpolation=cv2.INTER_AREA)
            yield Glimpse(picture.time_s, small.astype(np.float32).ravel())


def _at(path: Path, time_s: float) -> Picture | None:
    """The key frame at a time, in full size."""
    return next((p for p in pictures(path, start_s=time_s, keyframes_only=True) if abs(p.time_s - time_s) < 0.02), None)

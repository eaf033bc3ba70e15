"""Frames of one scene: before the fish is laid, with the fish, and after it is gone are not to be mixed.

The board itself is the watch: its rectified picture changes all at once over a fish's breadth when something is laid
on it or taken off, and hardly at all by light, noise and small misfits.
"""

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.posed import PosedFrame
from reelnotes.measure.rectify import warp
from reelnotes.measure.stack import greatest
from reelnotes.records.boards import Board

_CHANGED = 0.012  # share of the board that changes when a small fish comes or goes
_LEVELS = 22.0  # grey levels that a pixel must differ by


def split_scenes(frames: Sequence[PosedFrame], board: Board) -> list[list[PosedFrame]]:
    """Frames in time order -> runs between which the board's picture changes; the longest run first.

    A frame unlike both its neighbours (something in passing) is left out when the others agree across it.
    """
    if len(frames) < 2:
        return [list(frames)]
    raster = Raster.over(board, min(0.5, 400.0 / board.length_mm))
    views = [_view(frame, raster) for frame in frames]
    scenes: list[list[int]] = []
    for i in range(len(frames)):
        home = next((scene for scene in reversed(scenes) if _same(views[scene[-1]], views[i])), None)
        if home is None:
            scenes.append([i])
        else:
            home.append(i)
    scenes.sort(key=lambda scene: -len(scene))
    return [[frames[i] for i in scene] for scene in scenes]


def _view(frame: PosedFrame, raster: Raster) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    picture, seen = warp(frame.image, frame.lens, frame.R, frame.t, raster)
    smooth = cv2.GaussianBlur(picture.astype(np.float32), (0, 0), 1.2).astype(np.float32)
    return smooth, cv2.erode(seen.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0


def _same(a: tuple[NDArray[np.float32], NDArray[np.bool_]], b: tuple[NDArray[np.float32], NDArray[np.bool_]]) -> bool:
    both = a[1] & b[1]
    if both.sum() < 100:
        return False
    # Exposure drifts: the second picture is brought to the first's level, channel by channel, by the median ratio.
    ratio = cv2.split((a[0] + 4.0) / (b[0] + 4.0))
    gain = np.array([np.median(channel[both]) for channel in ratio])
    off = greatest(np.abs(a[0] - b[0] * gain))
    changed = cv2.morphologyEx(((off > _LEVELS) & both).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    return float(changed.sum() / both.sum()) < _CHANGED

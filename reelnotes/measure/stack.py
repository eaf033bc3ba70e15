"""Many frames of one board, laid on each other: noise, drops of glint and blur go down, the fish stays.

Frames are drawn on one raster of the board's plane and combined by a median, so that what moves
(a hand in passing, a glint) or is hidden in some of them leaves no trace.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.posed import PosedFrame
from reelnotes.measure.rectify import warp

Picture = NDArray[np.float32]
Mask = NDArray[np.bool_]


def summed(picture: Picture | NDArray[np.uint8]) -> NDArray[np.float32]:
    """(h, w, 3) -> (h, w) the channels' sum; numpy's own sum over an axis of three is ten times as dear."""
    floats = picture.astype(np.float32, copy=False)
    return cv2.transform(floats, np.ones((1, 3), np.float32)).astype(np.float32, copy=False)


def least(picture: Picture) -> NDArray[np.float32]:
    """(h, w, 3) -> (h, w) the least of a pixel's channels, as cheaply as :func:`summed`."""
    b, g, r = cv2.split(picture)
    return cv2.min(cv2.min(b, g), r).astype(np.float32, copy=False)


def greatest(picture: Picture) -> NDArray[np.float32]:
    """(h, w, 3) -> (h, w) the greatest of a pixel's channels."""
    b, g, r = cv2.split(picture)
    return cv2.max(cv2.max(b, g), r).astype(np.float32, copy=False)


@dataclass(frozen=True, eq=False)
class Layer:
    """One frame drawn on a raster: (h, w, 3) BGR, and (h, w) where it reaches."""

    image: NDArray[np.uint8]
    seen: Mask


@dataclass(frozen=True, eq=False)
class Stack:
    """Several frames as one picture of the board's plane.

    image      (h, w, 3) float32 BGR, 0..255
    seen       (h, w) True where at least half of the frames reach
    layers     the frames that went in
    camera_mm  (3,) the mean camera centre in board axes
    """

    image: Picture
    seen: Mask
    layers: tuple[Layer, ...]
    raster: Raster
    camera_mm: NDArray[np.float64]

    @cached_property
    def noise(self) -> NDArray[np.float32]:
        """(h, w) how far single frames scatter about the picture (standard deviation of a channel)."""
        middle = summed(median_picture([layer.image for layer in self.layers])) / 3.0
        apart = [cv2.absdiff(summed(layer.image) / 3.0, middle).astype(np.float32, copy=False) for layer in self.layers]
        return 1.4826 * median_picture(apart)


def stack_frames(frames: Sequence[PosedFrame], raster: Raster) -> Stack:
    """Draw the frames on ``raster`` and take the median of each pixel; ``frames`` must not be empty."""
    layers = tuple(Layer(*warp(frame.image, frame.lens, frame.R, frame.t, raster)) for frame in frames)
    camera = np.mean([frame.camera_mm for frame in frames], axis=0)
    return Stack(*_median_of(layers), layers, raster, camera)


def part_of(stack: Stack, first: int, every: int) -> tuple[Picture, Mask]:
    """Image and what is seen, as a :class:`Stack` has them, from every so many of its frames."""
    return _median_of(stack.layers[first::every])


def _median_of(layers: Sequence[Layer]) -> tuple[Picture, Mask]:
    reach = np.sum([layer.seen for layer in layers], axis=0, dtype=np.uint16)
    return median_picture([layer.image for layer in layers]), np.asarray(2 * reach >= len(layers))


def median_picture(layers: Sequence[NDArray[np.uint8] | NDArray[np.float32]]) -> NDArray[np.float32]:
    """The median of each element over pictures of one shape; of an even number, the mean of the middle two.

    Whole pictures are sorted, the greatest first, until the middle is reached: lesser and greater of two pictures cost next
    to nothing, whereas a median asked for pixel by pixel sorts a few numbers a million times (fifty times the cost).
    """
    rest = list(layers)
    middle: list[NDArray[np.uint8] | NDArray[np.float32]] = []
    for _ in range(len(layers) // 2 + 1):
        for i in range(len(rest) - 1):
            rest[i], rest[i + 1] = cv2.min(rest[i], rest[i + 1]), cv2.max(rest[i], rest[i + 1])  # type: ignore[assignment]
        middle.append(rest.pop())
    if len(layers) % 2:
        return middle[-1].astype(np.float32)
    return cv2.addWeighted(middle[-1], 0.5, middle[-2], 0.5, 0.0, dtype=cv2.CV_32F).astype(np.float32, copy=False)


def spread_pick(frames: Sequence[PosedFrame], most: int) -> list[PosedFrame]:
    """At most ``most`` of the frames, the sharpest of each of as many equal stretches of the clip."""
    if len(frames) <= most:
        return list(frames)
    stretches = np.array_split(np.arange(len(frames)), most)
    return [frames[max(part, key=lambda i: frames[i].sharpness)] for part in stretches]

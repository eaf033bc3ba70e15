"""The board's plane square on: every frame of a clip on the same raster, so that frames can be stacked."""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.posed import PosedFrame
from reelnotes.records.boards import Board

_STEP_PX = 8  # the map is computed at every 8th pixel and is straight between: wrong by less than 0.02 px
_COARSER = 1.2  # times fewer pixels to a millimetre, from which fine print would alias if it were not smoothed away first


@dataclass(frozen=True, eq=False)
class Rectified:
    """A frame on a raster of the board's plane.

    image   (h, w, 3) BGR uint8; black where the frame does not reach
    seen    (h, w) True where the frame reaches
    """

    image: NDArray[np.uint8]
    seen: NDArray[np.bool_]
    raster: Raster


def rectify(frame: PosedFrame, board: Board, px_per_mm: float, margin_mm: float = 0.0, z_mm: float = 0.0) -> Rectified:
    """The frame as if seen square on, at the height z_mm above the surface, with ``margin_mm`` of deck around the board."""
    raster = Raster.over(board, px_per_mm, margin_mm, z_mm)
    return Rectified(*warp(frame.image, frame.lens, frame.R, frame.t, raster), raster)


def warp(
    image: NDArray[np.uint8], lens: LensModel, R: Floats, t: Floats, raster: Raster
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """Draw a picture on the raster: (pixels, where the picture reaches)."""
    at = raster_map(lens, R, t, raster)
    height, width = image.shape[:2]
    drawn = cv2.remap(image, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)  # type: ignore[call-overload]
    x, y = at[..., 0], at[..., 1]
    seen = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    return drawn.astype(np.uint8, copy=False), seen


def redrawn(values: NDArray[np.float32], source: Raster, target: Raster, *, border_goes_on: bool = False) -> NDArray[np.float32]:
    """A picture (h, w[, n]) on one raster drawn on another of the same height, smoothed where that one is coarser.

    border_goes_on  beyond the source all is as at its border; False: 0
    """
    ratio = source.px_per_mm / target.px_per_mm
    if ratio > _COARSER:
        values = cv2.GaussianBlur(values, (0, 0), 0.4 * ratio).astype(np.float32, copy=False)
    # Rasters lie along the board, so that one is a stretch and a shift of the other.
    to_source = np.array([[ratio, 0.0, float(source.column(target.x0_mm))], [0.0, ratio, float(source.row(target.y0_mm))]])
    border = cv2.BORDER_REPLICATE if border_goes_on else cv2.BORDER_CONSTANT
    size, how = (target.width_px, target.height_px), cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    return cv2.warpAffine(values, to_source, size, flags=how, borderMode=border).astype(np.float32, copy=False)


def raster_map(lens: LensModel, R: Floats, t: Floats, raster: Raster) -> NDArray[np.float32]:
    """(h, w, 2) for each raster pixel the frame pixel (x, y) that shows it; far outside where the lens cannot see."""
    # Nodes in the middle of blocks of pixels, one block beyond the raster's edges: so a picture is enlarged by resizing it.
    columns, rows = -(-raster.width_px // _STEP_PX) + 2, -(-raster.height_px // _STEP_PX) + 2
    x = raster.x_mm((np.arange(columns) - 0.5) * _STEP_PX - 0.5)
    y = raster.y_mm((np.arange(rows) - 0.5) * _STEP_PX - 0.5)
    points = x[None, :, None] * R[:, 0] + y[:, None, None] * R[:, 1] + (t + raster.z_mm * R[:, 2])
    px = lens.project(points)
    px = np.where(np.isfinite(px), px, -1e5).astype(np.float32)
    fine = cv2.resize(px, (columns * _STEP_PX, rows * _STEP_PX), interpolation=cv2.INTER_LINEAR)
    inside = fine[_STEP_PX : _STEP_PX + raster.height_px, _STEP_PX : _STEP_PX + raster.width_px]
    return np.ascontiguousarray(inside, np.float32)

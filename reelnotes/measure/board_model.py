"""A board ready to be looked for: its empty picture as rasters of any scale, in the grey that shows its print best."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelnotes.measure.lens_model import Floats
from reelnotes.records.boards import Board, Marker
from reelnotes.records.problems import Refusal

_LEAST_SHOWN = 0.5  # of the board: its picture is to show all of it, and a slip in its scale shows here


@dataclass(frozen=True, slots=True)
class Raster:
    """A picture of the board's plane, square on: pixel (u, v) shows x = x0_mm + u / px_per_mm,
    y = y0_mm - v / px_per_mm, at height z_mm above the surface."""

    px_per_mm: float
    x0_mm: float
    y0_mm: float
    width_px: int
    height_px: int
    z_mm: float = 0.0

    @classmethod
    def over(cls, board: Board, px_per_mm: float, margin_mm: float = 0.0, z_mm: float = 0.0) -> "Raster":
        """The raster that holds the board and ``margin_mm`` around it."""
        width = round((board.length_mm + 2 * margin_mm) * px_per_mm)
        height = round((board.width_mm + 2 * margin_mm) * px_per_mm)
        half = 0.5 / px_per_mm
        return cls(px_per_mm, half - margin_mm, board.width_mm + margin_mm - half, width, height, z_mm)

    def to_mm(self, uv: Floats) -> Floats:
        """(..., 2) raster pixels -> (..., 2) board x, y."""
        uv = np.asarray(uv)
        return np.stack([self.x_mm(uv[..., 0]), self.y_mm(uv[..., 1])], axis=-1)

    def to_px(self, mm: Floats) -> Floats:
        """(..., 2) board x, y -> (..., 2) raster pixels."""
        mm = np.asarray(mm)
        return np.stack([self.column(mm[..., 0]), self.row(mm[..., 1])], axis=-1)

    def x_mm(self, column: ArrayLike) -> Floats:
        """Where along the board columns lie."""
        return self.x0_mm + np.asarray(column, np.float64) / self.px_per_mm

    def y_mm(self, row: ArrayLike) -> Floats:
        """Where across the board rows lie."""
        return self.y0_mm - np.asarray(row, np.float64) / self.px_per_mm

    def column(self, x_mm: ArrayLike) -> Floats:
        """The columns, not whole, of places along the board."""
        return (np.asarray(x_mm, np.float64) - self.x0_mm) * self.px_per_mm

    def row(self, y_mm: ArrayLike) -> Floats:
        """The rows, not whole, of places across the board."""
        return (self.y0_mm - np.asarray(y_mm, np.float64)) * self.px_per_mm


@dataclass(frozen=True, eq=False)
class BoardModel:
    """A board and its picture (BGR). ``ink``: weights of B, G, R that turn a picture into the grey in which the
    print's edges are strongest (yellow on cream is all but invisible in plain grey)."""

    board: Board
    picture: NDArray[np.uint8]
    px_per_mm: float
    zero_px: tuple[float, float]
    ink: Floats

    @property
    def markers(self) -> tuple[Marker, ...]:
        """The board's fiducial squares."""
        return self.board.markers

    @property
    def corners_mm(self) -> Floats:
        """(4, 2) the board's corners, from its zero along its length and around."""
        length, width = self.board.length_mm, self.board.width_mm
        return np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])

    @cached_property
    def _levels(self) -> list[NDArray[np.uint8]]:
        """The picture halved again and again, so that a small raster is drawn from a picture of like scale."""
        levels: list[NDArray[np.uint8]] = [self.picture]
        while min(levels[-1].shape[:2]) > 64:
            # The size is given, not the factor: by factor OpenCV drops an odd last pixel instead of shrinking it in.
            half = (levels[-1].shape[1] // 2, levels[-1].shape[0] // 2)
            levels.append(cv2.resize(levels[-1], half, interpolation=cv2.INTER_AREA).astype(np.uint8))
        return levels

    def picture_on(self, raster: Raster) -> NDArray[np.uint8]:
        """The empty board's picture on a raster, (h, w, 3) BGR; beyond the picture its border goes on."""
        ratio = self.px_per_mm / raster.px_per_mm
        level = int(np.clip(np.floor(np.log2(max(ratio, 1.0)) + 0.2), 0, len(self._levels) - 1))
        source = self._levels[level]
        fx, fy = source.shape[1] / self.picture.shape[1], source.shape[0] / self.picture.shape[0]
        # Raster pixel -> board -> picture pixel -> pixel of the level (corners of the picture stay corners).
        ax, bx = self.px_per_mm / raster.px_per_mm, self.zero_px[0] + raster.x0_mm * self.px_per_mm
        ay, by = self.px_per_mm / raster.px_per_mm, self.zero_px[1] - raster.y0_mm * self.px_per_mm
        warp = np.array([[ax * fx, 0.0, (bx + 0.5) * fx - 0.5], [0.0, ay * fy, (by + 0.5) * fy - 0.5]])
        left = self.px_per_mm * fx / raster.px_per_mm
        if left > 1.05:  # what is left of the shrinking is smoothed away first, or fine ticks would alias
            sigma = 0.5 * np.sqrt(left * left - 1.0)
            source = cv2.GaussianBlur(source, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE).astype(np.uint8)
        return cv2.warpAffine(source, warp, (raster.width_px, raster.height_px), borderMode=cv2.BORDER_REPLICATE,
                              flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP).astype(np.uint8)  # fmt: skip

    def grey(self, image: NDArray[np.uint8]) -> NDArray[np.float32]:
        """A BGR picture in the board's own grey, float32, about 0..255."""
        return cv2.transform(image.astype(np.float32, copy=False), self.ink.reshape(1, 3).astype(np.float32)).astype(np.float32)

    def grey_bytes(self, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """The same in whole levels."""
        return np.clip(self.grey(image), 0, 255).astype(np.uint8)

    def on_board(self, raster: Raster) -> NDArray[np.bool_]:
        """(h, w) True where a raster pixel lies on the board's surface."""
        x, y = raster.x_mm(np.arange(raster.width_px)), raster.y_mm(np.arange(raster.height_px))
        inside_x, inside_y = (x >= 0) & (x <= self.board.length_mm), (y >= 0) & (y <= self.board.width_mm)
        return inside_y[:, None] & inside_x[None, :]


def load_board(board: Board) -> BoardModel | Refusal:
    """Read the board's picture; a Refusal in one sentence when there is none or it cannot be read.

    A picture without a scale is taken as showing exactly the board, edge to edge; one whose scale puts most of the board
    outside it is refused.
    """
    if board.picture is None:
        return Refusal(f"the board '{board.name}' has no picture")
    picture = _read(board.picture)
    if picture is None:
        return Refusal(f"the picture of the board '{board.name}' cannot be read ({board.picture.name})")
    scale = board.px_per_mm or picture.shape[1] / board.length_mm
    zero = board.zero_px or (-0.5, board.width_mm * scale - 0.5)
    shown = _share_shown(board, scale, zero, picture.shape[1], picture.shape[0])
    if shown < _LEAST_SHOWN:
        return Refusal(f"by its scale the picture of the board '{board.name}' shows {100 * shown:.0f} % of the board only")
    return BoardModel(board, picture, scale, zero, _ink(picture, board, scale, zero))


def _share_shown(board: Board, scale: float, zero: tuple[float, float], width_px: int, height_px: int) -> float:
    """Share of the board that lies inside its picture, 0..1."""
    across = min(zero[0] + board.length_mm * scale, width_px) - max(zero[0], 0.0)
    down = min(zero[1], height_px) - max(zero[1] - board.width_mm * scale, 0.0)
    return max(across, 0.0) * max(down, 0.0) / (board.length_mm * board.width_mm * scale * scale)


def _read(path: Path) -> NDArray[np.uint8] | None:
    try:
        data = np.fromfile(path, np.uint8)
        image = cv2.imdecode(data, cv2.IMREAD_COLOR) if len(data) else None
    except (OSError, ValueError, cv2.error):  # cv2.error: a picture of more than 2^30 pixels, say
        return None
    return None if image is None else image.astype(np.uint8)


def _ink(picture: NDArray[np.uint8], board: Board, scale: float, zero: tuple[float, float]) -> Floats:
    """The colour direction along which the print's edges are strongest: the first principal axis of the colour
    gradients, kept halfway to plain grey, because cameras carry colour at half the resolution and more noise."""
    whole_mm = cv2.resize(picture, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA).astype(np.float32)
    x, y = int(max(zero[0] / scale, 0)), int(max(zero[1] / scale - board.width_mm, 0))
    area = whole_mm[y : y + int(board.width_mm), x : x + int(board.length_mm)]
    luma = np.array([0.114, 0.587, 0.299])
    if min(area.shape[:2]) < 8:
        return luma
    edges = np.concatenate([np.diff(area, axis=0).reshape(-1, 3), np.diff(area, axis=1).reshape(-1, 3)]).astype(np.float64)
    axis = np.linalg.eigh(edges.T @ edges)[1][:, -1]
    axis = axis * np.sign(axis.sum())
    mixed = 0.5 * np.clip(axis, 0, None) / max(float(np.clip(axis, 0, None).sum()), 1e-9) + 0.5 * luma
    return np.asarray(mixed / mixed.sum(), np.float64)

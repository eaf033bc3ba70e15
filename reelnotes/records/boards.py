"""Reference boards and lenses, as their files describe them.

Board axes: the origin is the foot of the stop's face at the near edge; x runs along the board away
from the stop, y across it away from the near edge, z up toward the viewer; millimetres.
Pixel (0, 0) is the centre of the top-left pixel.
"""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Marker:
    """A fiducial square: OpenCV dictionary name without the DICT_ prefix, id, and its corners in board
    millimetres as printed: top-left, top-right, bottom-right, bottom-left."""

    dictionary: str
    id: int
    corners_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class Board:
    """A reference board. ``picture`` is the empty board seen square on, or None.

    px_per_mm and zero_px: scale of the picture and the pixel of x = 0, y = 0 (y runs up in it).
    """

    name: str
    length_mm: float
    width_mm: float
    picture: Path | None = None
    px_per_mm: float | None = None
    zero_px: tuple[float, float] | None = None
    markers: tuple[Marker, ...] = ()
    source: str = ""


SAME_SHAPE = 0.02  # by which height to width may differ: makers round sizes to whole blocks of 8 or 16 pixels


@dataclass(frozen=True, slots=True)
class Lens:
    """A calibrated lens in OpenCV's terms. model "fisheye" (k1..k4) or "pinhole" (k1 k2 p1 p2 k3).

    camera_matrix is row-major 3 x 3, for pictures of width_px x height_px as shown (after rotation).
    rms_px is the calibration's own reprojection error, focal_sigma the relative standard uncertainty of its
    focal length; None when not told.
    """

    name: str
    model: str
    width_px: int
    height_px: int
    camera_matrix: tuple[tuple[float, float, float], ...]
    distortion: tuple[float, ...]
    rms_px: float | None = None
    source: str = ""
    focal_sigma: float | None = None

    def fits(self, width_px: int, height_px: int) -> bool:
        """Whether the calibration can be scaled to pictures of that size as shown: they have its own shape, within 2 %.

        One of another shape is a crop of it, or a mode of its own: of which part, nothing tells.
        """
        return abs(height_px * self.width_px / (self.height_px * width_px) - 1.0) <= SAME_SHAPE

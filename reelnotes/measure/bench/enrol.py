"""An own board from one oblique photo: its picture seen square on, and its descriptor.

What is known: the board is a flat rectangle, so its four corners in the photo give its plane up to
two scales. Its rule gives the scale along the board (``scale_along``). The scale across comes from the rectangle's own
perspective: with square pixels and the lens's axis in the middle of the photo, right angles fix the
ratio of the sides (Zhang & He, "Whiteboard scanning and image enhancement", 2006); or it is given.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.bench.quad import find_outline
from reelnotes.measure.bench.scale_along import CORNERS, Graduation, pixel_text, scale_along
from reelnotes.records.boards import Board
from reelnotes.records.problems import Refusal

Points = NDArray[Any]  # floats; OpenCV's own stubs do not say so
PICTURE_PX_PER_MM = 4.0
SHORTEST_MM, LONGEST_MM, NARROWEST_MM, WIDEST_MM = 150.0, 3000.0, 20.0, 1000.0  # what anglers measure fish on
UNIT_SQUARE = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
USUAL_FOCAL_SHARE = 0.9  # focal length of a camera in longer sides of its picture, where nothing tells it
USUAL_FOCAL_SHARES = (0.5, 1.2)  # from an action camera's narrow setting to a telephone's second lens
WIDTH_SLACK = 1.4  # a photo is cropped or taken from afar, a corner clicked roughly; mistaken units and ticks err by twice
SLIP_SHARE = 0.0005  # of the photo's longer side, by which a corner may be off: two pixels of twelve million
WORST_WIDTH_SHARE = 0.05
WORST_BOW = 0.004  # of the long side's length; the scale within the board errs by about as much
FEWEST_SIDE_PX = 20.0
EDGE_SHARE = 0.004  # of the photo's longer side: an outline that comes as near to the photo's edge is cut off by it
LEAST_PX_PER_MM = 0.8  # of a photo: less does not show a rule


@dataclass(frozen=True, slots=True, eq=False)
class Enrolled:
    """The board, its picture (BGR, y up, x = 0 at the stop), and how well the graduations agree.

    rms_mm  root mean square of the graduations off the fitted line; None with just two, which always agree
    words   what was assumed, for the user
    """

    board: Board
    picture: NDArray[np.uint8]
    rms_mm: float | None
    words: str


def enrol_board(
    photo: NDArray[np.uint8], name: str, picture: Path, *,
    graduations: Sequence[Graduation] = (), tick_mm: float | None = None,
    corners_px: Sequence[tuple[float, float]] | None = None, width_mm: float | None = None,
) -> Enrolled | Refusal:  # fmt: skip
    """Make a board from a photo (h, w, 3) BGR.

    graduations  two or more; or ``tick_mm``, the spacing of the rule's smallest even ticks, with one or none (beside more it is
                 compared with them)
    corners_px   the board's corners: stop end near edge, far end near edge, far end far edge, stop end
                 far edge (near: the edge with the rule); None looks for them, and takes the stop to be at the left
    width_mm     the board's width where it is known
    """
    fault = outside(photo, graduations, corners_px or ()) or (misplaced(corners_px) if corners_px is not None else "")
    if fault:
        return Refusal(fault)
    quad = _outline(photo) if corners_px is None else np.array(corners_px, np.float64)
    if isinstance(quad, Refusal):
        return quad
    unit = cv2.getPerspectiveTransform(quad.astype(np.float32), UNIT_SQUARE)
    scale = scale_along(photo, unit, graduations, tick_mm, ends_known=corners_px is not None)
    if isinstance(scale, Refusal):
        return scale
    start_mm, length_mm = scale.start_mm, scale.length_mm
    across_mm = (
        _width_given(quad, length_mm, photo.shape[:2], width_mm) if width_mm else _width_told(quad, length_mm, photo.shape[:2])
    )
    if isinstance(across_mm, Refusal):
        return across_mm
    fault = _unlikely(start_mm + length_mm, across_mm, float(np.linalg.norm(quad[1] - quad[0])) / length_mm)
    if fault:
        return Refusal(fault)
    seen = f"{scale.words}; {'width as given' if width_mm else f'width {across_mm:.0f} mm from the perspective'}"
    square, zero = _square_on(photo, unit, start_mm, length_mm, across_mm)
    board = Board(name, start_mm + length_mm, across_mm, picture, PICTURE_PX_PER_MM, zero, source=seen)
    return Enrolled(board, square, scale.rms_mm, seen)


def _outline(photo: NDArray[np.uint8]) -> Points | Refusal:
    found = find_outline(photo)
    if found is None:
        return Refusal(f"the board's outline was not found in the photo; {CORNERS}, or take it on a plain ground")
    height, width = photo.shape[:2]
    margin = EDGE_SHARE * max(height, width)
    if (found.corners < margin).any() or (found.corners > np.array([width, height]) - 1 - margin).any():
        return Refusal(f"the board seems to run out of the photo; take it with all of the board in sight, or {CORNERS}")
    if found.bow > WORST_BOW:
        told = f"the board's long edges bow by {100 * found.bow:.1f} % of their length in the photo, as a wide lens bends them"
        advice = "take it with an ordinary lens, or from further off with the board in the middle"
        return Refusal(f"{told}; {advice}; or, if they do not, {CORNERS}")
    return found.corners


def _unlikely(length_mm: float, width_mm: float, px_per_mm: float) -> str:
    """Why a board of that size, in a photo that shows its millimetre so large, is none to make; "" when it is one."""
    if not (SHORTEST_MM <= length_mm <= LONGEST_MM and NARROWEST_MM <= width_mm <= WIDEST_MM):
        return f"that would make a board of {length_mm:.0f} by {width_mm:.0f} mm; are the lengths and their units right?"
    if px_per_mm < LEAST_PX_PER_MM:
        return f"the photo shows a millimetre of the board by {px_per_mm:.1f} pixels only; take it from nearer, or larger"
    return ""


def outside(photo: NDArray[np.uint8], graduations: Sequence[Graduation], corners: Sequence[tuple[float, float]]) -> str:
    """The first point that is not in the photo, in a sentence; "" when all are."""
    height, width = photo.shape[:2]
    marks = [("graduation", g.x_px, g.y_px) for g in graduations] + [("corner", x, y) for x, y in corners]
    for what, x, y in marks:
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            return f"the {what} at {pixel_text(x, y)} lies outside the photo, which is {width} by {height} pixels"
    return ""


def misplaced(corners: Sequence[tuple[float, float]]) -> str:
    """Why four corners are not those of a board seen from above, in their order; "" when they are."""
    order = "give them round the board: stop end by the rule, far end by the rule, far end, stop end"
    quad = np.array(corners, np.float64)
    sides = np.roll(quad, -1, 0) - quad
    turns = sides[:, 0] * np.roll(sides, -1, 0)[:, 1] - sides[:, 1] * np.roll(sides, -1, 0)[:, 0]
    lengths = np.linalg.norm(sides, axis=1)
    if lengths.min() < FEWEST_SIDE_PX or np.any(np.abs(turns) < 0.02 * lengths * np.roll(lengths, -1)):
        return f"the corners span no board: two of them nearly meet, or three lie on a line; {order}"
    if not (np.all(turns > 0) or np.all(turns < 0)):
        return f"the corners cross, or one lies inside the other three; {order}"
    if turns[0] > 0:  # picture y runs down: seen from above, the order turns against the clock
        other = "a board whose stop is at the right when its rule lies toward you begins at its other long edge"
        return f"the corners run the wrong way round, so the board would be mirrored; {order}; {other}"
    return ""


def _width_given(quad: Points, length_mm: float, shape: tuple[int, ...], width_mm: float) -> float | Refusal:
    """The given width, if any camera could have seen a board of that length and width so."""
    seen = [_width_mm(quad, length_mm, shape, share)[0] for share in (None, *USUAL_FOCAL_SHARES)]
    if min(seen) / WIDTH_SLACK <= width_mm <= max(seen) * WIDTH_SLACK:
        return width_mm
    told = f"a length of {length_mm:.0f} mm and a width of {width_mm:.0f} mm do not go together in this photo"
    slip = "is a graduation or its unit mistaken? of --tick: longer ticks were taken for the smallest, so give two with --at"
    return Refusal(f"{told}; {slip}")


def _width_told(quad: Points, length_mm: float, shape: tuple[int, ...]) -> float | Refusal:
    """The board's width (mm) from its perspective; refused where a slip of the corners would change it much.

    A board that lies across the photo without a turn tells no focal length, and so no width, once the camera looks at
    it aslant: then the whole range of ordinary cameras counts as doubt.
    """
    width, focal_known = _width_mm(quad, length_mm, shape)
    doubts = [] if focal_known else [_width_mm(quad, length_mm, shape, share)[0] / width - 1.0 for share in USUAL_FOCAL_SHARES]
    slip = SLIP_SHARE * max(shape)
    off = np.zeros_like(quad)
    for place in np.ndindex(quad.shape):
        off[place] = slip
        doubts.append(max(abs(_width_mm(quad + sign * off, length_mm, shape)[0] / width - 1.0) for sign in (1, -1)))
        off[place] = 0.0
    doubt = float(np.linalg.norm(doubts))
    if doubt > WORST_WIDTH_SHARE:
        told = f"the photo tells the board's width only to some {100 * min(doubt, 1.0):.0f} %"
        return Refusal(f"{told}; give it with --width, or take the photo with the board turned by some 20 degrees")
    return width


def _width_mm(quad: Points, length_mm: float, shape: tuple[int, ...], focal_share: float | None = None) -> tuple[float, bool]:
    """(width of the rectangle, whether its perspective told the focal length).

    focal_share: take this focal length, in longer sides of the photo, instead.
    """
    height, width = shape[:2]
    from_unit = cv2.getPerspectiveTransform(UNIT_SQUARE, quad.astype(np.float32))
    centred = np.array([[1, 0, -(width - 1) / 2], [0, 1, -(height - 1) / 2], [0, 0, 1.0]]) @ from_unit
    along, across = centred[:, 0], centred[:, 1]
    plausible = 0.4 * max(shape), 3.0 * max(shape)  # focal lengths of ordinary cameras, in pixels
    focal, told = (focal_share or USUAL_FOCAL_SHARE) * max(shape), False
    if focal_share is None and abs(along[2] * across[2]) > 1e-12:
        squared = -(along[0] * across[0] + along[1] * across[1]) / (along[2] * across[2])
        if squared > 0 and plausible[0] < squared**0.5 < plausible[1]:
            focal, told = squared**0.5, True
    undo = np.array([1 / focal, 1 / focal, 1.0])
    return float(length_mm * np.linalg.norm(undo * across) / np.linalg.norm(undo * along)), told


def _square_on(
    photo: NDArray[np.uint8], unit: Points, start_mm: float, length_mm: float, width_mm: float
) -> tuple[NDArray[np.uint8], tuple[float, float]]:
    """(the board seen square on, the pixel of x = 0, y = 0)."""
    s = PICTURE_PX_PER_MM
    size = (round(length_mm * s), round(width_mm * s))
    # Pixel centres: the picture's left edge, x = start, lies at -0.5.
    to_picture = np.array([[length_mm * s, 0, -0.5], [0, -width_mm * s, width_mm * s - 0.5], [0, 0, 1.0]])
    square = cv2.warpPerspective(photo, to_picture @ unit, size, flags=cv2.INTER_CUBIC)
    return np.asarray(square, np.uint8), (-start_mm * s - 0.5, width_mm * s - 0.5)

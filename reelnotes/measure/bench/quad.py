"""The outline of a board in a photo: the largest good quadrilateral that stands out from its ground."""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[Any]  # OpenCV's own stubs do not say the element type

WORK_SIDE_PX = 1000
LEAST_SHARE = 0.04  # of the photo's area
LEAST_FILL = 0.9  # of the quadrilateral that its contour must fill


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A board's corners (4, 2) in px, and by what share of its length the most bent long side bows."""

    corners: NDArray[np.float64]
    bow: float


def find_quad(photo: NDArray[np.uint8]) -> NDArray[np.float64] | None:
    """The corners alone of :func:`find_outline`."""
    found = find_outline(photo)
    return None if found is None else found.corners


def find_outline(photo: NDArray[np.uint8]) -> Outline | None:
    """Corners (4, 2) in px: the left end's lower corner, the right end's lower, right upper, left upper; or None.

    The board is taken to lie with its long side across the photo, rule toward the viewer, stop at the left.
    """
    scale = min(1.0, WORK_SIDE_PX / max(photo.shape[:2]))
    small = cv2.resize(photo, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    best: tuple[float, NDArray[np.float64], float] | None = None
    for mask in _masks(small):
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for contour in contours:
            found = _as_quad(contour, small.shape[0] * small.shape[1])
            if found is not None and (best is None or found[0] > best[0]):
                best = found
    return None if best is None else Outline(_in_order((best[1] + 0.5) / scale - 0.5), best[2])


def _masks(small: Picture) -> list[Picture]:
    """The photo split in board and ground in several ways: by each channel of Lab, light on dark and dark on light,
    and by distance from the colour of the photo's border."""
    lab = cv2.GaussianBlur(cv2.cvtColor(small, cv2.COLOR_BGR2LAB), (0, 0), 2.0)
    border = np.concatenate([edge.reshape(-1, 3) for edge in (lab[:8], lab[-8:], lab[:, :8], lab[:, -8:])])
    apart = np.linalg.norm(lab.astype(np.float32) - np.median(border, axis=0).astype(np.float32), axis=2)
    planes = [np.clip(apart * 2, 0, 255).astype(np.uint8), *cv2.split(lab)]
    masks = []
    for plane in planes:
        _, light = cv2.threshold(plane, 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
        for mask in (light, cv2.bitwise_not(light)):
            closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((15, 15), np.uint8))
            masks.append(cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((9, 9), np.uint8)))
    return masks


def _as_quad(contour: Picture, area: int) -> tuple[float, NDArray[np.float64], float] | None:
    """(area in px, corners, bow) of a contour that is a board's."""
    hull = cv2.convexHull(contour)
    if cv2.contourArea(hull) < LEAST_SHARE * area or cv2.contourArea(hull) > 0.95 * area:
        return None
    rough = cv2.approxPolyDP(hull, 0.02 * cv2.arcLength(hull, True), True).reshape(-1, 2)
    if len(rough) != 4:
        return None
    points = contour.reshape(-1, 2).astype(np.float64)
    quad = _straighten(points, rough.astype(np.float64))
    if quad is None:
        return None
    size = abs(cv2.contourArea(quad.astype(np.float32)))
    return (size, quad, _bow(points, quad)) if size > 0 and cv2.contourArea(contour) / size > LEAST_FILL else None


def _straighten(points: NDArray[np.float64], rough: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Corners where lines fitted to the four sides meet: finer than a corner pixel."""
    lines = []
    for a, b in zip(rough, np.roll(rough, -1, 0), strict=True):
        along, length = b - a, float(np.linalg.norm(b - a))
        share = ((points - a) @ along) / length**2
        off = np.abs((points - a) @ np.array([-along[1], along[0]])) / length
        side = points[(share > 0.08) & (share < 0.92) & (off < max(4.0, 0.015 * length))]
        if len(side) < 10:
            return None
        vx, vy, x, y = cv2.fitLine(side.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
        lines.append(np.cross([x, y, 1.0], [x + vx, y + vy, 1.0]))
    corners = [np.cross(lines[i - 1], lines[i]) for i in range(4)]
    if any(abs(c[2]) < 1e-9 for c in corners):
        return None
    return np.array([c[:2] / c[2] for c in corners])


def _bow(points: NDArray[np.float64], quad: NDArray[np.float64]) -> float:
    """The rise of the arc along the more bent of the two long sides, over its length."""
    ends = np.roll(quad, -1, 0)
    longest = np.argsort(np.linalg.norm(ends - quad, axis=1))[2:]
    return max(_rise(points, quad[i], ends[i]) for i in longest)


def _rise(points: NDArray[np.float64], a: NDArray[np.float64], b: NDArray[np.float64]) -> float:
    along, length = b - a, float(np.linalg.norm(b - a))
    share = ((points - a) @ along) / length**2
    off = ((points - a) @ np.array([-along[1], along[0]])) / length**2
    side = (share > 0.04) & (share < 0.96) & (np.abs(off) < 0.04)
    if side.sum() < 10:
        return 0.0
    curve = np.polyfit(share[side], off[side], 2)
    good = np.abs(off[side] - np.polyval(curve, share[side])) < 0.004  # a hand, a shadow or a clip at the edge is no arc
    if good.sum() >= 10:
        curve = np.polyfit(share[side][good], off[side][good], 2)
    return float(abs(curve[0])) / 4


def _in_order(quad: NDArray[np.float64]) -> NDArray[np.float64]:
    """Left end lower, right end lower, right upper, left upper, with the long sides across."""
    middle = quad.mean(0)
    angle = np.arctan2(quad[:, 1] - middle[1], quad[:, 0] - middle[0])
    turning = quad[np.argsort(-angle)]  # picture y runs down, so this turns against the clock as seen
    sides = np.linalg.norm(turning - np.roll(turning, -1, 0), axis=1)
    # The lower long side comes first: of the two long sides, the one whose middle lies lower in the photo.
    long_sides = (0, 2) if sides[0] + sides[2] > sides[1] + sides[3] else (1, 3)
    first = max(long_sides, key=lambda i: float(turning[i, 1] + turning[(i + 1) % 4, 1]))
    ordered = np.roll(turning, -first, 0)
    return ordered if ordered[0, 0] < ordered[1, 0] else ordered[[1, 0, 3, 2]]

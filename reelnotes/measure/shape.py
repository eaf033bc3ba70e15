"""What the shape of a piece says: how deep, how bent, one body or two, and whether its end is a tail.

All works on a mask whose columns run along the board from the stop; lengths are in pixels of the mask.
The middle line is weighted by the square of the distance to the outline, so that fins and stains hardly pull it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.stack import Mask


@dataclass(frozen=True, slots=True)
class Shape:
    """Figures of one piece.

    depth_px   breadth of the body (its thickest inscribed circle, twice the radius)
    bend_deg   angle between the middle lines of the front and the rear half
    twofold    share of the body's columns in which two bodies lie side by side
    abreast    over how much of the length, in its rear half, two thick parts lie abreast with a gap between: two tails
    """

    depth_px: float
    bend_deg: float
    twofold: float
    abreast: float


def shape_of(mask: Mask, covered: Mask | None = None) -> Shape:
    """Figures of a piece; ``mask`` must not be empty. Bays in it, left by parts that look like the board, are closed first.

    covered  where a hand hides it: the middle line is not read there; where too little is left to read it, bend_deg is 0
    """
    bay = max(3, int(0.03 * mask.any(axis=0).sum()))
    framed = cv2.copyMakeBorder(mask.astype(np.uint8), bay, bay, bay, bay, cv2.BORDER_CONSTANT)
    ring = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * bay + 1, 2 * bay + 1))
    inner = _inner(cv2.morphologyEx(framed, cv2.MORPH_CLOSE, ring)[bay:-bay, bay:-bay] > 0)
    columns = np.flatnonzero(mask.any(axis=0))
    twofold = _twofold(_inner(mask), columns)
    return Shape(2.0 * float(inner.max()), _bend(inner, columns, covered), twofold, _abreast(mask, columns))


def tail_likeness(mask: Mask, tip_u: float, span_px: float, lopsided: float) -> float:
    """How much the end of a piece looks like a fish's tail, 0..1.

    tip_u, span_px, lopsided  the tail's tip (column), its breadth and its unevenness, in the mask's pixels
    A tail fans out from a peduncle narrower than the body, its halves reach about as far, and no gap lies before it.
    """
    columns = np.flatnonzero(mask.any(axis=0))
    length = tip_u - columns[0]
    if length < 10:
        return 0.0
    before = mask[:, int(tip_u - 0.4 * length) : max(int(tip_u - 0.08 * length), 1)]
    breadth = before.sum(axis=0)
    if len(breadth) == 0:
        return 0.0
    gap = float((breadth == 0).sum()) / length
    peduncle = float(np.percentile(breadth[breadth > 0], 10)) if (breadth > 0).any() else 1.0
    depth = shape_of(mask).depth_px
    fans = np.clip((span_px / max(peduncle, 1.0) - 1.0) / 0.4, 0.0, 1.0)
    narrows = np.clip((0.85 - peduncle / max(depth, 1.0)) / 0.2, 0.0, 1.0)
    ratio = span_px / max(depth, 1.0)
    broad = np.clip((ratio - 0.2) / 0.15, 0.0, 1.0) * np.clip((1.5 - ratio) / 0.25, 0.0, 1.0)
    # What is broadest before the end is the fan itself; a narrow end behind a broad fan is a stain or a string.
    rows = np.arange(mask.shape[0])[:, None]
    tail = mask[:, int(tip_u - 0.2 * length) : max(int(tip_u), 1)]
    extent = np.where(tail, rows, -1).max(axis=0) - np.where(tail, rows, mask.shape[0]).min(axis=0)
    broadest = float(np.percentile(extent.clip(0), 95)) if tail.size else 0.0
    ends_broad = np.clip((2.0 - broadest / max(span_px, 1.0)) / 0.4, 0.0, 1.0)
    even = np.clip(1.0 - (lopsided - 0.2) / 0.25, 0.0, 1.0)
    whole = np.clip(1.0 - (gap - 0.03) / 0.05, 0.0, 1.0)
    return float(fans * narrows * broad * ends_broad * even * whole)


def _inner(mask: Mask) -> NDArray[np.float32]:
    framed = cv2.copyMakeBorder(mask.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT)
    return cv2.distanceTransform(framed, cv2.DIST_L2, 5)[1:-1, 1:-1].astype(np.float32)


def _bend(inner: NDArray[np.float32], columns: NDArray[np.intp], covered: Mask | None) -> float:
    n = len(columns)
    if n < 20:
        return 0.0
    weight = inner[:, columns].astype(np.float64) ** 2
    middle = (weight * np.arange(inner.shape[0])[:, None]).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-9)
    trust = np.sqrt(weight.max(axis=0)) + 1e-6
    if covered is not None:
        hidden = covered[:, columns].any(axis=0)
        trust[hidden] = 0.0
    angles = []
    for part in (slice(int(0.05 * n), int(0.5 * n)), slice(int(0.5 * n), int(0.92 * n))):
        if (trust[part] > 0).mean() < 0.5:
            return 0.0
        angles.append(np.arctan(np.polyfit(columns[part], middle[part], 1, w=trust[part])[0]))
    return float(abs(np.degrees(angles[1] - angles[0])))


def _twofold(inner: NDArray[np.float32], columns: NDArray[np.intp]) -> float:
    """Share of columns, from a tenth to two thirds of the length, with two thick ridges and a valley between."""
    n = len(columns)
    part = columns[int(0.1 * n) : int(0.67 * n)]
    if len(part) < 10:
        return 0.0
    least = max(0.3 * float(inner.max()), 0.035 * n)  # the rims of a body that looks like the board are thinner than this
    return float(np.mean([_two_ridges(inner[:, u], least) for u in part]))


def _abreast(mask: Mask, columns: NDArray[np.intp]) -> float:
    """Share of the length whose columns, between 45 % and 90 % of it, hold two runs of 4 % of the length or more each."""
    n = len(columns)
    part = mask[:, columns[int(0.45 * n) : int(0.9 * n)]].astype(np.int8)
    least = max(3, round(0.04 * n))
    thick = cv2.morphologyEx(part.astype(np.uint8), cv2.MORPH_OPEN, np.ones((least, 1), np.uint8)).astype(np.int8)
    begins = (np.diff(thick, axis=0, prepend=0) == 1).sum(axis=0)
    return float((begins >= 2).sum()) / max(n, 1)


def _two_ridges(profile: NDArray[np.float32], least: float) -> bool:
    top = int(np.argmax(profile))
    for side in (profile[top:], profile[: top + 1][::-1]):
        falling = np.minimum.accumulate(side)
        rise = side - falling
        k = int(np.argmax(rise))
        if side[k] > least and falling[k] < 0.6 * side[k]:
            return True
    return False

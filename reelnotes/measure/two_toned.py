"""Whether a tail changes colour across all its breadth before it ends: a wet leaf, a cloth or a hard shadow may lie on behind it.

A body may end in a fin of another colour, but the body is narrow there. Two colours with a clear step between them, the front
one as broad at the step as the tail, and something of it left behind the step, are a tail and something else, or a tail with a
dark margin: what a picture cannot tell, it must not decide.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.tail import TailView

# All judgement, no source. On the right lengths of 40 drawn clips no tail comes near all of these at once; with dark and brown
# patches drawn on behind a tail the parting is 0.98 and more, the order 0.93 and more, the breadth in front 0.85 and more.
_TAIL = 0.2  # of the length: farther in is no tail
_COLOUR = 12.0  # units of CIELAB between the two
_PARTING = 0.96  # share of the colour's variance that lies between the two (0.75 for a smooth change)
_ORDER = 0.9  # share of the tail whose colour is that of its side of the step
_BROAD = 0.6  # of the tail's breadth, at the step
_BEYOND = (0.02, 0.15)  # of the length, from the step to the tip
_FRONT = 0.1  # share of the tail before the step: else what is seen of it is the end of a patterned body
_LEAST_PX, _END, _AT_STEP = 60, 0.03, 0.06  # the last two as shares of the length


@dataclass(frozen=True, slots=True)
class Step:
    """The clearest step of colour along a tail: how far apart the two colours are (CIELAB), the share of the variance between
    them, the share of the tail that keeps to its side, the breadth before the step and the length beyond it (shares of the tail's
    breadth and of the whole length), and the share of the tail that lies before it."""

    colour: float
    parting: float
    order: float
    broad: float
    beyond: float
    front: float


def two_toned(view: TailView) -> bool:
    """Whether a step of colour runs across the whole tail, with much of another colour behind it."""
    step = colour_step(view)
    if step is None:
        return False
    clear = step.colour > _COLOUR and step.parting > _PARTING and step.order > _ORDER
    return clear and step.broad > _BROAD and _BEYOND[0] < step.beyond < _BEYOND[1] and step.front > _FRONT


def colour_step(view: TailView) -> Step | None:
    """The clearest step of colour along the tail; None where too little of it is seen.

    The two colours are told apart along their axis of greatest variance, at Otsu's threshold (1979).
    """
    raster, tip_mm = view.stack.raster, view.tail.tip_x
    x_mm = raster.x_mm(np.arange(raster.width_px))
    firm = cv2.erode((view.share > 0.8).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    tail = firm & (x_mm > tip_mm * (1.0 - _TAIL)) & (x_mm < tip_mm)
    if tail.sum() < _LEAST_PX:
        return None
    smooth = cv2.GaussianBlur(np.clip(view.stack.image, 0.0, 255.0) / 255.0, (0, 0), max(0.5 * raster.px_per_mm, 0.5))
    colours = cv2.cvtColor(smooth.astype(np.float32), cv2.COLOR_BGR2LAB)[tail].astype(np.float32, copy=False)
    second, parting = _parted(colours)
    if second.all() or not second.any():
        return None
    behind = np.zeros(tail.shape, bool)
    behind[tail] = second
    end = tail & (x_mm > tip_mm * (1.0 - _END))
    if not end.any():
        return None
    if behind[end].mean() < 0.5:
        behind = tail & ~behind
    front = tail & ~behind
    kept = np.cumsum(front.sum(axis=0)) + behind.sum() - np.cumsum(behind.sum(axis=0))  # by the column of the step
    at = int(np.argmax(kept))
    rows = np.flatnonzero((front & (x_mm > x_mm[at] - _AT_STEP * tip_mm)).any(axis=1))
    breadth_mm = (rows[-1] - rows[0] + 1) / raster.px_per_mm if len(rows) else 0.0
    colour = float(np.linalg.norm(colours[second].mean(axis=0) - colours[~second].mean(axis=0)))
    whole = float(tail.sum())
    return Step(
        colour, parting, float(kept[at]) / whole, breadth_mm / max(view.tail.span_mm, 1.0), float(1.0 - x_mm[at] / tip_mm),
        float(front.sum()) / whole,
    )  # fmt: skip


def _parted(colours: NDArray[np.float32]) -> tuple[NDArray[np.bool_], float]:
    """(n, 3) colours -> which belong to the one of two kinds, and the share of the variance between the kinds."""
    off = colours - colours.mean(axis=0)
    along = off @ np.linalg.eigh(off.T @ off)[1][:, -1]
    order = np.sort(along)
    n, k = len(order), np.arange(1, len(order))
    total = np.cumsum(order)
    between = k * (n - k) / n**2 * (total[:-1] / k - (total[-1] - total[:-1]) / (n - k)) ** 2
    i = int(np.argmax(between))
    return along > (order[i] + order[i + 1]) / 2.0, float(between[i] / max(float(along.var()), 1e-9))

"""The scale along a board in a photo, from its rule: graduations by pixel and value, even ticks, or both.

Two or more graduations give it by a least squares line; more of them show how well it fits. The spacing of even ticks gives it
too, with one graduation or the corners to say where zero is, or the ticks themselves where they begin at the board's very end.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.bench.ticks import Ticks, read_ticks
from reelnotes.records.problems import Refusal

Points = NDArray[Any]  # floats; OpenCV's own stubs do not say so
CORNERS = "give its four corners with --corner"
OFF_ALONG, OFF_ACROSS = 0.05, 0.25  # how far off the outline a graduation may lie, in lengths and widths of the board
FIRST_TICK = 1.75  # spacings inside the outline's end at most stands the first tick, if nothing but board lies before it
WORST_TICK_SHARE = 0.01  # by which ticks and graduations may differ in the board's length
WORST_GRADUATION_SHARE = 0.01  # graduations that miss the line by more than this share of the board are mistaken


@dataclass(frozen=True, slots=True)
class Graduation:
    """A mark of the board's own rule: its pixel in the photo, and the length that it stands for."""

    x_px: float
    y_px: float
    value_mm: float


@dataclass(frozen=True, slots=True)
class Scale:
    """What a board's outline spans: x of its stop end and its length, mm.

    rms_mm  root mean square of the graduations off the fitted line; None with fewer than three
    words   where it is from, for the user
    """

    start_mm: float
    length_mm: float
    rms_mm: float | None
    words: str


def scale_along(
    photo: NDArray[np.uint8], unit: Points, graduations: Sequence[Graduation], tick_mm: float | None, *, ends_known: bool
) -> Scale | Refusal:
    """The scale along a board, or why it cannot be had from what was given.

    photo   (h, w, 3) BGR; unit: 3 x 3, photo pixels -> the unit square of the board's outline, y = 0 at the edge with the rule
    graduations, tick_mm   as ``enrol.enrol_board``; ends_known: whether the outline's corners were given, at the stop's foot
    """
    if tick_mm is None:
        if not graduations:
            return Refusal("nothing tells the scale; give two graduations with --at, or --tick and --width")
        return _scale_from_graduations(unit, graduations)
    ticks = read_ticks(photo, unit)
    if len(graduations) < 2:
        return _scale_from_ticks(unit, ticks, tick_mm, graduations, ends_known=ends_known)
    scale = _scale_from_graduations(unit, graduations)
    if isinstance(scale, Refusal) or ticks is None:
        return scale
    if abs(ticks.count * tick_mm / scale.length_mm - 1.0) > WORST_TICK_SHARE:
        told = f"by its graduations the outline is {scale.length_mm:.0f} mm long, by its ticks {ticks.count * tick_mm:.0f} mm"
        return Refusal(f"{told}; is one mistaken, or its unit? leave out --tick if longer ticks were taken for the smallest")
    return replace(scale, words=f"{scale.words}, borne out by its ticks")


def _scale_from_graduations(unit: Points, graduations: Sequence[Graduation]) -> Scale | Refusal:
    if len(graduations) < 2:
        return Refusal("one graduation gives no scale; give two or more, far apart, or --tick and --width with it")
    seen = np.array([[[g.x_px, g.y_px]] for g in graduations], np.float64)
    places = cv2.perspectiveTransform(seen, unit).reshape(-1, 2)
    along, values = places[:, 0], np.array([g.value_mm for g in graduations])
    fault = _disorder(places, graduations)
    if fault:
        return Refusal(fault)
    slope, start = np.polyfit(along, values, 1)
    rms = float(np.sqrt(np.mean((values - (start + slope * along)) ** 2))) if len(graduations) > 2 else None
    if rms is not None and rms > WORST_GRADUATION_SHARE * slope:
        return Refusal(f"the graduations miss each other by {rms:.1f} mm; is one of them mistyped, or the outline wrong?")
    return Scale(float(start), float(slope), rms, f"scale from {len(graduations)} graduations")


def _off_outline(places: Points) -> NDArray[np.bool_]:
    """(n,) whether places of the board's unit square, (n, 2), lie off the board."""
    return np.asarray((np.abs(places - 0.5) - 0.5 > np.array([OFF_ALONG, OFF_ACROSS])).any(axis=1))


def _stray(one: Graduation) -> str:
    return f"the graduation at {pixel_text(one.x_px, one.y_px)} lies off the board's outline; is its pixel right?"


def _disorder(places: Points, graduations: Sequence[Graduation]) -> str:
    """Why graduations that lie at ``places`` (n, 2) of the board's unit square cannot be; "" when they can."""
    off = _off_outline(places)
    if off.any():
        return _stray(graduations[int(np.argmax(off))])
    order = np.argsort(places[:, 0])
    steps, rises = np.diff(places[order, 0]), np.diff([graduations[int(i)].value_mm for i in order])
    if np.ptp(places[:, 0]) < 0.1 or steps.min() <= 0:
        return "the graduations lie too close together; give two that are far apart"
    if np.all(rises < 0):
        told = (
            "the graduations fall from the stop outwards; the stop is taken at the first corner given, else at the photo's left"
        )
        return f"{told}: {CORNERS}, in its order"
    if np.all(rises > 0):
        return ""
    first = int(np.argmax(rises <= 0))
    a, b = (graduations[int(i)] for i in order[first : first + 2])
    told = f"{a.value_mm:g} mm at {pixel_text(a.x_px, a.y_px)}, and {b.value_mm:g} mm at {pixel_text(b.x_px, b.y_px)} further out"
    return f"the graduations do not rise from the stop outwards: {told}; one of them is mistaken"


def _scale_from_ticks(
    unit: Points, ticks: Ticks | None, tick_mm: float, graduations: Sequence[Graduation], *, ends_known: bool
) -> Scale | Refusal:
    """The scale from even ticks, and zero from a graduation, from the corners, or from where the ticks begin.

    An outline runs around the stop as well, and a stop as thick as a fish's head makes every length too long by as much.
    """
    if ticks is None:
        return Refusal("no even ticks could be read along the board's edge; give two graduations with --at")
    length_mm, told = ticks.count * tick_mm, f"scale from even ticks, {ticks.count:.1f} of them along the outline"
    if graduations:
        one = graduations[0]
        place = cv2.perspectiveTransform(np.array([[[one.x_px, one.y_px]]], np.float64), unit).reshape(1, 2)
        if _off_outline(place).any():
            return Refusal(_stray(one))
        return Scale(one.value_mm - float(place[0, 0]) * length_mm, length_mm, None, f"{told}; zero from the graduation")
    if ends_known:
        return Scale(0.0, length_mm, None, f"{told}; x = 0 at the stop's corners")
    if ticks.first > FIRST_TICK:
        told = f"the ticks begin {ticks.first:.0f} spacings inside the outline, which may run around the stop as well"
        return Refusal(f"{told}; say where zero is: give one graduation with --at, or the board's four corners with --corner")
    start_mm = ((1 if ticks.first > 0.5 else 0) - ticks.first) * tick_mm  # where the first tick is one, or the board's end itself
    return Scale(start_mm, length_mm, None, f"{told}; x = 0 where the ticks begin, at the outline's stop end")


def pixel_text(x: float, y: float) -> str:
    """A pixel as people type it."""
    return f"{x:g},{y:g}"

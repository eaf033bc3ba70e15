"""A marker board to print: fiducial squares along both long edges, a rule, and quiet bands between.

One description (rectangles, squares, numbers in board millimetres) is drawn at any scale: small for
the picture that the measuring room compares with, fine for the print. So what is printed is what is
looked for.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from reelnotes.records.boards import Board, Marker
from reelnotes.records.problems import UsageError

DICTIONARY = "4X4_50"
DICTIONARY_SIZE = 50
MARKER_CELLS = 6  # 4 x 4 bits and a black border on each side
RULE_MM = 14.0  # height of the rule along the near edge
QUIET_MM = 4.0  # white round every marker: the detector needs it
WORDS_MARGIN_MM = 10.0
PICTURE_PX_PER_MM = 4.0
PAPER, INK, BAND = 255, 0, 226
SHORTEST_MM, LONGEST_MM, NARROWEST_MM, WIDEST_MM = 200.0, 1600.0, 110.0, 180.0


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle in board millimetres (y up), with its grey."""

    x0: float
    y0: float
    x1: float
    y1: float
    grey: int


@dataclass(frozen=True, slots=True)
class Label:
    """Text whose middle lies at (x, y) in board millimetres, ``height_mm`` tall."""

    x: float
    y: float
    height_mm: float
    text: str


@dataclass(frozen=True, slots=True)
class BoardDesign:
    """A board as drawn: its markers (for the descriptor), boxes in drawing order, and labels."""

    name: str
    length_mm: float
    width_mm: float
    markers: tuple[Marker, ...]
    boxes: tuple[Box, ...]
    labels: tuple[Label, ...]


def design_marker_board(
    name: str, length_mm: float = 900.0, width_mm: float = 170.0, *, first_id: int = 0, unit: str = "cm"
) -> BoardDesign:
    """Lay out a marker board.

    ``first_id`` 0..49: the first marker's id, so that two boards on one trip can differ. ``unit``
    "cm" or "in" for the numbers of the rule. Raises UsageError when a size or id cannot be.
    """
    if not SHORTEST_MM <= length_mm <= LONGEST_MM:
        raise UsageError("--length", f"{length_mm:g} mm is no length for a board", f"choose {SHORTEST_MM:g} to {LONGEST_MM:g} mm")
    if not NARROWEST_MM <= width_mm <= WIDEST_MM:
        raise UsageError("--width", f"{width_mm:g} mm does not fit a sheet", f"choose {NARROWEST_MM:g} to {WIDEST_MM:g} mm")
    side = 24.0 if width_mm >= 140 else 18.0
    columns = max(3, round(length_mm / 150.0))
    if not 0 <= first_id <= DICTIONARY_SIZE - 2 * columns:
        raise UsageError("--first-id", f"{first_id} leaves too few marker numbers for {2 * columns} markers",
                         f"choose 0 to {DICTIONARY_SIZE - 2 * columns}")  # fmt: skip
    left = np.linspace(QUIET_MM * 2, length_mm - QUIET_MM * 2 - side, columns)
    rows = (RULE_MM + QUIET_MM, width_mm - QUIET_MM - side)
    markers, boxes = [], list(_bands(length_mm, width_mm))
    for row, y in enumerate(rows):
        for column, x in enumerate(left):
            number = first_id + row * columns + column
            x_mm, y_mm = round(float(x), 1), round(y, 1)
            corners = ((x_mm, y_mm + side), (x_mm + side, y_mm + side), (x_mm + side, y_mm), (x_mm, y_mm))
            markers.append(Marker(DICTIONARY, number, corners))
            boxes += _marker_boxes(number, x_mm, y_mm, side)
    ticks, labels = _rule(length_mm, unit)
    words = _words(name, length_mm, width_mm)
    return BoardDesign(name, length_mm, width_mm, tuple(markers), (*boxes, *ticks), (*labels, *words))


def _words(name: str, length_mm: float, width_mm: float) -> tuple[Label, ...]:
    """Name and use in the middle: on one line where that fits, else on two, else in smaller letters."""
    use = "nose against the stop, x = 0 at this board's left edge"
    room = length_mm - 2 * WORDS_MARGIN_MM
    if _wide_mm(f"{name}: {use}", 5.0) <= room:
        return (Label(length_mm / 2, width_mm / 2, 5.0, f"{name}: {use}"),)
    return tuple(
        Label(length_mm / 2, width_mm / 2 + up, min(5.0, 5.0 * room / _wide_mm(text, 5.0)), text)
        for up, text in ((4.0, name), (-4.0, use))
    )


def _wide_mm(text: str, height_mm: float) -> float:
    """How wide a label's text is drawn."""
    return float(ImageFont.load_default(size=100).getlength(text)) * height_mm / 100


def _bands(length_mm: float, width_mm: float) -> list[Box]:
    """Faint bands, each 100 mm with a gap of its own width pattern, so that no two stretches look alike."""
    top, bottom = width_mm - QUIET_MM - 30.0, RULE_MM + 34.0
    boxes, x, n = [], 60.0, 0
    while x < length_mm - 40.0:
        wide = 22.0 + 7.0 * (n * 5 % 7)
        boxes.append(Box(x, bottom, min(x + wide, length_mm - 10.0), top, BAND))
        x, n = x + wide + 45.0, n + 1
    return boxes


def _marker_boxes(number: int, x: float, y: float, side: float) -> list[Box]:
    """A white quiet zone, then the black cells of the marker."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, f"DICT_{DICTIONARY}"))
    cells = cv2.aruco.generateImageMarker(dictionary, number, MARKER_CELLS)
    cell = side / MARKER_CELLS
    boxes = [Box(x - QUIET_MM, y - QUIET_MM, x + side + QUIET_MM, y + side + QUIET_MM, PAPER)]
    for row in range(MARKER_CELLS):
        for column in range(MARKER_CELLS):
            if cells[row, column] == 0:
                top = y + side - row * cell
                boxes.append(Box(x + column * cell, top - cell, x + (column + 1) * cell, top, INK))
    return boxes


def _rule(length_mm: float, unit: str) -> tuple[list[Box], list[Label]]:
    """Ticks from the near edge upwards: every millimetre (or 1/8 inch), longer at 5 and 10 (1/2 and 1 inch)."""
    step, per, numbered = (1.0, 10, 10) if unit == "cm" else (25.4 / 8, 8, 8)
    ticks, labels = [], []
    for n in range(int(length_mm / step + 1e-9) + 1):
        tall = 7.0 if n % per == 0 else 5.0 if n % (per // 2) == 0 else 3.0
        thick = 0.25 if n % per else 0.45
        x = n * step
        ticks.append(Box(max(x - thick / 2, 0.0), 0.0, min(x + thick / 2, length_mm), tall, INK))
        if n % numbered == 0 and 3.0 < x < length_mm - 5.0:
            labels.append(Label(x, 9.8, 4.0, str(n // numbered)))
    return ticks, labels


def draw(design: BoardDesign, px_per_mm: float) -> NDArray[np.uint8]:
    """The design as a grey picture (round(width * s), round(length * s)), y up; x = 0 at the left edge."""
    width, height = round(design.length_mm * px_per_mm), round(design.width_mm * px_per_mm)
    # Boxes are drawn four times finer and averaged down, so that an edge between pixels is a true grey.
    finer = 4 if px_per_mm <= 8 else 1
    canvas = np.full((height * finer, width * finer), PAPER, np.uint8)
    scale = px_per_mm * finer
    for box in design.boxes:
        rows = slice(round((design.width_mm - box.y1) * scale), round((design.width_mm - box.y0) * scale))
        canvas[max(rows.start, 0) : rows.stop, max(round(box.x0 * scale), 0) : round(box.x1 * scale)] = box.grey
    image = Image.fromarray(canvas)
    pen = ImageDraw.Draw(image)
    for label in design.labels:
        font = ImageFont.load_default(size=label.height_mm * scale)
        pen.text((label.x * scale, (design.width_mm - label.y) * scale), label.text, fill=INK, font=font, anchor="mm")
    if finer > 1:
        image = image.resize((width, height), Image.Resampling.BOX)
    return np.asarray(image)


def as_board(design: BoardDesign, picture: str) -> Board:
    """The descriptor of the design, whose picture is ``draw(design, PICTURE_PX_PER_MM)``."""
    zero = (-0.5, design.width_mm * PICTURE_PX_PER_MM - 0.5)
    return Board(design.name, design.length_mm, design.width_mm, Path(picture), PICTURE_PX_PER_MM, zero, design.markers)

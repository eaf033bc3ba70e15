"""A board as a true-scale PDF: strips on A4 or Letter sheets, each with a bar to check the printer's scale."""

import io
from datetime import UTC, datetime
from itertools import pairwise

from fpdf import FPDF
from PIL import Image

from reelnotes.measure.bench.marker_board import QUIET_MM, BoardDesign, draw
from reelnotes.records.problems import UsageError

PAPERS_MM = {"a4": (297.0, 210.0), "letter": (279.4, 215.9)}  # landscape; ISO 216 and ANSI Y14.1
MARGIN_MM = 10.0  # what ordinary printers leave white
CHECK_BAR_MM = 100.0
PRINT_PX_PER_MM = 24.0  # 610 dots an inch: finer than office printers
WITHOUT_A_DATE = datetime(2000, 1, 1, tzinfo=UTC)  # the same board is the same file, whenever it is made
LEAST_MM = 40.0  # of a board's last sheet
JOIN_FROM_NUMBER_MM = 4.0  # a join leaves the rule's numbers whole


def board_pdf(design: BoardDesign, paper: str = "a4") -> bytes:
    """The PDF's bytes. Each sheet carries one stretch of the board, cut marks at both ends, and the check bar.

    Raises UsageError for a paper that is not in PAPERS_MM or a board too wide for it.
    """
    if paper not in PAPERS_MM:
        raise UsageError("--paper", f"'{paper}' is no paper that is known here", "choose a4 or letter")
    sheet_w, sheet_h = PAPERS_MM[paper]
    if design.width_mm > sheet_h - 2 * MARGIN_MM:
        widest = sheet_h - 2 * MARGIN_MM
        raise UsageError("--width", f"{design.width_mm:g} mm is too wide for {paper}", f"choose at most {widest:g} mm")
    cuts = sheet_cuts_mm(design, sheet_w - 2 * MARGIN_MM)
    picture = Image.fromarray(draw(design, PRINT_PX_PER_MM))
    pdf = FPDF(orientation="landscape", unit="mm", format=(sheet_h, sheet_w))
    pdf.set_auto_page_break(False)
    pdf.set_title(f"{design.name}, true scale")
    pdf.set_creation_date(WITHOUT_A_DATE)
    for number, (start, end) in enumerate(pairwise(cuts), start=1):
        pdf.add_page()
        left = (sheet_w - (end - start)) / 2
        _stretch(pdf, picture, start, end, left, design.width_mm)
        _check_bar(pdf, MARGIN_MM + design.width_mm + 7.0, f"Sheet {number} of {len(cuts) - 1}")
    return bytes(pdf.output())


def sheet_cuts_mm(design: BoardDesign, longest_mm: float) -> list[float]:
    """Where the board is cut into sheets: x in millimetres, both ends included.

    A cut never goes through a marker and its white border, nor through a tick or a number of the rule: each sheet
    reaches as far as fits on it otherwise, for every join is a chance to err. But it leaves enough for the last one to be
    held and glued by.
    """
    places = _cutting_places_mm(design)
    cuts = [0.0]
    while design.length_mm - cuts[-1] > longest_mm:
        fit = [place for place in places if cuts[-1] < place <= cuts[-1] + longest_mm]
        cuts.append(max([place for place in fit if design.length_mm - place >= LEAST_MM] or fit))
    return [*cuts, design.length_mm]


def _cutting_places_mm(design: BoardDesign) -> list[float]:
    """Midway between two ticks of the rule, clear of its numbers and of markers."""
    ticks = sorted({(box.x0 + box.x1) / 2 for box in design.boxes if box.y0 == 0.0})
    numbers = [label.x for label in design.labels if label.text.isdigit()]
    taken = [(m.corners_mm[0][0] - QUIET_MM, m.corners_mm[1][0] + QUIET_MM) for m in design.markers]
    middles = [(a + b) / 2 for a, b in pairwise(ticks)]
    return [
        x
        for x in middles
        if not any(a < x < b for a, b in taken) and all(abs(x - number) > JOIN_FROM_NUMBER_MM for number in numbers)
    ]


def _stretch(pdf: FPDF, picture: Image.Image, start: float, end: float, left: float, width_mm: float) -> None:
    top, stretch = MARGIN_MM, end - start
    piece = picture.crop((round(start * PRINT_PX_PER_MM), 0, round(end * PRINT_PX_PER_MM), picture.height))
    held = io.BytesIO()
    piece.save(held, "PNG", optimize=False)
    held.seek(0)
    pdf.image(held, x=left, y=top, w=stretch, h=width_mm)
    pdf.set_line_width(0.15)
    for x in (left, left + stretch):  # cut marks stand outside the board, so nothing is lost when cutting on them
        pdf.line(x, top - 4, x, top - 1)
        pdf.line(x, top + width_mm + 1, x, top + width_mm + 4)


def _check_bar(pdf: FPDF, y: float, which: str) -> None:
    """The bar and two lines beside it. It starts at the margin, not under the board: the last sheet's stretch may be short
    and stand in the middle, where there is no room beside it for words."""
    x = MARGIN_MM
    pdf.set_fill_color(0)
    pdf.rect(x, y, CHECK_BAR_MM, 1.2, style="F")
    for end in (x, x + CHECK_BAR_MM):
        pdf.line(end, y - 1.5, end, y + 2.7)
    pdf.set_font("Helvetica", size=7)
    told = f"This bar is {CHECK_BAR_MM:g} mm (3 15/16 in). If yours is not, print again at 100 % ('actual size')."
    for line, words in enumerate((told, f"{which}; cut on the marks, join edge to edge.")):
        pdf.text(x + CHECK_BAR_MM + 3, y - 0.4 + 2.9 * line, words)

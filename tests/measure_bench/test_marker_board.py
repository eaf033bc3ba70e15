"""The board that we print: found by an independent detector, true to scale in an independent renderer."""

import tomllib
from dataclasses import replace
from itertools import pairwise

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest

from reelnotes.measure.bench.board_pdf import CHECK_BAR_MM, MARGIN_MM, PAPERS_MM, board_pdf, sheet_cuts_mm
from reelnotes.measure.bench.descriptor import board_toml
from reelnotes.measure.bench.marker_board import PICTURE_PX_PER_MM, as_board, design_marker_board, draw
from reelnotes.records.problems import UsageError


def detect(picture: np.ndarray) -> dict[int, np.ndarray]:
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50))
    corners, ids, _ = detector.detectMarkers(picture)
    return {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}


@pytest.mark.parametrize(("length", "width", "unit"), [(900.0, 170.0, "cm"), (450.0, 120.0, "in"), (1219.2, 180.0, "in")])
def test_descriptor_says_where_the_markers_are(length: float, width: float, unit: str) -> None:
    design = design_marker_board("own board", length, width, unit=unit)
    picture = draw(design, PICTURE_PX_PER_MM)
    seen = detect(np.pad(picture, 40, constant_values=255))  # source: OpenCV's own ArUco detector
    board = as_board(design, "own.png")
    assert set(seen) == {m.id for m in board.markers}
    for marker in board.markers:
        px = seen[marker.id] - 40
        mm = np.column_stack([(px[:, 0] - board.zero_px[0]) / board.px_per_mm, (board.zero_px[1] - px[:, 1]) / board.px_per_mm])
        # Half a picture pixel: the detector's own accuracy without sub-pixel refinement
        assert np.abs(mm - np.array(marker.corners_mm)).max() < 0.3


def test_descriptor_reads_back() -> None:
    design = design_marker_board('a "quoted" board', 600.0, 150.0, first_id=10)
    told = tomllib.loads(board_toml(as_board(design, "own.png")))
    assert told["name"] == 'a "quoted" board' and told["picture"] == "own.png"
    assert told["marker"][0]["id"] == 10 and len(told["marker"]) == len(design.markers)
    assert told["picture_scale"]["zero_px"] == [-0.5, 599.5]


def longest_run(row: np.ndarray) -> int:
    edges = np.flatnonzero(np.diff(np.r_[0, row.astype(int), 0]))
    return int(np.diff(edges)[::2].max(initial=0))


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
def test_print_is_true_to_scale(paper: str) -> None:
    design = design_marker_board("own board", 500.0, 170.0)
    document = pdfium.PdfDocument(board_pdf(design, paper))
    marker_mm = np.linalg.norm(np.subtract(*design.markers[0].corners_mm[:2]))
    found = {}
    for sheet in document:
        # source: PDFium as an independent renderer; PDF points are 1/72 inch (ISO 32000-1, 8.3.2.3)
        assert (sheet.get_width() * 25.4 / 72, sheet.get_height() * 25.4 / 72) == pytest.approx(PAPERS_MM[paper], abs=0.1)
        px_per_mm = 6.0
        page = np.asarray(sheet.render(scale=px_per_mm * 25.4 / 72, grayscale=True).to_pil())
        found.update(detect(page))
        for corners in detect(page).values():
            sides = np.linalg.norm(corners - np.roll(corners, 1, 0), axis=1) / px_per_mm
            assert sides == pytest.approx(marker_mm, abs=0.3)
        # The check bar is the longest dark run below the board
        below = page[round((10 + design.width_mm + 6.5) * px_per_mm) :] < 100
        longest = max(longest_run(row) for row in below) / px_per_mm
        assert longest == pytest.approx(CHECK_BAR_MM, abs=0.4)
    assert set(found) == {m.id for m in design.markers}  # no marker is cut by a sheet's end


@pytest.mark.parametrize("length", [210.0, 333.0, 640.0, 900.0, 1111.0, 1600.0])
def test_no_marker_lies_on_a_cut(length: float) -> None:
    design = design_marker_board("own board", length, 170.0)
    cuts = sheet_cuts_mm(design, 277.0)
    assert cuts[0] == 0 and cuts[-1] == length and max(b - a for a, b in pairwise(cuts)) <= 277.0
    for marker in design.markers:
        x0, x1 = marker.corners_mm[0][0], marker.corners_mm[1][0]
        assert not any(x0 - 4 < cut < x1 + 4 for cut in cuts[1:-1])


@pytest.mark.parametrize("wrong", [{"length_mm": 50.0}, {"width_mm": 400.0}, {"first_id": 45}])
def test_sizes_that_cannot_be(wrong: dict) -> None:
    with pytest.raises(UsageError) as told:
        design_marker_board("own board", **wrong)
    assert "choose" in str(told.value)


@pytest.mark.parametrize("paper", sorted(PAPERS_MM))
@pytest.mark.parametrize(("length", "width"), [(560.0, 180.0), (200.0, 110.0), (900.0, 170.0)])
def test_no_word_runs_off_the_paper(paper: str, length: float, width: float) -> None:
    wide, high = PAPERS_MM[paper]
    for sheet in pdfium.PdfDocument(board_pdf(design_marker_board("own board", length, width), paper)):
        page = sheet.get_textpage()
        # source: PDFium's own reading of the page's fonts, in points
        boxes = [np.array(page.get_rect(i)) * 25.4 / 72 for i in range(page.count_rects())]
        assert boxes
        for left, bottom, right, top in boxes:
            assert left >= MARGIN_MM and bottom >= MARGIN_MM - 0.1
            assert right <= wide - MARGIN_MM and top <= high - MARGIN_MM


@pytest.mark.parametrize(
    ("name", "length"), [("own board", 200.0), ("a board with a long name that says where it is kept " * 2, 400.0)]
)
def test_a_boards_words_stay_on_it(name: str, length: float) -> None:
    design = design_marker_board(name, length, 170.0)
    blank = np.asarray(draw(replace(design, labels=()), 4.0))
    words = draw(design, 4.0) != blank
    middle = words[round(170 * 4 * 0.4) : round(170 * 4 * 0.6)]
    across = np.flatnonzero(middle.any(axis=0)) / 4.0
    assert across.min() >= 9.0 and across.max() <= length - 9.0


def test_a_long_board_has_few_joins() -> None:
    assert len(sheet_cuts_mm(design_marker_board("own board", 900.0, 170.0), 277.0)) == 1 + 4  # 900 / 277, rounded up
    inches = design_marker_board("own board", 914.4, 170.0, unit="in")
    for cut in sheet_cuts_mm(inches, 259.0)[1:-1]:
        assert abs(cut / 25.4 * 8 % 1 - 0.5) < 0.01  # between two eighths, and clear of the numbers at whole inches
        assert abs(cut / 25.4 - round(cut / 25.4)) * 25.4 > 4.0


@pytest.mark.parametrize(("length", "unit"), [(278.0, "cm"), (824.0, "cm"), (1383.0, "in"), (833.0, "in")])
def test_the_last_sheet_is_no_sliver(length: float, unit: str) -> None:
    cuts = sheet_cuts_mm(design_marker_board("own board", length, 142.0, unit=unit), 277.0)
    sheets = [b - a for a, b in pairwise(cuts)]
    assert min(sheets) >= 40.0 and max(sheets) <= 277.0


def test_the_same_board_is_the_same_file() -> None:
    design = design_marker_board("own board", 300.0, 120.0)
    assert board_pdf(design) == board_pdf(design)
    assert b"(D:2000" in board_pdf(design)  # whenever it is made

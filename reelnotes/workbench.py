"""Jobs outside any trip: one clip or photo measured, a board made, an own board enrolled, a lens calibrated.

Like :mod:`reelnotes.pipeline`, a place where rooms' verbs meet; nothing is computed here.
"""

from collections.abc import Callable, Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.intake.boards import read_boards
from reelnotes.intake.lenses import read_lenses
from reelnotes.measure import measure_clip, write_evidence
from reelnotes.measure.bench.board_pdf import board_pdf
from reelnotes.measure.bench.calibrate import Checkerboard, calibrate_lens
from reelnotes.measure.bench.descriptor import board_toml, lens_toml
from reelnotes.measure.bench.enrol import Enrolled, Graduation, enrol_board
from reelnotes.measure.bench.marker_board import PICTURE_PX_PER_MM, as_board, design_marker_board, draw
from reelnotes.media.writing import replacing, write_bytes, write_text
from reelnotes.records.boards import Board, Lens
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem, Refusal, UsageError

Steps = Callable[[str], Callable[[float, str], None]]


def measure_one(
    file: Path, boards: Path, lens: Path | None, to: Path, steps: Steps
) -> tuple[tuple[FishLength, ...], tuple[Problem, ...]]:
    """Measure one clip or photo; evidence pictures go into ``to/frames``.

    Raises UsageError when the file, the boards or the lens cannot be used.
    """
    if not file.is_file():
        raise UsageError(str(file), "there is no such file")
    known, problems = known_boards(boards)
    lenses, lens_problems = read_lenses(lens.parent, [lens]) if lens is not None else ({}, [])
    if lens is not None and not lenses:
        raise UsageError(str(lens), lens_problems[0].what if lens_problems else "it holds no lens")
    found = measure_clip(
        file, clip_name=file.name, boards=known, lens=next(iter(lenses.values()), None), progress=steps("Measuring")
    )
    return write_evidence([found], to), (*problems, *lens_problems)


def known_boards(folder: Path) -> tuple[tuple[Board, ...], tuple[Problem, ...]]:
    """The boards of a folder. Raises UsageError when there is none that can be used."""
    if not folder.is_dir():
        raise UsageError(str(folder), "there is no such folder of boards", "name it with --boards; 'reelnotes board' makes one")
    boards, problems = read_boards(folder.parent, sorted(folder.glob("*.toml")))
    if not boards:
        what = str(problems[0]) if problems else "it holds no board descriptor (*.toml)"
        raise UsageError(str(folder), what, "'reelnotes board' or 'reelnotes enrol' makes one")
    return boards, tuple(problems)


def print_board(
    to: Path, name: str, length_mm: float, width_mm: float, paper: str, unit: str, first_id: int
) -> tuple[Path, Path, Path]:
    """Write (the PDF to print, the descriptor, the picture) of a marker board into ``to``."""
    design = design_marker_board(name, length_mm, width_mm, first_id=first_id, unit=unit)
    stem = file_stem(name)
    pdf, descriptor, picture = (to / f"{stem}{suffix}" for suffix in (".pdf", ".toml", ".png"))
    write_bytes(pdf, board_pdf(design, paper))
    write_picture(picture, draw(design, PICTURE_PX_PER_MM))
    write_text(descriptor, board_toml(as_board(design, picture.name)))
    return pdf, descriptor, picture


def enrol_photo(
    photo: Path, to: Path, name: str, marks: Sequence[tuple[float, float, float]], tick_mm: float | None,
    corners: Sequence[tuple[float, float]], width_mm: float | None,
) -> tuple[Enrolled, Path] | Refusal:  # fmt: skip
    """Enrol a board from a photo and write its descriptor and picture into ``to``."""
    pixels = read_photo(photo)
    picture = to / f"{file_stem(name)}.png"
    enrolled = enrol_board(
        pixels, name, picture, graduations=[Graduation(*mark) for mark in marks], tick_mm=tick_mm,
        corners_px=list(corners) or None, width_mm=width_mm,
    )  # fmt: skip
    if isinstance(enrolled, Refusal):
        return enrolled
    write_picture(picture, enrolled.picture)
    descriptor = picture.with_suffix(".toml")
    write_text(descriptor, board_toml(enrolled.board))
    return enrolled, descriptor


def calibrate_clip(
    clip: Path, name: str, pattern: tuple[int, int, float] | None, boards: Path | None, to: Path, steps: Steps
) -> tuple[Lens, Path] | Refusal:
    """Calibrate a lens from a clip and write it into ``to``."""
    known = known_boards(boards)[0] if boards is not None else ()
    checkerboard = None if pattern is None else Checkerboard(*pattern)
    found = calibrate_lens(clip, name, checkerboard=checkerboard, boards=known, progress=steps("Looking at the pattern"))
    if isinstance(found, Refusal):
        return found
    target = to / f"{file_stem(name)}.toml"
    write_text(target, lens_toml(found))
    return found, target


def file_stem(name: str) -> str:
    """A name as a file name: letters, digits, dots and dashes."""
    kept = "".join(c if c.isalnum() or c in "._-" else "-" for c in name.strip()).strip(".-")
    return kept or "unnamed"


def read_photo(path: Path) -> NDArray[np.uint8]:
    """A photo as (h, w, 3) BGR, upright. Raises UsageError when it cannot be read."""
    if not path.is_file():
        raise UsageError(str(path), "there is no such file")
    pixels = cv2.imdecode(np.frombuffer(path.read_bytes() or b"\0", np.uint8), cv2.IMREAD_COLOR)
    if pixels is None:
        raise UsageError(str(path), "it cannot be read as a photo", "JPEG or PNG will do")
    return np.asarray(pixels, np.uint8)


def write_picture(target: Path, pixels: NDArray[np.uint8]) -> None:
    """Write a picture as PNG, safely."""
    with replacing(target) as temporary:
        temporary.write_bytes(cv2.imencode(".png", pixels)[1].tobytes())

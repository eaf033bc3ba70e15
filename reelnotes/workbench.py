"""Jobs outside any trip: one clip or photo measured, a board made, an own board enrolled, a lens calibrated.

Like :mod:`reelnotes.pipeline`, a place where rooms' verbs meet; nothing is computed here.
"""

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.intake.boards import read_boards
from reelnotes.intake.lenses import read_lenses
from reelnotes.measure import measure_clip, usable_boards, write_evidence
from reelnotes.measure.bench.board_pdf import board_pdf
from reelnotes.measure.bench.calibrate import Checkerboard, calibrate_lens
from reelnotes.measure.bench.descriptor import board_toml, lens_toml
from reelnotes.measure.bench.enrol import Enrolled, enrol_board
from reelnotes.measure.bench.marker_board import PICTURE_PX_PER_MM, as_board, design_marker_board, draw
from reelnotes.measure.bench.scale_along import Graduation
from reelnotes.measure.photo import is_heic
from reelnotes.measure.pictures import FOLDER as EVIDENCE_FOLDER
from reelnotes.media.writing import write_bytes
from reelnotes.records.boards import Board, Lens
from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem, Refusal, UnreadableError, UsageError

Steps = Callable[[str], Callable[[float, str], None]]

SAME_WIDTH_MM = 0.1  # descriptors are written to less than a hundredth of a millimetre

_WITHOUT_ONE = "solved from the board"  # a lens's source where none was given that could be used


def measure_one(
    file: Path, boards: Path, lens: Path | None, to: Path, steps: Steps, units: str = "metric"
) -> tuple[tuple[FishLength, ...], tuple[Problem, ...]]:
    """Measure one clip or photo; evidence pictures go into ``to/frames``, with lengths in ``units``.

    Raises UsageError when the file, the boards or the lens cannot be used.
    """
    usable_folder(to / EVIDENCE_FOLDER)
    usable_file(file, "clip or photo", "'reelnotes lengths TRIP' measures a whole trip folder")
    known, problems = known_boards(boards)
    lenses, lens_problems = read_lenses(lens.parent, [lens]) if lens is not None else ({}, [])
    if lens is not None and not lenses:
        what = lens_problems[0].what if lens_problems else "it holds no lens"
        advice = "name the .toml that 'reelnotes lens' wrote, or leave --lens out: the lens is then solved from the board"
        raise UsageError(str(lens), what, advice)
    with told_apart(file, "clip or photo"):
        found = measure_clip(
            file, clip_name=file.name, boards=known, lens=next(iter(lenses.values()), None), progress=steps("Measuring"),
            units=units,
        )  # fmt: skip
    rows = write_evidence([found], to, only=file)
    if lens is not None and rows[0].lens_from == _WITHOUT_ONE:
        what = f"it is of a picture of another shape than {file.name}, so it does not hold for it"
        problems = (
            *problems,
            Problem(str(lens), what, f"the lens was {rows[0].lens_from}", "calibrate it in the mode you film in"),
        )
    return rows, (*problems, *lens_problems)


def known_boards(folder: Path) -> tuple[tuple[Board, ...], tuple[Problem, ...]]:
    """The boards of a folder. Raises UsageError when there is none that can be used."""
    if folder.is_file():
        raise UsageError(str(folder), "it is a file, and a folder of boards is wanted", f"say --boards {folder.parent}")
    if not folder.is_dir():
        raise UsageError(str(folder), "there is no such folder of boards", "name it with --boards; 'reelnotes board' makes one")
    read, problems = read_boards(folder.parent, sorted(folder.glob("*.toml")))
    boards, unusable = usable_boards(read)
    problems = [*problems, *unusable]
    if not boards:
        what = str(problems[0]) if problems else "it holds no board descriptor (*.toml)"
        raise UsageError(str(folder), what, "'reelnotes board' or 'reelnotes enrol' makes one")
    return boards, tuple(problems)


def print_board(
    to: Path, name: str, length_mm: float, width_mm: float, paper: str, unit: str, first_id: int, *, replace: bool = False
) -> tuple[tuple[Path, Path, Path], tuple[Problem, ...]]:
    """Write (the PDF to print, the descriptor, the picture) of a marker board into ``to``; and what is to be said of it.

    Raises UsageError for sizes that cannot be, and when another board has these files already.
    """
    usable_folder(to)
    design = design_marker_board(name, length_mm, width_mm, first_id=first_id, unit=unit)
    stem = file_stem(name)
    pdf, descriptor, picture = (to / f"{stem}{suffix}" for suffix in (".pdf", ".toml", ".png"))
    board = as_board(design, picture.name)
    said = board_toml(board).encode("utf-8")
    refuse_other(descriptor, said, replace=replace)
    refuse_folders(pdf, picture)
    put({pdf: board_pdf(design, paper), picture: png(draw(design, PICTURE_PX_PER_MM)), descriptor: said}, replace=replace)
    return (pdf, descriptor, picture), numbers_shared(board, descriptor)


def numbers_shared(board: Board, descriptor: Path) -> tuple[Problem, ...]:
    """A remark for each other board in the folder that has some of the same marker numbers."""
    others = [path for path in sorted(descriptor.parent.glob("*.toml")) if path != descriptor]
    mine, told = {(m.dictionary, m.id) for m in board.markers}, []
    for other in read_boards(descriptor.parent, others)[0]:
        shared = mine & {(m.dictionary, m.id) for m in other.markers}
        if shared:
            what = f"{len(shared)} of its marker numbers are those of '{other.name}' too"
            advice = "if both may be in one trip, make one of them anew with another --first-id"
            told.append(Problem(str(descriptor), what, "it was written all the same", advice, serious=False))
    return tuple(told)


def enrol_photo(
    photo: Path, to: Path, name: str, marks: Sequence[tuple[float, float, float]], tick_mm: float | None,
    corners: Sequence[tuple[float, float]], width_mm: float | None, *, replace: bool = False,
) -> tuple[Enrolled, Path] | Refusal:  # fmt: skip
    """Enrol a board from a photo and write its descriptor and picture into ``to``."""
    usable_folder(to)
    pixels = read_photo(photo)
    picture, descriptor = (to / f"{file_stem(name)}{suffix}" for suffix in (".png", ".toml"))
    if picture.resolve() == photo.resolve():
        raise UsageError(str(photo), "the board's picture would be written over it", "choose another --name or --to")
    refuse_folders(picture, descriptor)
    if not replace and not may_be_of(descriptor, name, width_mm):
        raise other_there(descriptor)
    enrolled = enrol_board(
        pixels, name, picture, graduations=[Graduation(*mark) for mark in marks], tick_mm=tick_mm,
        corners_px=list(corners) or None, width_mm=width_mm,
    )  # fmt: skip
    if isinstance(enrolled, Refusal):
        return enrolled
    put({picture: png(enrolled.picture), descriptor: board_toml(enrolled.board).encode("utf-8")}, replace=replace)
    return enrolled, descriptor


def calibrate_clip(
    clip: Path, name: str, pattern: tuple[int, int, float] | None, boards: Path | None, to: Path, steps: Steps, *,
    replace: bool = False,
) -> tuple[Lens, Path] | Refusal:  # fmt: skip
    """Calibrate a lens from a clip and write it into ``to``."""
    usable_folder(to)
    target = to / f"{file_stem(name)}.toml"
    refuse_folders(target)
    if target.exists() and not replace:  # looking at the pattern takes minutes, so the same lens again is refused too
        raise other_there(target)
    usable_file(clip, "clip", "name one clip of the pattern")
    known = known_boards(boards)[0] if boards is not None else ()
    checkerboard = None if pattern is None else Checkerboard(*pattern)
    with told_apart(clip, "clip"):
        found = calibrate_lens(clip, name, checkerboard=checkerboard, boards=known, progress=steps("Looking at the pattern"))
    if isinstance(found, Refusal):
        return found
    put({target: lens_toml(found).encode("utf-8")}, replace=replace)
    return found, target


def put(files: Mapping[Path, bytes], *, replace: bool) -> None:
    """Write files that belong together, or none of them: what is there under such a name already, and is not the same,
    is another board or lens. Raises UsageError then, unless it may be replaced."""
    for target, data in files.items():
        refuse_other(target, data, replace=replace)
    for target, data in files.items():
        if not target.is_file() or target.read_bytes() != data:
            write_bytes(target, data)


def refuse_other(target: Path, data: bytes, *, replace: bool) -> None:
    """Raises UsageError where a file would be written over another one unasked."""
    refuse_folders(target)
    if target.is_file() and target.read_bytes() != data and not replace:
        raise other_there(target)


def refuse_folders(*targets: Path) -> None:
    """Raises UsageError where a folder stands in a file's place."""
    for target in targets:
        if target.is_dir():
            raise UsageError(str(target), "it is a folder, so no file can be written there", "choose another --name or --to")


def other_there(target: Path) -> UsageError:
    """What to say of a file that is there already under a wanted name."""
    what = "there is another one of this name already, and it was kept"
    return UsageError(str(target), what, "choose another --name or --to, or say --replace")


def may_be_of(descriptor: Path, name: str, width_mm: float | None) -> bool:
    """Whether a descriptor that is there, if any, may be of the very board that is about to be enrolled: the same again is
    no other board, but one of another name or width is."""
    if not descriptor.is_file():
        return True
    there = read_boards(descriptor.parent, [descriptor])[0]
    return bool(there) and there[0].name == name and (width_mm is None or abs(there[0].width_mm - width_mm) < SAME_WIDTH_MM)


def file_stem(name: str) -> str:
    """A name as a file name: letters, digits, dots and dashes."""
    kept = "".join(c if c.isalnum() or c in "._-" else "-" for c in name.strip()).strip(".-")
    return kept or "unnamed"


def read_photo(path: Path) -> NDArray[np.uint8]:
    """A photo as (h, w, 3) BGR, upright. Raises UsageError when it cannot be read."""
    usable_file(path, "photo", "name one photo of the empty board")
    pixels = cv2.imdecode(np.frombuffer(path.read_bytes() or b"\0", np.uint8), cv2.IMREAD_COLOR)
    if pixels is None:
        raise UsageError(str(path), "it cannot be read as a photo", "give a JPEG or PNG; if it is one, copy it again")
    return np.asarray(pixels, np.uint8)


def png(pixels: NDArray[np.uint8]) -> bytes:
    """A picture as the bytes of a PNG file."""
    return cv2.imencode(".png", pixels)[1].tobytes()


def usable_folder(to: Path) -> None:
    """Raises UsageError, before any work, for a place where no file can be written."""
    there = next(folder for folder in (to.absolute(), *to.absolute().parents) if folder.exists())
    if not there.is_dir() or not os.access(there, os.W_OK | os.X_OK):
        what = "it is a file, and a folder is wanted here" if there.is_file() else "nothing can be written into it"
        raise UsageError(str(there), what, "name another folder with --to")


def usable_file(path: Path, wanted: str, instead: str) -> None:
    """Raises UsageError with one sentence for what is plainly no such file: missing, a folder, empty, or HEIC."""
    if path.is_dir():
        raise UsageError(str(path), f"it is a folder, and one {wanted} is wanted here", instead)
    if not path.is_file():
        raise UsageError(str(path), "there is no such file", "look at how its name and folder are spelt")
    with path.open("rb") as handle:
        start = handle.read(16)
    if not start:
        raise UsageError(str(path), "the file is empty (zero bytes)", "copy it from the camera or card again")
    if is_heic(path, start):
        raise UsageError(str(path), "it is a HEIC photo, and those are not read", "export it as JPEG, in full size")


@contextmanager
def told_apart(path: Path, wanted: str) -> Iterator[None]:
    """Turns a reader's short word about a file into a sentence with what to do."""
    try:
        yield
    except UnreadableError as fault:
        kinds = "a clip as MP4 or MOV" + (", a photo as JPEG or PNG" if "photo" in wanted else "")
        what = fault.problem.what.replace("it cannot be opened as video", f"it cannot be read as a {wanted}")
        raise UsageError(str(path), what, f"give {kinds}; if it is one, copy it from the camera or card again") from fault

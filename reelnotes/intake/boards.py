"""boards/*.toml: reference boards, checked. One that cannot be used is told and left out; the others stay."""

from collections.abc import Iterable
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from reelnotes.intake import tomls
from reelnotes.intake.naming import name_in_trip
from reelnotes.records.boards import Board, Marker
from reelnotes.records.problems import Problem, SettingsError

_LEFT_OUT = "this board was left out"

_DICTIONARIES = frozenset(
    [f"{n}X{n}_{count}" for n in (4, 5, 6, 7) for count in (50, 100, 250, 1000)]
    + ["ARUCO_ORIGINAL", "ARUCO_MIP_36H12", *(f"APRILTAG_{family}" for family in ("16H5", "25H9", "36H10", "36H11"))]
)


class _Scale(BaseModel):
    px_per_mm: float = Field(gt=0.0)
    zero_px: tuple[float, float]


class _Marker(BaseModel):
    dictionary: str
    id: int = Field(ge=0)
    corners_mm: tuple[tuple[float, float], tuple[float, float], tuple[float, float], tuple[float, float]]

    @field_validator("dictionary")
    @classmethod
    def _known(cls, name: str) -> str:
        plain = name.upper().removeprefix("DICT_")
        if plain not in _DICTIONARIES:
            raise ValueError(f"'{name}' is no known marker dictionary")
        return plain

    @field_validator("corners_mm")
    @classmethod
    def _as_printed(cls, corners: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        turned = zip(corners, corners[1:] + corners[:1], strict=True)
        doubled_area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in turned)
        if doubled_area >= 0.0:  # y runs up, so the printed order (clockwise) has a negative area
            raise ValueError("the corners must go top-left, top-right, bottom-right, bottom-left, with y running up")
        return corners


class _BoardFile(BaseModel):
    model_config = ConfigDict(extra="ignore")
    name: str = Field(min_length=1)
    length_mm: float = Field(gt=10.0, lt=10_000.0)
    width_mm: float = Field(gt=5.0, lt=5_000.0)
    picture: str | None = None
    picture_scale: _Scale | None = None
    marker: tuple[_Marker, ...] = ()


_EXAMPLES = {
    "name": 'name = "deck board"',
    "length_mm": "length_mm = 900.0",
    "width_mm": "width_mm = 180.0",
    "picture": 'picture = "deck-board.png"',
    "picture_scale": "[picture_scale] with px_per_mm = 4.0 and zero_px = [40.0, 760.0]",
    "px_per_mm": "px_per_mm = 4.0",
    "zero_px": "zero_px = [40.0, 760.0]",
    "dictionary": 'dictionary = "4X4_50"',
    "id": "id = 0",
    "corners_mm": "corners_mm = [[10, 170], [40, 170], [40, 140], [10, 140]]",
}


def read_boards(root: Path, paths: Iterable[Path]) -> tuple[tuple[Board, ...], list[Problem]]:
    """The boards of a trip, in order of their paths, and what was wrong with them."""
    boards: list[Board] = []
    problems: list[Problem] = []
    for path in paths:
        where = name_in_trip(root, path)
        board, told = _read(path, where)
        if board and any(board.name == other.name for other in boards):
            told.append(Problem(where, f"another board is named '{board.name}' too", _LEFT_OUT, "give it another name"))
            board = None
        if board:
            boards.append(board)
        problems += told
    return tuple(boards), problems


def _read(path: Path, where: str) -> tuple[Board | None, list[Problem]]:
    try:
        table = tomls.read_toml(path, where)
    except SettingsError as fault:
        told = fault.problem
        return None, [Problem(told.where, told.what, _LEFT_OUT, told.advice)]
    said = tomls.validated(_BoardFile, table)
    if isinstance(said, ValidationError):
        return None, tomls.refusal(where, said, tuple(_BoardFile.model_fields), _EXAMPLES, _LEFT_OUT)
    problems = [
        Problem(f"{where}, {key}", f"there is no setting '{key}' for a board", "it was ignored", serious=False)
        for key in table
        if key not in _BoardFile.model_fields
    ]
    picture, scale = None, said.picture_scale
    if said.picture is not None:
        picture = path.parent / said.picture
        lack = None
        if not picture.is_file():
            lack = Problem(
                f"{where}, picture", f"there is no file '{said.picture}' beside it", "", "the path is relative to the file"
            )
        elif scale is None:
            lack = Problem(
                f"{where}, picture_scale",
                "it is missing, so the picture has no scale",
                "",
                f"for example {_EXAMPLES['picture_scale']}",
            )
        if lack:
            done = "the board is known by its markers alone" if said.marker else _LEFT_OUT
            problems.append(Problem(lack.where, lack.what, done, lack.advice))
            picture = None
    if picture is None and not said.marker:
        if said.picture is None:
            what = "it has neither a picture nor markers, so it cannot be found in a frame"
            problems.append(Problem(where, what, _LEFT_OUT, f"for example {_EXAMPLES['picture']}"))
        return None, problems
    board = Board(
        name=said.name,
        length_mm=said.length_mm,
        width_mm=said.width_mm,
        picture=picture,
        px_per_mm=scale.px_per_mm if picture and scale else None,
        zero_px=scale.zero_px if picture and scale else None,
        markers=tuple(Marker(marker.dictionary, marker.id, marker.corners_mm) for marker in said.marker),
        source=where,
    )
    return board, problems

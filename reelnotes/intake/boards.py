"""boards/*.toml: reference boards, checked. One that cannot be used is told and left out; the others stay."""

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from reelnotes.intake import tomls
from reelnotes.intake.naming import name_in_trip
from reelnotes.records.boards import Board, Marker
from reelnotes.records.problems import Problem, SettingsError

_LEFT_OUT = "this board was left out"

# How many markers each dictionary has (OpenCV, objdetect module, PredefinedDictionaryType).
_DICTIONARIES = {f"{n}X{n}_{count}": count for n in (4, 5, 6, 7) for count in (50, 100, 250, 1000)} | {
    "ARUCO_ORIGINAL": 1024,
    "ARUCO_MIP_36H12": 250,
    "APRILTAG_16H5": 30,
    "APRILTAG_25H9": 35,
    "APRILTAG_36H10": 2320,
    "APRILTAG_36H11": 587,
}

# Bounds that no board comes near, so that a slip of the pen is told and not reckoned with. A picture of 0.1 px a
# millimetre shows no tick, a scan of 2400 dots an inch has 95; pictures have no more than some 10 000 pixels a side.
_Finite = Annotated[float, Field(allow_inf_nan=False)]
_Millimetre = Annotated[float, Field(allow_inf_nan=False, ge=-20_000.0, le=20_000.0)]
_Pixel = Annotated[float, Field(allow_inf_nan=False, ge=-100_000.0, le=100_000.0)]
_LEAST_SIDE_MM = 2.0  # of a marker: half a pixel and less in most clips
_OFF_BOARD_MM = 100.0  # a marker may stand on a rim or a handle, not farther away


class _Scale(BaseModel):
    px_per_mm: _Finite = Field(ge=0.1, le=100.0)
    zero_px: tuple[_Pixel, _Pixel]


_Corner = tuple[_Millimetre, _Millimetre]


class _Marker(BaseModel):
    dictionary: str
    id: int = Field(ge=0)
    corners_mm: tuple[_Corner, _Corner, _Corner, _Corner]

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
        if -doubled_area < 2 * _LEAST_SIDE_MM**2:
            raise ValueError(f"the marker is smaller than {_LEAST_SIDE_MM:g} mm a side")
        return corners

    @model_validator(mode="after")
    def _in_its_dictionary(self) -> "_Marker":
        if self.id >= _DICTIONARIES[self.dictionary]:
            last = _DICTIONARIES[self.dictionary] - 1
            raise ValueError(f"the markers of {self.dictionary} have the ids 0 to {last} only")
        return self


class _BoardFile(BaseModel):
    model_config = ConfigDict(extra="ignore")
    name: str = Field(min_length=1)
    length_mm: _Finite = Field(gt=10.0, lt=10_000.0)
    width_mm: _Finite = Field(gt=5.0, lt=5_000.0)
    picture: str | None = None
    picture_scale: _Scale | None = None
    marker: tuple[_Marker, ...] = ()

    @model_validator(mode="after")
    def _markers_on_it(self) -> "_BoardFile":
        for number, marker in enumerate(self.marker, 1):
            for x, y in marker.corners_mm:
                if max(-x, x - self.length_mm, -y, y - self.width_mm) > _OFF_BOARD_MM:
                    raise ValueError(f"marker {number} lies off the board: its corner ({x:g}, {y:g}) does")
        return self


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
        if not os.path.isfile(picture):  # noqa: PTH113 - Path.is_file raises for a name that no file system takes
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
            done = "the board is known by its markers alone, on which nothing is measured" if said.marker else _LEFT_OUT
            problems.append(Problem(lack.where, lack.what, done, lack.advice))
            picture = None
    if picture is None and not said.marker:
        if said.picture is None:
            what = "it has neither a picture nor markers, so it cannot be found in a frame"
            problems.append(Problem(where, what, _LEFT_OUT, f"for example {_EXAMPLES['picture']}"))
        return None, problems
    if said.picture is None:
        what, advice = "it has markers but no picture, so nothing is measured on it", f"for example {_EXAMPLES['picture']}"
        problems.append(Problem(where, what, "the board is known by its markers alone", advice, serious=False))
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

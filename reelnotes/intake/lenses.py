"""lenses/*.toml: lens calibrations, checked; and which lens a camera's setting means."""

import posixpath
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from reelnotes.intake import tomls
from reelnotes.intake.naming import name_in_trip
from reelnotes.records.boards import Lens
from reelnotes.records.problems import Problem, SettingsError

_LEFT_OUT = "this lens was left out"
_Row = tuple[float, float, float]

# How many coefficients OpenCV's two models may have here: k1..k4; k1 k2 p1 p2, with or without k3.
_COEFFICIENTS = {"fisheye": (4,), "pinhole": (4, 5)}


class _LensFile(BaseModel):
    model_config = ConfigDict(extra="ignore", protected_namespaces=())
    name: str = Field(min_length=1)
    model: Literal["fisheye", "pinhole"]
    width: int = Field(gt=0)
    height: int = Field(gt=0)
    camera_matrix: tuple[_Row, _Row, _Row]
    distortion: tuple[float, ...]
    rms_px: float | None = Field(default=None, ge=0.0)

    @model_validator(mode="after")
    def _makes_sense(self) -> "_LensFile":
        wanted = _COEFFICIENTS[self.model]
        if len(self.distortion) not in wanted:
            counts = " or ".join(str(count) for count in wanted)
            raise ValueError(f"a {self.model} lens has {counts} distortion coefficients, not {len(self.distortion)}")
        (fx, _, cx), (_, fy, cy), last = self.camera_matrix
        if fx <= 0 or fy <= 0 or last != (0.0, 0.0, 1.0):
            raise ValueError("camera_matrix must be [[fx, 0, cx], [0, fy, cy], [0, 0, 1]] with fx and fy above 0")
        if not (0 < cx < self.width and 0 < cy < self.height):
            raise ValueError(f"the centre ({cx:g}, {cy:g}) lies outside the {self.width} x {self.height} picture")
        return self


_EXAMPLES = {
    "name": 'name = "chest, wide"',
    "model": 'model = "fisheye"',
    "width": "width = 1920",
    "height": "height = 1080",
    "camera_matrix": "camera_matrix = [[860, 0, 960], [0, 860, 540], [0, 0, 1]]",
    "distortion": "distortion = [0.01, 0.0, 0.0, 0.0]",
    "rms_px": "rms_px = 0.31",
}


def read_lenses(root: Path, paths: Iterable[Path]) -> tuple[dict[str, Lens], list[Problem]]:
    """Trip-folder path -> Lens for every file that is one, and what was wrong with the others."""
    lenses: dict[str, Lens] = {}
    problems: list[Problem] = []
    for path in paths:
        where = name_in_trip(root, path)
        try:
            said = tomls.validated(_LensFile, tomls.read_toml(path, where))
        except SettingsError as fault:
            told = fault.problem
            problems.append(Problem(told.where, told.what, _LEFT_OUT, told.advice))
            continue
        if isinstance(said, ValidationError):
            problems += tomls.refusal(where, said, tuple(_LensFile.model_fields), _EXAMPLES, _LEFT_OUT)
            continue
        distortion = said.distortion if said.model == "fisheye" or len(said.distortion) == 5 else (*said.distortion, 0.0)
        lenses[where] = Lens(said.name, said.model, said.width, said.height, said.camera_matrix, distortion, said.rms_px, where)
    return lenses, problems


def lens_meant(written: str, lenses: Mapping[str, Lens]) -> str | None:
    """The key in ``lenses`` that a camera's ``lens`` setting means, or None.

    The path in the trip folder comes first; then, for short, the file's or the lens's own name if only one has it.
    """
    path = posixpath.normpath(written.replace("\\", "/"))
    if path in lenses:
        return path
    short = path.casefold()
    named = [
        key
        for key, lens in lenses.items()
        if short
        in (posixpath.basename(key).casefold(), posixpath.basename(key).casefold().removesuffix(".toml"), lens.name.casefold())
    ]
    return named[0] if len(named) == 1 else None

"""lenses/*.toml: lens calibrations, checked; and which lens a camera's setting means."""

import math
import posixpath
from collections import defaultdict
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from reelnotes.intake import tomls
from reelnotes.intake.naming import name_in_trip
from reelnotes.records.boards import Lens
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.problems import Problem, SettingsError

_LEFT_OUT = "this lens was left out"
_Finite = Annotated[float, Field(allow_inf_nan=False)]
_Row = tuple[_Finite, _Finite, _Finite]

# How many coefficients OpenCV's two models may have here: k1..k4; k1 k2 p1 p2, with or without k3.
_COEFFICIENTS = {"fisheye": (4,), "pinhole": (4, 5)}

# Bounds that no camera comes near. Focal lengths in the picture's longer side: 0.13 for a fisheye that sees all around in
# a square picture, some 10 for the longest lens that anybody films a day with.
_LEAST_FOCAL, _MOST_FOCAL = 0.1, 20.0
_LEAST_SQUARE, _MOST_SQUARE = 0.5, 2.0  # fx to fy: pixels of squeezed pictures are up to 4:3
_MOST_SKEW = 0.01  # of fx; a calibration that leaves it free finds less, and it is taken for none
_NO_BEND, _MOST_BENT = 1e-12, 100.0
_MOST_ASKEW = 0.1  # tangential terms (Brown 1966) of lenses that are out of line are a hundredth or so: judgement, no source
_LEAST_REACH = 0.5  # of the picture's half height: a law that folds back before is no calibration of that lens


class _LensFile(BaseModel):
    model_config = ConfigDict(extra="ignore", protected_namespaces=())
    name: str = Field(min_length=1)
    model: Literal["fisheye", "pinhole"]
    width: int = Field(gt=0, le=30_000)
    height: int = Field(gt=0, le=30_000)
    camera_matrix: tuple[_Row, _Row, _Row]
    distortion: tuple[Annotated[_Finite, Field(ge=-_MOST_BENT, le=_MOST_BENT)], ...]
    rms_px: _Finite | None = Field(default=None, ge=0.0, le=100.0)
    focal_sigma: _Finite | None = Field(default=None, ge=0.0, le=0.5)

    @model_validator(mode="after")
    def _makes_sense(self) -> "_LensFile":
        wanted = _COEFFICIENTS[self.model]
        if len(self.distortion) not in wanted:
            counts = " or ".join(str(count) for count in wanted)
            raise ValueError(f"a {self.model} lens has {counts} distortion coefficients, not {len(self.distortion)}")
        (fx, skew, cx), (lean, fy, cy), last = self.camera_matrix
        if fx <= 0 or fy <= 0 or max(abs(skew), abs(lean)) > _MOST_SKEW * fx or last != (0.0, 0.0, 1.0):
            raise ValueError("camera_matrix must be [[fx, 0, cx], [0, fy, cy], [0, 0, 1]] with fx and fy above 0")
        if not (0 < cx < self.width and 0 < cy < self.height):
            raise ValueError(f"the centre ({cx:g}, {cy:g}) lies outside the {self.width} x {self.height} picture")
        side = max(self.width, self.height)
        if not (_LEAST_FOCAL * side <= fx <= _MOST_FOCAL * side and _LEAST_SQUARE * fx <= fy <= _MOST_SQUARE * fx):
            size = f"{self.width} x {self.height} pixels"
            raise ValueError(f"no camera has a focal length of ({fx:g}, {fy:g}) pixels with a picture of {size}")
        if self.model == "pinhole" and max(map(abs, self.distortion[2:4])) > _MOST_ASKEW:
            raise ValueError(f"no lens is so far out of line: distortion coefficients 3 and 4 are at most {_MOST_ASKEW:g}")
        if _reach(self.model, self.distortion) * min(fx, fy) < _LEAST_REACH * min(self.width, self.height) / 2:
            raise ValueError("by its distortion the picture folds back on itself near its middle")
        return self


def _reach(model: str, distortion: tuple[float, ...]) -> float:
    """Distance from the centre, in focal lengths, up to which a point farther off the axis is shown farther out; inf: always.

    Both models are a law x (1 + k1 x^2 + k2 x^4 + ...), with x the angle off the axis or its tangent (Kannala and Brandt
    2006; Brown 1966): it grows up to the least positive root of its slope 1 + 3 k1 x^2 + 5 k2 x^4 + ...
    """
    k = distortion if model == "fisheye" else (*distortion[:2], *distortion[4:5])
    slope = [1.0, *((2 * n + 3) * k_n if abs(k_n) > _NO_BEND else 0.0 for n, k_n in enumerate(k))]
    roots = np.polynomial.polynomial.polyroots(np.trim_zeros(slope, "b"))  # of x^2
    turns = [float(q.real) for q in roots if abs(q.imag) < 1e-9 and q.real > 0]
    if not turns:
        return math.inf
    q = min(turns)
    return math.sqrt(q) * float(np.polynomial.polynomial.polyval(q, [1.0, *k]))


_EXAMPLES = {
    "name": 'name = "chest, wide"',
    "model": 'model = "fisheye"',
    "width": "width = 1920",
    "height": "height = 1080",
    "camera_matrix": "camera_matrix = [[860, 0, 960], [0, 860, 540], [0, 0, 1]]",
    "distortion": "distortion = [0.01, 0.0, 0.0, 0.0]",
    "rms_px": "rms_px = 0.31",
    "focal_sigma": "focal_sigma = 0.002",
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
        lenses[where] = Lens(
            said.name, said.model, said.width, said.height, said.camera_matrix, distortion, said.rms_px, where, said.focal_sigma
        )
    return lenses, problems


def misfits(cameras: Iterable[Camera], clips: Iterable[Clip], lenses: Mapping[str, Lens]) -> list[Problem]:
    """What there is to say of cameras whose clips are not of their lens's shape: for those clips the lens does not hold."""
    by_camera: dict[str, list[Clip]] = defaultdict(list)
    for clip in clips:
        if clip.usable:
            by_camera[clip.camera].append(clip)
    problems = []
    for camera in cameras:
        lens = lenses.get(camera.lens or "")
        mine = by_camera[camera.name]
        others = [clip for clip in mine if lens is not None and not lens.fits(*clip.shown_size_px)]
        if lens is None or not others:
            continue
        width, height = others[0].shown_size_px
        more = f" and {len(others) - 1} more" if len(others) > 1 else ""
        what = (
            f"it was calibrated on pictures of {lens.width_px} x {lens.height_px} pixels, and {others[0].name}{more} "
            f"of camera '{camera.name}' {'are' if more else 'is'} of another shape ({width} x {height})"
        )
        whose = ("these clips", "their") if more else ("this clip", "its")
        done = f"for {whose[0]} it is not used, and {whose[1]} lens is solved from the board"
        problems.append(
            Problem(
                camera.lens or "",
                what,
                done,
                "'reelnotes lens' calibrates that mode of the camera",
                serious=len(others) == len(mine),  # a lens for no clip of the trip is a file set aside
            )
        )
    return problems


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

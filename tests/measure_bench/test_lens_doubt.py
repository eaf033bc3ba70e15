"""A clip that cannot tell a lens gives none; one that can says how well, and the truth lies within what it says."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from reelnotes.intake.lenses import read_lenses
from reelnotes.measure.bench.calibrate import lens_from_views
from reelnotes.measure.bench.descriptor import lens_toml
from reelnotes.measure.bench.lens_doubt import View, project
from reelnotes.measure.lens_model import LensModel
from reelnotes.records.boards import Lens
from reelnotes.records.problems import Refusal

SIZE, FOCAL = (1280, 720), 700.0
MATRIX = np.array([[FOCAL, 0, 640], [0, FOCAL, 360], [0, 0, 1.0]])
BENT = {"pinhole": np.array([-0.1, 0.03, 0, 0, 0]), "fisheye": np.array([0.03, -0.01, 0.002, 0.0])}
ACROSS, DOWN = np.meshgrid(np.arange(9), np.arange(6))
PLANE = np.column_stack([ACROSS.ravel() - 4.0, DOWN.ravel() - 2.5]) * 25.0


def seen(model: str, poses: list[tuple[np.ndarray, np.ndarray]], rng: np.random.Generator) -> list[View]:
    views = []
    for turn, shift in poses:
        px = project(PLANE, turn, shift, MATRIX, BENT[model], model)
        inside = np.all((px > 0) & (px < SIZE), axis=1)
        if inside.sum() >= 20:
            views.append(View(PLANE[inside], px[inside] + rng.normal(0, 0.15, (inside.sum(), 2))))
    return views


def square_on(rng: np.random.Generator, moved: bool) -> list[tuple[np.ndarray, np.ndarray]]:
    away = [np.array([*rng.uniform(-1, 1, 2) * [150, 60], rng.uniform(250, 500)]) for _ in range(20)]
    return [(np.zeros(3), shift if moved else np.array([5.0, 3.0, 300.0])) for shift in away]


def tilted(rng: np.random.Generator, reach: float = 1.0) -> list[tuple[np.ndarray, np.ndarray]]:
    made = []
    for i in range(20):
        way = 2 * np.pi * i / 8
        turn = np.radians(30) * np.array([np.cos(way), np.sin(way), 0])
        shift = np.array([*rng.uniform(-1, 1, 2) * [160 * reach, 80 * reach], rng.uniform(280, 420) / max(reach, 0.4)])
        made.append((turn, shift))
    return made


@pytest.mark.parametrize("model", ["pinhole", "fisheye"])
@pytest.mark.parametrize("moved", [False, True])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_a_board_never_tilted_tells_no_lens(model: str, moved: bool, seed: int) -> None:
    # source: Zhang 2000, section 4: parallel planes give no further constraint on a camera
    rng = np.random.default_rng(seed)
    lens = lens_from_views(seen(model, square_on(rng, moved), rng), SIZE, "still")
    assert isinstance(lens, Refusal)
    assert "tilt" in lens.reason


@pytest.mark.parametrize("model", ["pinhole", "fisheye"])
@pytest.mark.parametrize("seed", range(6))
def test_a_tilted_boards_lens_says_how_well_it_is_known(model: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    lens = lens_from_views(seen(model, tilted(rng), rng), SIZE, "tilted")
    assert isinstance(lens, Lens), lens
    assert lens.focal_sigma is not None and 1e-4 < lens.focal_sigma < 0.005
    for axis in (0, 1):
        assert abs(lens.camera_matrix[axis][axis] / FOCAL - 1) < 3 * lens.focal_sigma


def test_views_in_the_middle_alone_are_too_few() -> None:
    rng = np.random.default_rng(4)
    lens = lens_from_views(seen("pinhole", tilted(rng, reach=0.1), rng), SIZE, "middle")
    assert isinstance(lens, Refusal)
    assert "corner" in lens.reason


def test_the_doubt_goes_into_the_file_and_on_to_what_measures(tmp_path: Path) -> None:
    rows = ((700.0, 0.0, 640.0), (0.0, 700.0, 360.0), (0.0, 0.0, 1.0))
    sure = Lens("sure", "fisheye", *SIZE, rows, (0.0,) * 4, 0.2)
    told = Lens("told", "fisheye", *SIZE, rows, (0.0,) * 4, 0.2, focal_sigma=0.012)
    path = tmp_path / "told.toml"
    path.write_text(lens_toml(told))
    lenses, problems = read_lenses(tmp_path, [path])
    assert not problems
    assert lenses["told.toml"].focal_sigma == pytest.approx(0.012)
    known, doubted = (LensModel.from_record(lens, *SIZE) for lens in (sure, lenses["told.toml"]))
    assert known is not None and doubted is not None
    assert doubted.focal_sigma == pytest.approx(np.hypot(known.focal_sigma, 0.012))


def test_the_projection_is_opencvs() -> None:
    turn, shift = np.array([0.1, -0.3, 0.05]), np.array([10.0, 4.0, 300.0])
    flat = np.column_stack([PLANE, np.zeros(len(PLANE))])
    drawn, _ = cv2.projectPoints(flat, turn, shift, MATRIX, BENT["pinhole"])
    assert np.allclose(project(PLANE, turn, shift, MATRIX, BENT["pinhole"], "pinhole"), drawn.reshape(-1, 2))

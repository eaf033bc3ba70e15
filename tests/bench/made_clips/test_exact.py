"""The renderer against the cameras' own laws: what is drawn where, and whether the fish's length is what is drawn."""
# ruff: noqa: RUF005 - "array + [x, y, z]" adds, it does not join.

import cv2
import numpy as np
import pytest

from made_clips.camera import OVER, Lens, Pose, draw_lens, look
from made_clips.decks import SunMap
from made_clips.fish_drawn import TAILS, draw_fish, lay
from made_clips.render import Light, Stage, Top
from made_clips.things import Mesh, grid_mesh

BLACK = np.zeros((768, 768, 3), np.uint8)
FLAT = Light(np.array([0.0, 0.0, 1.0]), np.zeros(3), np.ones(3), 0.0, 0.0)


def stage_of(lens: Lens, meshes: list[Mesh], top: Top | None = None) -> Stage:
    rng = np.random.default_rng(0)
    return Stage(
        lens, FLAT, SunMap(rng, (0, 0), dapple=0.0, shadow=False), BLACK, 600.0, -15.0, top, meshes, rng, 3.0, np.zeros(3)
    )


def lens_and_pose(fisheye: bool) -> tuple[Lens, Pose]:
    lens = draw_lens(np.random.default_rng(4), "x", (640, 360), 110.0 if fisheye else 98.0, fisheye)
    return lens, look(np.array([210.0, 70.0, 0.0]), 330.0, 18.0, 130.0, 200.0)


def centroid(image: np.ndarray, near: np.ndarray, reach: int = 9) -> np.ndarray:
    x, y = np.round(near).astype(int)
    part = image[y - reach : y + reach + 1, x - reach : x + reach + 1].astype(float).mean(axis=-1)
    gy, gx = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return np.array([x + (gx * part).sum() / part.sum(), y + (gy * part).sum() / part.sum()])


@pytest.mark.parametrize("fisheye", [True, False])
def test_solids_and_print_stand_where_opencv_projects_them(fisheye: bool) -> None:
    lens, pose = lens_and_pose(fisheye)
    points = np.array([[60.0, 30, 0], [180, 110, 25], [330, 60, 3], [400, 120, 0], [100, 100, 60]])
    chips = [
        grid_mesh(
            p + np.array([[[x, y, 0.0] for y in (-2.0, 2.0)] for x in (-2.0, 2.0)]), np.array([255.0, 255, 255]), 0.0, "thing"
        )
        for p in points
    ]
    frame = stage_of(lens, chips).frame(pose)
    # source: the projection laws of cv2.fisheye.projectPoints and cv2.projectPoints
    wanted, _ = lens.project(pose.to_camera(points))
    assert np.abs([centroid(frame, w) - w for w in wanted]).max() < 0.12
    picture = np.zeros((600, 1800, 3), np.uint8)
    dots = np.array([[52.0, 41, 0], [240, 66, 0], [381, 120, 0]])
    for x, y, _ in dots:
        cv2.circle(picture, (round(x * 4), round((150 - y) * 4)), 10, (255, 255, 255), -1)
    frame = stage_of(lens, [], Top(picture, (0.0, 0.0, 450.0, 150.0))).frame(pose)
    # A circle about pixel (4x, 600 - 4y) has its middle half a pixel past the corner that stands for (x, y) mm.
    wanted, _ = lens.project(pose.to_camera(dots + [0.125, -0.125, 0]))
    assert np.abs([centroid(frame, w) - w for w in wanted]).max() < 0.12


@pytest.mark.parametrize("tail", TAILS)
def test_the_drawn_fish_is_as_long_as_it_is_said_to_be(tail: str) -> None:
    rng = np.random.default_rng(TAILS.index(tail))
    plan = draw_fish(rng, 300.0)
    while plan.tail != tail:
        plan = draw_fish(rng, 300.0)
    fish = lay(plan, 80.0, 0.8)
    lens, pose = lens_and_pose(True)
    flat = [
        Mesh(m.vertices * [1, 1, 0], m.quads, np.tile([0.0, 0, 1], (len(m.quads), 1)), m.colours, m.shine, m.tag)
        for m in fish.meshes
    ]
    stage = stage_of(lens, flat)
    rank, _ = stage.ranks(pose, (0, 0, lens.width, lens.height))
    y, x = np.nonzero(rank >= 0)
    rays = lens.unproject((np.stack([x, y], -1) - (OVER - 1) / 2) / OVER)
    seen = cv2.perspectiveTransform(rays.reshape(-1, 1, 2), pose.plane(0.0)).reshape(-1, 2)
    sample_mm = 1 / (OVER * lens.K[0, 0] / 330.0)
    assert abs(seen[:, 0].max() - fish.total) < 1.5 * sample_mm and seen[:, 0].max() < fish.total + 0.05
    assert abs(seen[:, 0].min()) < 2.5 * sample_mm and seen[:, 0].min() > -0.05
    assert fish.fork <= fish.total and (tail == "rounded") == (fish.fork == fish.total)
    assert fish.nose[2] > 3 and 0.5 < fish.tip[2] < 5

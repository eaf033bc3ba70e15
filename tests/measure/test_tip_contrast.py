"""A tip that hardly stands out from the board about it leaves open where it ends."""

import numpy as np
import pytest
from scene import FishDrawing, Scene

from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish import Fish, measure_fish
from reelnotes.measure.landmarks import find_tail
from reelnotes.measure.stack import Layer, Stack
from reelnotes.measure.tip_contrast import faintness

RASTER = Raster(2.0, 230.0, 50.0, 220, 200)
BOARD = 150.0


def looked_at(fish, *, behind=BOARD, noise=0.0):
    """A forked tail of grey ``fish`` to 300 mm on a grey board, of another grey behind the tip; seen in eight noisy frames."""
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    mm = RASTER.to_mm(np.stack([u, v], axis=-1))
    aside = np.abs(mm[..., 1])
    share = ((mm[..., 0] < 270.0 + 0.75 * aside) & (aside < 40.0)).astype(np.float32)
    grey = np.where(share > 0, fish, np.where(mm[..., 0] > 301.0, behind, BOARD))[..., None] * np.ones(3)
    rng = np.random.default_rng(1)
    seen = np.ones(share.shape, bool)
    frames = [np.clip(grey + rng.normal(0, noise, share.shape)[..., None], 0, 255).astype(np.uint8) for _ in range(8)]
    stack = Stack(grey.astype(np.float32), seen, tuple(Layer(f, seen) for f in frames), RASTER, np.array([200.0, 0.0, 600.0]))
    tail = find_tail(share, RASTER, 1.0)
    assert tail is not None
    return faintness(share, stack, tail)


def test_it_is_the_boards_unevenness_as_a_part_of_the_contrast():
    assert looked_at(110.0) == pytest.approx(2.0 / 40.0, rel=0.01)  # source: by hand, for two levels of unevenness
    assert looked_at(148.0) == 1.0


def test_noise_makes_a_tip_fainter():
    # source: by hand; 2 and 6 levels, added in squares. The scatter is told from whole levels and eight frames.
    assert looked_at(110.0, noise=6.0) == pytest.approx(np.hypot(2.0, 6.0) / 40.0, rel=0.2)


def test_print_of_the_tails_own_colour_behind_the_tip_counts_whatever_lies_beside_it():
    assert looked_at(110.0, behind=114.0) == pytest.approx(2.0 / 4.0, rel=0.01)  # source: by hand
    assert looked_at(110.0, behind=250.0) == pytest.approx(2.0 / 40.0, rel=0.01)


def test_a_tail_that_is_all_out_of_sight_is_as_faint_as_can_be():
    u = np.zeros((RASTER.height_px, RASTER.width_px), np.float32)
    u[:, :140] = 1.0
    tail = find_tail(u, RASTER, 1.0)
    nothing = Stack(np.zeros((*u.shape, 3), np.float32), u > 0, (), RASTER, np.zeros(3))
    assert faintness(u, nothing, tail) == 1.0


def test_a_tail_of_more_nearly_the_boards_colour_is_given_a_wider_interval():
    lines = []
    for fish in (FishDrawing(), FishDrawing(fin=(140, 165, 172))):
        made = measure_fish(Scene(fish=fish).clip())
        assert isinstance(made, Fish)
        lines.append(next(line.u_mm / made.total_mm for line in made.budget if line.name == "faint tail"))
    clear, faint = lines
    assert clear < 0.002
    assert faint > 2.0 * clear

"""The tail in close-up: what of its edge is none of the tail's."""

import numpy as np
import pytest

from reelnotes.measure.board_model import Raster
from reelnotes.measure.landmarks import find_tail
from reelnotes.measure.tail import _along_print

RASTER = Raster(2.0, 230.0, 50.0, 200, 200)


def millimetres():
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    return RASTER.to_mm(np.stack([u, v], axis=-1))


def striped(edge_mm):
    """The empty board: two inks that meet at a place along it."""
    return np.where((millimetres()[..., 0] < edge_mm)[..., None], 90.0, 190.0).astype(np.float32) * np.ones(3, np.float32)


def forked(filled_to_mm=0.0):
    """Share of a tail 80 mm broad with lobes to 300 mm and its fork at 270 mm; between the lobes taken for fish up to so far."""
    mm = millimetres()
    aside = np.abs(mm[..., 1])
    fish = (mm[..., 0] < 270.0 + 0.75 * aside) | (mm[..., 0] < filled_to_mm)
    return (fish & (aside < 40.0)).astype(np.float32)


def test_a_patch_of_the_board_between_the_lobes_hides_the_fork():
    share = forked(filled_to_mm=285.0)
    tail = find_tail(share, RASTER, 1.0)
    assert tail.fork_x == pytest.approx(285.0, abs=1.5)  # source: the drawing; the fork lies at 270
    assert _along_print(share, striped(285.0), tail, RASTER)


@pytest.mark.parametrize("edge_mm", [262.0, 270.0, 275.0, 285.0])
def test_a_fork_near_an_edge_of_the_print_is_seen(edge_mm):
    share = forked()
    tail = find_tail(share, RASTER, 1.0)
    assert tail.fork_seen
    assert not _along_print(share, striped(edge_mm), tail, RASTER)


def test_a_straight_tail_away_from_the_print_is_seen():
    share = forked(filled_to_mm=300.0)
    assert not _along_print(share, striped(285.0), find_tail(share, RASTER, 1.0), RASTER)

"""The tail's end from the share of fish alone: lobes and a notch drawn to the pixel."""

import numpy as np
import pytest

from reelnotes.measure.board_model import Raster
from reelnotes.measure.landmarks import find_tail

LENGTH_MM, SCALE = 300.0, 2.0


def tail_share(notch_mm, *, unseen_mm=0.0, gaps_mm=(), gap_mm=0.0):
    """(share, raster) of a tail 80 mm broad whose straight lobes end at LENGTH_MM, its notch so deep.

    unseen_mm: over the middle 8 mm nothing is seen of the last so many
    gaps_mm, gap_mm: at these places across the tail, over so much, nothing is seen of the last 40 mm
    """
    raster = Raster(SCALE, 180.0, 60.0, int(150 * SCALE), int(120 * SCALE))
    u, v = np.meshgrid(np.arange(raster.width_px), np.arange(raster.height_px))
    mm = raster.to_mm(np.stack([u, v], axis=-1))
    aside = np.abs(mm[..., 1] - 0.0)
    end = LENGTH_MM - notch_mm * (1.0 - aside / 40.0)
    fish = (mm[..., 0] < end) & (aside < 10.0 + 30.0 * np.clip((mm[..., 0] - 230.0) / 70.0, 0.0, 1.0))
    if unseen_mm:
        fish &= ~((aside < 4.0) & (mm[..., 0] > LENGTH_MM - unseen_mm))
    for y in gaps_mm:
        fish &= ~((np.abs(mm[..., 1] - y) < 0.5 * gap_mm) & (mm[..., 0] > LENGTH_MM - 40.0))
    return fish.astype(np.float32), raster


def test_the_notch_is_the_fork():
    tail = find_tail(*tail_share(24.0), 1.0)
    assert tail.notched
    assert tail.fork_x == pytest.approx(LENGTH_MM - 24.0, abs=1.5)


def test_a_middle_that_is_not_seen_is_no_fork():
    # source: the drawing; the notch beside what is missing lies a tenth of its depth farther back
    tail = find_tail(*tail_share(24.0, unseen_mm=75.0), 1.0)
    assert tail.fork_x == pytest.approx(LENGTH_MM - 24.0, abs=4.0)


def test_the_deepest_fork_of_the_handbook_is_a_fork():
    # source: yellowtail snapper, TL = 9.96 + 1.20 FL (Garcia et al. 2003; reference FLT-04)
    fork_mm = (LENGTH_MM - 9.96) / 1.20
    tail = find_tail(*tail_share(LENGTH_MM - fork_mm), 1.0)
    assert tail.fork_x == pytest.approx(fork_mm, abs=2.0)


@pytest.mark.parametrize("notch_mm", [0.0, 12.0, 24.0])
def test_gaps_between_rays_are_no_fork(notch_mm):
    # source: the drawing; rays of the board's own colour, as far apart as a tail of a dozen broad rays has them
    tail = find_tail(*tail_share(notch_mm, gaps_mm=(-24.0, -12.0, 6.0, 18.0), gap_mm=4.0), 1.0)
    assert tail.fork_seen
    assert tail.fork_x == pytest.approx(LENGTH_MM - notch_mm, abs=2.0)


def test_a_fork_is_seen_where_the_edge_is_whole():
    assert all(find_tail(*tail_share(notch_mm), 1.0).fork_seen for notch_mm in (0.0, 12.0, 24.0, 45.0))


def test_where_the_middle_is_torn_away_there_is_no_fork():
    assert not find_tail(*tail_share(0.0, gaps_mm=(0.0,), gap_mm=20.0), 1.0).fork_seen
    assert not find_tail(*tail_share(24.0, gaps_mm=(0.0,), gap_mm=20.0), 1.0).fork_seen

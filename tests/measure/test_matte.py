"""The share of fish in a pixel, where the board's print has the fish's own colour."""

import cv2
import numpy as np

from reelnotes.measure.matte import share_of_fish

PALE, TAIL = (225.0, 215.0, 220.0), (66.0, 52.0, 62.0)
INK, THOUGHT = (60.0, 50.0, 55.0), (92.0, 80.0, 85.0)


def test_dark_print_beside_a_dark_tail_is_no_tail():
    """A square-cut dark tail ends at column 60; behind it stands a figure in ink thought to be paler than it is."""
    board = np.full((80, 120, 3), PALE, np.float32)
    seen = board.copy()
    for u in (61, 66, 71):
        cv2.rectangle(board, (u, 44), (u + 2, 51), THOUGHT, -1)
        cv2.rectangle(seen, (u, 44), (u + 2, 51), INK, -1)
    fish = np.zeros((80, 120), bool)
    fish[20:50, :60] = True
    seen[fish] = TAIL
    seen = cv2.GaussianBlur(seen, (0, 0), 0.6) + np.random.default_rng(3).normal(0.0, 1.0, seen.shape)
    core = cv2.erode(fish.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=1) > 0
    share = share_of_fish(seen.astype(np.float32), cv2.GaussianBlur(board, (0, 0), 0.6), fish, core, 6.0)
    assert share[22:48, :57].mean() > 0.95
    assert (share[:, 65:] > 0.4).sum() == 0
    assert abs(float(share[30, :80].sum()) - 60.0) < 1.0  # where there is no print, the edge stays where it is

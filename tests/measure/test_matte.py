"""The share of fish in a pixel, where the board's print has the fish's own colour."""

import cv2
import numpy as np

from reelnotes.measure.matte import share_of_fish

DARK, PALE = (60.0, 50.0, 55.0), (225.0, 215.0, 220.0)


def test_dark_print_beside_a_dark_tail_is_no_tail():
    """A square-cut dark tail ends at column 60; a dark figure is printed from there on, drawn half a pixel off its place."""
    board = np.full((80, 120, 3), PALE, np.float32)
    for u in (61, 66, 71):
        cv2.rectangle(board, (u, 44), (u + 1, 51), DARK, -1)
    seen = cv2.warpAffine(board, np.array([[1.0, 0.0, 0.6], [0.0, 1.0, 0.4]]), (120, 80), borderMode=cv2.BORDER_REPLICATE)
    fish = np.zeros((80, 120), bool)
    fish[20:50, :60] = True
    seen[fish] = (66.0, 52.0, 62.0)
    seen = cv2.GaussianBlur(seen, (0, 0), 1.0) + np.random.default_rng(3).normal(0.0, 1.0, seen.shape)
    core = cv2.erode(fish.astype(np.uint8), np.ones((7, 7), np.uint8), borderValue=1) > 0
    share = share_of_fish(seen.astype(np.float32), cv2.GaussianBlur(board, (0, 0), 1.0), fish, core, 6.0)
    assert share[22:48, :57].mean() > 0.95
    assert (share[:, 64:] > 0.5).sum() == 0
    assert abs(float(share[30, :80].sum()) - 60.0) < 1.0  # where there is no print, the edge stays where it is

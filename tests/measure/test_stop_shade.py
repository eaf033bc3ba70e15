"""The stop's shade joins a fish to the stop in one piece: whether the nose is there is told from the strip's own look."""

import cv2
import numpy as np
import pytest
from scene import BOARD, FishDrawing, Scene

from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish_piece import FishPiece
from reelnotes.measure.outline import find_outline
from reelnotes.measure.stack import stack_frames
from reelnotes.measure.stop_shade import shaded_gap

SHADE_MM = 26.0


def gap_of(fish):
    """What is said of a fish that the strip of shade is joined to."""
    clip = Scene(fish, stop_shade_mm=SHADE_MM).clip()
    stack = stack_frames(clip.frames, Raster.over(BOARD, 1.0, 25.0))
    mask = np.zeros(stack.seen.shape, np.uint8)
    strip = np.array([[2.0, 2.0], [SHADE_MM, 2.0], [SHADE_MM, BOARD.width_mm - 2.0], [2.0, BOARD.width_mm - 2.0]])
    for polygon in (fish.body(), fish.tail(), strip):
        cv2.fillPoly(mask, [np.round(stack.raster.to_px(polygon)).astype(np.int32)], 1)
    piece = FishPiece(mask > 0, 2.0, fish.nose_x + fish.length, fish.y, ())
    return shaded_gap(piece, find_outline(stack, clip.model), stack, BOARD)


@pytest.mark.parametrize("colour", [(150, 110, 60), (50, 90, 160)])
@pytest.mark.parametrize("nose_x", [17.0, 23.0])
def test_bare_board_in_the_shade_is_no_nose(colour, nose_x):
    # source: the drawing, and the H/(H - h) law: seen from 620 mm above x = 290, a nose 15 mm up appears nearer to the stop
    seen_at = nose_x - (290.0 - nose_x) * 15.0 / (620.0 - 15.0)
    assert gap_of(FishDrawing(nose_x=nose_x, colour=colour)) == pytest.approx(seen_at, abs=4.0)


@pytest.mark.parametrize("colour", [(168, 176, 186), (50, 90, 160), (30, 32, 34)])
def test_a_nose_at_the_stop_leaves_no_gap(colour):
    assert gap_of(FishDrawing(colour=colour)) == 0.0


def test_a_fish_too_like_the_shaded_board_is_not_judged():
    assert gap_of(FishDrawing(nose_x=18.0, colour=(88, 88, 86))) == 0.0

"""Print that lies open and is not there: another board. What a fish, glare or blur hides says nothing."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
import scene as drawn
from scene import Scene

from reelnotes.measure import open_print
from reelnotes.measure.board_model import Raster
from reelnotes.measure.measure_clip import measure_posed
from reelnotes.measure.open_print import ANOTHER, OTHER_PAPER, print_amiss
from reelnotes.measure.parts import see_parts
from reelnotes.measure.stack import stack_frames

AT = ((1215, 240), (1515, 240), (1515, 400))  # pixels of the board's picture, between its bars: beyond the fish's tail
OVER_WORDS = [(425.0, 90.0), (590.0, 90.0), (590.0, 150.0), (425.0, 150.0)]


def worded(picture: np.ndarray) -> np.ndarray:
    """The board with words beyond the fish, in the bars' ink."""
    out = picture.copy()
    for at in AT:
        cv2.putText(out, "OK", at, cv2.FONT_HERSHEY_SIMPLEX, 3.0, (150, 110, 60), 12)
    return out


def knowing(posed):
    """A clip whose board is believed to bear the words."""
    return replace(posed, model=replace(posed.model, picture=worded(posed.model.picture)))


def test_words_that_are_not_on_the_board_are_a_matter_to_check():
    posed = knowing(Scene().clip())
    row = measure_posed(posed, "a.mp4").lengths[0]
    assert row.verdict == "check", row.reason
    assert row.reason.startswith(ANOTHER)


def test_words_that_are_there_are_none(monkeypatch):
    plain = drawn.board_picture
    monkeypatch.setattr(drawn, "board_picture", lambda dark=False: worded(plain(dark)))
    assert measure_posed(Scene().clip(), "a.mp4").lengths[0].verdict == "measured"


def test_words_that_glare_burns_out_say_nothing():
    posed = knowing(Scene(stain=(OVER_WORDS, (255, 255, 255), 1.0), noise=0.5).clip())
    row = measure_posed(posed, "a.mp4").lengths[0]
    assert ANOTHER not in row.reason


def amiss(posed) -> str:
    raster = Raster.over(posed.board, 1.0, 25.0)
    parts = see_parts(stack_frames(posed.frames, raster), posed.model)
    return print_amiss(posed.frames[0], posed.model, parts, raster)


def greener(posed):
    """A clip whose board is believed to be greener than it is."""
    green = np.clip(posed.model.picture * np.array([0.7, 1.0, 0.7]), 0, 255).astype(np.uint8)
    return replace(posed, model=replace(posed.model, picture=green))


@pytest.mark.parametrize("light", [(1.0, 1.0, 1.0), (0.75, 0.95, 1.05), (1.05, 0.95, 0.75)], ids=["white", "amber", "blue"])
def test_paper_of_another_colour_counts_where_not_all_print_agrees(monkeypatch, light):
    posed = Scene(light=light).clip()
    assert amiss(greener(posed)) == ""  # all of its print agrees: it is this board under an odd light, or its picture was
    monkeypatch.setattr(open_print, "_MOST_AGREES", 1.01)
    assert amiss(posed) == ""
    assert amiss(greener(posed)) == OTHER_PAPER

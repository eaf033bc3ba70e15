"""Print that lies open and is not there: another board. What a fish, glare or blur hides says nothing."""

from dataclasses import replace

import cv2
import numpy as np
import scene as drawn
from scene import Scene

from reelnotes.measure.measure_clip import measure_posed
from reelnotes.measure.open_print import ANOTHER

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

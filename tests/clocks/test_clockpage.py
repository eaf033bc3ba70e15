"""The clock page: its own QR encoder, run by a JavaScript engine, against other libraries."""

import json
import re

import cv2
import numpy as np
import pytest
import segno
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from py_mini_racer import MiniRacer

from reelnotes.clocks.clockpage import clock_page, write_clock_page
from reelnotes.clocks.clues.filmed_clock import PAYLOAD

SIZE = 29  # version 3
LAST_2100_MS = 4_102_444_799_999


@pytest.fixture(scope="module")
def script():
    engine = MiniRacer()
    engine.eval(re.findall(r"<script>(.*?)</script>", clock_page(), re.DOTALL)[0])

    def call(expression: str):
        return json.loads(engine.eval(f"JSON.stringify({expression})"))

    return call


def drawn(matrix) -> np.ndarray:
    """A picture of the code as the page draws it: four light modules around, six pixels a module."""
    light = np.pad(1 - np.array(matrix, dtype=np.uint8), 4, constant_values=1)
    return np.kron(light, np.ones((6, 6), np.uint8)) * np.uint8(255)


def remainder() -> np.ndarray:
    """The seven modules of a version 3 symbol that carry nothing: the last of the zigzag, at the left edge."""
    # source: ISO/IEC 18004:2015 table 1: version 3 has 7 remainder bits
    left = np.zeros((SIZE, SIZE), bool)
    for k in range(4):
        left[17 + k, 0:2] = True
    left[17, 1] = False  # seven of these eight
    return left


@settings(max_examples=40, deadline=None)
@given(st.integers(0, LAST_2100_MS))
def test_every_instant_is_read_back_by_another_library(script, ms):
    said = script(f"spoken({ms})")
    picture = drawn(script(f"qr({json.dumps(said['payload'])})"))
    codes = zxingcpp.read_barcodes(picture)
    assert [(c.text, c.ec_level) for c in codes] == [(said["payload"], "M")]
    assert PAYLOAD.fullmatch(said["payload"])


def test_the_symbol_is_the_one_that_another_encoder_makes(script):
    text = "reelnotes-clock:2026-06-14T03:11:45.200Z"
    parameters = cv2.QRCodeEncoder.Params()
    parameters.version, parameters.mode = 3, cv2.QRCodeEncoder_MODE_BYTE
    parameters.correction_level = cv2.QRCodeEncoder_CORRECT_LEVEL_M
    other = (cv2.QRCodeEncoder.create(parameters).encode(text)[2:-2, 2:-2] == 0).astype(int)
    ours = [np.array(script(f"matrix({json.dumps(text)}, {mask})")) for mask in range(8)]
    differences = [int(((m != other) & ~remainder()).sum()) for m in ours]
    assert sorted(differences)[0] == 0
    assert sorted(differences)[1] > 100  # the others have another mask


def test_function_patterns_and_format_are_those_of_a_third_encoder(script):
    text = "reelnotes-clock:2026-06-14T03:11:45.200Z"
    reserved = np.array(script("frame().taken"), bool)
    for mask in range(8):
        other = segno.make(text, version=3, error="m", mode="byte", mask=mask, boost_error=False)
        theirs = np.array([list(row) for row in other.matrix])
        ours = np.array(script(f"matrix({json.dumps(text)}, {mask})"))
        assert np.array_equal(ours[reserved], theirs[reserved])


def test_the_time_is_cut_off_to_a_tenth_never_rounded_up(script):
    said = script("spoken(1781406705299)")
    assert said == {"payload": "reelnotes-clock:2026-06-14T03:11:45.200Z", "time": "03:11:45.2", "date": "2026-06-14 UTC"}


def test_a_text_too_long_for_the_symbol_is_refused(script):
    with pytest.raises(Exception, match="too long"):
        script(f"qr({json.dumps('x' * 43)})")


def test_the_page_needs_no_network(tmp_path):
    page = write_clock_page(tmp_path)
    text = page.read_text(encoding="utf-8")
    assert page.name == "clock.html"
    assert not re.search(r"(src|href)\s*=|https?://|@import|fetch\(|XMLHttpRequest", text)

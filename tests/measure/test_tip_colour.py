"""The tip of a tail against the tail: a shadow or a stain that hangs on to it is paler, a tail's own tip is not."""

import cv2
import numpy as np
import pytest

from reelnotes.measure.board_model import Raster
from reelnotes.measure.landmarks import find_tail
from reelnotes.measure.own_shade import Settled, Sight
from reelnotes.measure.tail import _out_of_shade, _pared
from reelnotes.measure.tip_colour import tip_colour, without_pale

SCALE, BLUR_PX, END_MM = 2.0, 1.0, 300.0
RASTER = Raster(SCALE, 200.0, 50.0, int(140 * SCALE), int(100 * SCALE))
CREAM, DARK_BOARD = (195.0, 215.0, 225.0), (48.0, 50.0, 52.0)
DARK_FISH, PALE_FISH = (45.0, 55.0, 50.0), (205.0, 222.0, 226.0)


def seen(fish, tip, board=CREAM, *, tip_mm=6.0, light=None):
    """(share, image, expected, light): a tail to END_MM that widens to its end, and behind it as broad a strip of another colour,
    all of it taken for fish; ``light`` falls upon all of it, (h, w)."""
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    mm = RASTER.to_mm(np.stack([u, v], axis=-1))
    half = np.clip(8.0 + 0.3 * (mm[..., 0] - 230.0), 8.0, 30.0)
    within = np.abs(mm[..., 1]) < half
    tail, strip = within & (mm[..., 0] < END_MM), within & (mm[..., 0] >= END_MM) & (mm[..., 0] < END_MM + tip_mm)
    shape = (*within.shape, 3)
    lit = np.ones(within.shape) if light is None else light(mm[..., 0])
    expected = np.broadcast_to(board, shape) * lit[..., None]
    image = np.select([tail[..., None], strip[..., None]], [np.broadcast_to(fish, shape), np.broadcast_to(tip, shape)], board)
    image = image * lit[..., None]
    pictures = ((tail | strip).astype(float), image, expected, np.repeat(lit[..., None], 3, axis=-1))
    return tuple(cv2.GaussianBlur(p.astype(np.float32), (0, 0), BLUR_PX) for p in pictures)


def compared(share, image, expected, light):
    tail = find_tail(share, RASTER, BLUR_PX)
    assert tail is not None
    return tail, tip_colour(share, image, expected, light, RASTER, tail)


def shadow(share):
    return tuple(share * c for c in CREAM)


@pytest.mark.parametrize("depth", [0.45, 0.6, 0.75])
def test_a_shadow_behind_a_darker_tail_is_told_and_taken_off(depth):
    share, *pictures = seen(DARK_FISH, shadow(depth))
    tail, colour = compared(share, *pictures)
    assert tail.tip_x > END_MM + 5.0  # source: the drawing; else there is nothing to mend
    assert colour.in_shade and "shadow" in colour.odd
    nearer, again = compared(without_pale(share, pictures[0], colour), *pictures)
    assert nearer.tip_x == pytest.approx(END_MM, abs=0.5)
    assert not again.odd


@pytest.mark.parametrize(("strip_mm", "mended"), [(6.0, True), (20.0, False)])
def test_only_a_shadow_close_behind_is_taken_off(strip_mm, mended):
    share, *pictures = seen(DARK_FISH, shadow(0.55), tip_mm=strip_mm)
    tail, colour = compared(share, *pictures)
    light = (pictures[0] / pictures[1]).astype(np.float32)
    sight = Sight(light, RASTER, BLUR_PX, BLUR_PX / SCALE)
    made = _out_of_shade(share, share, pictures[0], colour, Settled(tail, tail, 0.1, 0.1, 0.0), sight, closely=False)
    assert (made is not None) == mended
    if made is not None:
        nearer, _ = made
        assert nearer.tail.tip_x == pytest.approx(END_MM, abs=0.6)
        assert nearer.tip_doubt_mm > 0.1 * strip_mm  # some of what was taken off stays in doubt


def test_a_pale_stain_on_a_dark_board_is_a_reason_to_doubt():
    _, colour = compared(*seen(DARK_FISH, (150.0, 180.0, 190.0), DARK_BOARD))
    assert colour.odd and not colour.in_shade


def test_a_tip_of_another_hue_is_a_reason_to_doubt():
    _, colour = compared(*seen(DARK_FISH, (30.0, 30.0, 160.0)))
    assert colour.other_hue and "hue" in colour.odd


def test_the_dark_margin_of_a_strongly_coloured_tail_is_not_doubted():
    orange, nearly_black = (35.0, 105.0, 180.0), (45.0, 52.0, 58.0)
    _, colour = compared(*seen(orange, nearly_black))
    assert not colour.odd


def test_a_dark_tip_of_another_hue_on_a_strongly_coloured_tail_is_a_reason_to_doubt():
    orange, dark_blue = (35.0, 105.0, 180.0), (110.0, 40.0, 30.0)
    _, colour = compared(*seen(orange, dark_blue))
    assert colour.other_hue and "hue" in colour.odd


@pytest.mark.parametrize(
    ("fish", "tip", "board"),
    [(DARK_FISH, DARK_FISH, CREAM), ((110.0, 120.0, 115.0), (50.0, 60.0, 55.0), CREAM), (PALE_FISH, PALE_FISH, CREAM)],
    ids=["one colour", "dark margin", "pale on pale"],
)
def test_a_tails_own_tip_is_not_doubted(fish, tip, board):
    _, colour = compared(*seen(fish, tip, board))
    assert not colour.odd


def test_a_pale_fish_of_which_little_but_its_dark_rim_is_firm_is_not_doubted():
    # What of a pale fish on a pale board stands out along its sides is its shade; its tip is as pale as the board.
    _, colour = compared(*seen(shadow(0.8), PALE_FISH))
    assert colour.paler > 13.0 and not colour.odd


def test_a_tip_that_lies_in_the_sun_while_the_tail_lies_in_the_shade_is_not_doubted():
    _, colour = compared(*seen((90.0, 110.0, 100.0), (90.0, 110.0, 100.0), light=lambda x: np.where(x < END_MM - 4.0, 0.5, 1.0)))
    assert colour.paler > 13.0 and abs(colour.by_itself) < 8.0
    assert not colour.odd


def test_where_too_little_is_seen_nothing_is_said():
    share, *pictures = seen(DARK_FISH, shadow(0.5))
    tail = find_tail(share, RASTER, BLUR_PX)
    assert not tip_colour(0.5 * share, *pictures, RASTER, tail).odd


def test_a_stain_that_stands_apart_when_the_shadow_is_taken_off_goes_with_it():
    share, image, expected, light = seen(DARK_FISH, shadow(0.55))
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    x, y = np.moveaxis(RASTER.to_mm(np.stack([u, v], axis=-1)), -1, 0)
    stain = np.hypot(x - END_MM - 8.0, y) < 4.0
    between = np.median(image[(x > END_MM + 1) & (x < END_MM + 3) & (np.abs(y) < 20)], axis=0) * 0.5 + 0.5 * np.array(DARK_FISH)
    image = np.where(stain[..., None], between, image).astype(np.float32)
    share = np.maximum(share, stain).astype(np.float32)
    colour = tip_colour(share, image, expected, light, RASTER, find_tail(seen(DARK_FISH, shadow(0.55))[0], RASTER, BLUR_PX))
    assert without_pale(share, image, colour)[stain].mean() > 0.3  # not so pale as the shadow, it would be left
    tail = find_tail(_pared(share, image, colour), RASTER, BLUR_PX)
    assert tail.tip_x == pytest.approx(END_MM, abs=0.6)

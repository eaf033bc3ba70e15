"""The fish's own shade behind a broad tail: told from the tail, and from its dark margin, by the course of the light alone."""

import cv2
import numpy as np
import pytest

from reelnotes.measure.board_model import Raster
from reelnotes.measure.own_shade import Sight, settled

SCALE, BLUR_MM, END_MM = 2.0, 0.5, 300.0
RASTER = Raster(SCALE, 230.0, 40.0, int(100 * SCALE), int(80 * SCALE))


def drawn(tail, rim=None, rim_mm=0.0, softness_mm=0.0, inner_mm=0.0):
    """Light (h, w, 3) of a straight tail 50 mm broad that ends at END_MM on a board whose light is 1.

    rim  the light of a strip behind the tail, or with ``inner_mm`` of a margin of the tail that sets in so softly
    """
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    mm = RASTER.to_mm(np.stack([u, v], axis=-1))
    out, broad = mm[..., 0] - END_MM, np.abs(mm[..., 1] - 20.0) < 25.0
    light = np.ones((*out.shape, 3)) * 1.0
    if rim is not None and not inner_mm:
        fades = np.clip(0.5 - (out - rim_mm) / max(softness_mm, 0.1), 0.0, 1.0)
        light += ((np.array(rim) - 1.0) * (fades * broad)[..., None]) * (out > 0.0)[..., None]
    tail_light = np.ones_like(light) * np.array(tail)
    if rim is not None and inner_mm:
        sets_in = np.clip(0.5 + (out + rim_mm) / inner_mm, 0.0, 1.0)[..., None]
        tail_light += (np.array(rim) - tail_light) * sets_in
    light = np.where((broad & (out < 0.0))[..., None], tail_light, light)
    return cv2.GaussianBlur(light.astype(np.float32), (0, 0), BLUR_MM * SCALE)


def share_to(end_mm, point_mm=0.0):
    """Share (h, w) of a tail 50 mm broad up to so far along the board, or of one that narrows to a point from so far before."""
    u, v = np.meshgrid(np.arange(RASTER.width_px), np.arange(RASTER.height_px))
    mm = RASTER.to_mm(np.stack([u, v], axis=-1))
    half = 25.0 if not point_mm else 25.0 * np.clip((end_mm - mm[..., 0]) / point_mm, 0.0, 1.0)
    fish = (mm[..., 0] < end_mm) & (np.abs(mm[..., 1] - 20.0) < half)
    return cv2.GaussianBlur(fish.astype(np.float32), (0, 0), BLUR_MM * SCALE)


def read(light, shaded, bare=None, *, closely=True):
    made = settled(shaded, shaded if bare is None else bare, Sight(light, RASTER, BLUR_MM * SCALE, BLUR_MM), closely=closely)
    assert made is not None
    return made.tail, made.tip_doubt_mm, made.fork_doubt_mm


@pytest.mark.parametrize("tail", [(0.97, 0.97, 0.97), (0.92, 0.95, 1.05)])
def test_the_shade_behind_a_pale_tail_is_no_tail(tail):
    # source: the drawing; the share takes the shade for tail, as it does where the purest colour near by is the shade's
    light = drawn(tail, (0.7, 0.7, 0.7), 2.5, 2.0)
    taken, _, _ = read(light, share_to(END_MM + 2.5), closely=False)
    assert taken.tip_x > END_MM + 1.8  # else there is nothing to mend
    tail_found, tip_doubt, fork_doubt = read(light, share_to(END_MM + 2.5))
    assert tail_found.tip_x < taken.tip_x - 1.2
    assert abs(tail_found.tip_x - END_MM) < 1.96 * tip_doubt
    assert abs(tail_found.fork_x - END_MM) < 1.96 * fork_doubt


@pytest.mark.parametrize("margin", [(0.3, 0.3, 0.3), (0.45, 0.45, 0.45)])
def test_a_dark_margin_is_tail(margin):
    light = drawn((0.65, 0.68, 0.72), margin, 3.0, inner_mm=3.0)
    tail, _, _ = read(light, share_to(END_MM))
    assert tail.tip_x == pytest.approx(END_MM, abs=0.6)


def test_a_tail_of_another_hue_keeps_its_end():
    tail, doubt, _ = read(drawn((0.3, 0.5, 0.9)), share_to(END_MM))
    assert tail.tip_x == pytest.approx(END_MM, abs=0.3)
    assert doubt < 0.4


def test_soft_shade_as_dark_as_the_tail_is_told_by_its_softness():
    tail, _, _ = read(drawn((0.5, 0.5, 0.5), (0.5, 0.5, 0.5), 1.5, 3.0), share_to(END_MM + 1.5))
    assert tail.tip_x == pytest.approx(END_MM, abs=0.8)


def test_shade_as_dark_as_the_tail_and_as_sharp_leaves_the_end_open():
    _, plain_doubt, _ = read(drawn((0.3, 0.5, 0.9)), share_to(END_MM))
    tail, doubt, _ = read(drawn((0.5, 0.5, 0.5), (0.5, 0.5, 0.5), 1.5, 1.0), share_to(END_MM + 1.5))
    assert doubt > plain_doubt + 0.4
    assert abs(tail.tip_x - END_MM) < 1.96 * doubt


def test_a_point_lies_midway_and_a_broad_end_where_shade_is_allowed_for():
    flat = drawn((0.5, 0.5, 0.5))
    pointed, _, _ = read(flat, share_to(END_MM - 3.0, 30.0), share_to(END_MM, 30.0), closely=False)
    short, _, _ = read(flat, share_to(END_MM - 3.0, 30.0), closely=False)
    long, _, _ = read(flat, share_to(END_MM, 30.0), closely=False)
    assert pointed.tip_x == pytest.approx(0.5 * (short.tip_x + long.tip_x), abs=0.1)
    broad, doubt, _ = read(flat, share_to(END_MM - 3.0), share_to(END_MM), closely=False)
    assert broad.tip_x == pytest.approx(END_MM - 3.0, abs=0.3)
    assert doubt == pytest.approx(1.5, abs=0.1)  # half of what lies between the two readings stays in doubt

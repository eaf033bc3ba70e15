"""The tail in close-up: what of its edge is none of the tail's."""

from dataclasses import replace

import numpy as np
import pytest
from scene import BOARD, FishDrawing, Scene

from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish import _edge_mm, _tail_doubts
from reelnotes.measure.fish_piece import fish_pieces
from reelnotes.measure.landmarks import find_tail
from reelnotes.measure.outline import find_outline
from reelnotes.measure.stack import Stack, stack_frames
from reelnotes.measure.tail import _along_print, _cut, view_tail

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


def looked_at(mask_to_mm, covered_from_mm=None):
    """A close look at a drawn fish's tail by a piece that ends at a place, something else being taken off from another on."""
    clip = Scene().clip()
    stack = stack_frames(clip.frames, Raster.over(BOARD, 1.0, 25.0))
    outline = find_outline(stack, clip.model)
    (piece, *_) = fish_pieces(outline, stack, clip.board)
    x_mm = stack.raster.x_mm(np.arange(stack.raster.width_px))
    off = np.broadcast_to(x_mm > (covered_from_mm or np.inf), piece.mask.shape)
    return view_tail(clip.frames, clip.model, stack.raster, outline, piece.mask & (x_mm < mask_to_mm), 1.5, covered=off)


def test_a_piece_that_the_fish_goes_on_beyond_has_no_tails_end():
    assert looked_at(290.0) is None
    view = looked_at(400.0)
    assert view is not None
    assert view.tail.tip_x == pytest.approx(FishDrawing().length, abs=3.0)  # source: the drawing


@pytest.mark.parametrize(("from_mm", "cut"), [(300.0, True), (308.0, True), (FishDrawing().length + 0.5, False), (340.0, False)])
def test_a_tail_that_something_told_apart_cuts_through_is_doubted(from_mm, cut):
    # What is told apart just behind a tail's own end, where the picture has its edge, takes nothing off it.
    view = looked_at(400.0, from_mm)
    assert view is not None
    assert ("told apart" in " ".join(_tail_doubts(view))) == cut


@pytest.mark.parametrize(("beyond", "cut"), [(58.0, True), (69.0, False), (76.0, False)], ids=["tail", "shade", "board"])
def test_dark_board_close_behind_a_dark_tail_is_told_from_more_tail(beyond, cut):
    board, fish = 76.0, 60.0  # grey levels: no step between them is as high as those of a well lit picture
    share = forked(filled_to_mm=300.0)
    tail = find_tail(share, RASTER, 1.0)
    image = np.where(share[..., None] > 0.5, fish, beyond).repeat(3, axis=2).astype(np.float32)
    empty = np.full_like(image, board)
    whole = Stack(image, np.ones(share.shape, bool), (), RASTER, np.zeros(3))
    assert (_cut(share, millimetres()[..., 0] > tail.tip_x + 0.5, tail, whole, empty) > 0.5) == cut


def test_an_edge_sharper_than_the_pictures_blur_was_cut_and_leaves_the_end_open():
    # source: a Gaussian's quantiles: 0.8 and 0.2 of a step blurred by sigma lie 1.68 sigma apart
    view = looked_at(400.0)
    whole, cut = replace(view, blur_mm=1.0, soft_mm=1.7), replace(view, blur_mm=1.0, soft_mm=0.5)
    assert _edge_mm(cut) == pytest.approx(1.0)
    assert _edge_mm(whole) < 0.5

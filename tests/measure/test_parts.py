"""The parts net: its way in is what it was trained on, and on a drawn fish it sees fish, hand and board."""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scene import BOARD, FishDrawing, Scene

from reelnotes.measure import parts
from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish_piece import FishPiece
from reelnotes.measure.rectify import redrawn
from reelnotes.measure.seen_fish import disagreement, ends_of, hangs_over, head_seen, nose_seen_short, out_of_sight, seen_pieces
from reelnotes.measure.stack import stack_frames
from reelnotes.records.estimates import Estimate

BENCH = Path(__file__).resolve().parents[1] / "bench"
HAND = (((150, -30), (205, -30), (215, 60), (200, 130), (160, 130), (145, 60)), 40.0, (120, 150, 205))


def seen(scene):
    clip = scene.clip()
    stack = stack_frames(clip.frames, Raster.over(BOARD, 1.0, 25.0))
    return parts.see_parts(stack, clip.model), stack


def board_mm(stack, polygon):
    """(h, w) True inside a polygon given in board millimetres."""
    mask = np.zeros(stack.seen.shape, np.uint8)
    cv2.fillPoly(mask, [np.round(stack.raster.to_px(np.asarray(polygon, float))).astype(np.int32)], 1)
    return mask > 0


@pytest.mark.parametrize("dark", [False, True])
def test_most_of_a_drawn_fish_is_seen_as_fish_and_hardly_any_board(dark):
    # source: the drawing itself
    fish = FishDrawing(colour=(40, 44, 42), fin=(20, 24, 60)) if dark else FishDrawing()
    found, stack = seen(Scene(fish, dark=dark))
    truth = board_mm(stack, fish.body()) | board_mm(stack, fish.tail())
    got = found.fish > 0.5
    assert got[truth].mean() > 0.8
    near = cv2.dilate(truth.astype(np.uint8), np.ones((31, 31), np.uint8)) > 0
    assert got[~near].mean() < 0.02


def test_an_empty_board_shows_no_fish():
    found, _ = seen(Scene(fish=None))
    assert (found.fish > 0.5).mean() < 0.01


def test_a_whole_fish_is_found_at_the_stop_with_its_ends():
    fish = FishDrawing()
    found, stack = seen(Scene())
    (piece,) = seen_pieces(found, stack, BOARD, None)
    # source: the drawing; twice what the net sees as one pixel, and the parallax of a nose and a tail above the board
    assert piece.x_high == pytest.approx(fish.length, abs=2 * parts.pixel_mm(BOARD) + 4)
    assert piece.x_low < 12.0


def test_the_way_in_is_the_one_that_the_net_was_trained_on(monkeypatch):
    monkeypatch.syspath_prepend(str(BENCH))
    import parts_scenes

    rng = np.random.default_rng(3)
    frame, board = rng.integers(0, 256, (2, 64, 96, 3)).astype(np.uint8)
    board[:8] = 0
    inside = np.zeros((64, 96), np.uint8)
    inside[2:60, 5:90] = 255
    frame[inside == 0] = 0
    wanted = parts_scenes.net_input(frame, board, inside)
    got = parts._views(frame.astype(np.float32), board.astype(np.float32), inside > 0)
    assert np.allclose(got, wanted, atol=1e-5)
    assert (parts_scenes.WIDTH, parts_scenes.HEIGHT, parts_scenes.MARGIN_MM) == (parts.WIDTH, parts.HEIGHT, parts.MARGIN_MM)


def test_a_raster_is_carried_to_another_and_back_in_place():
    fine, coarse = Raster.over(BOARD, 1.0, 25.0), Raster.over(BOARD, 0.55, 25.0)
    blob = board_mm(type("S", (), {"seen": np.zeros((fine.height_px, fine.width_px)), "raster": fine})(),
                    [[100, 50], [300, 50], [300, 120], [100, 120]]).astype(np.float32)  # fmt: skip
    back = redrawn(redrawn(blob, fine, coarse), coarse, fine)
    low, high = ends_of(back > 0.5, fine)
    assert (low, high) == (pytest.approx(100, abs=1.5), pytest.approx(300, abs=1.5))


def test_two_views_of_a_fish_must_agree_on_both_ends():
    piece = FishPiece(np.ones((2, 2), bool), 2.0, 300.0, 90.0, ())
    assert disagreement([piece], 0.0, 303.0, BOARD) == ""
    assert "tail" in disagreement([piece], 0.0, 330.0, BOARD)
    assert "tail" in disagreement([piece], 0.0, 270.0, BOARD)
    assert "nose" in disagreement([replace(piece, x_low=30.0)], 0.0, 300.0, BOARD)
    assert disagreement([replace(piece, x_low=30.0)], 28.0, 300.0, BOARD) == ""
    assert "no whole fish" in disagreement([], 0.0, 300.0, BOARD)


def test_a_nose_on_the_stop_is_seen_to_hang_over_it():
    """Where glare hides the foot of the stop, a nose 30 mm up, seen by a camera 600 mm up and 400 mm along: by similar triangles
    it appears at -21 mm when it touches the stop, and at 10 mm when it lies 29 mm short of it."""
    nose, camera = Estimate(30.0, 4.0, "as drawn"), np.array([400.0, 90.0, 600.0])

    def seen_from(low_mm: float) -> str:
        piece = FishPiece(np.ones((2, 2), bool), low_mm, 300.0, 90.0, ())
        return nose_seen_short([piece], 301.0, nose, camera, BOARD)

    assert "nose short" in seen_from(10.0)
    assert seen_from(-8.0) == ""  # 12 mm short: within what the net's pixels tell
    assert seen_from(-21.0) == ""
    assert nose_seen_short([], 301.0, nose, camera, BOARD) == ""
    # 21 mm short: a long fish's nose is seen as well as a short one's
    assert "nose short" in nose_seen_short([FishPiece(np.ones((2, 2), bool), 1.5, 900.0, 90.0, ())], 901.0, nose, camera, BOARD)


def test_a_hand_across_the_body_is_no_fish_and_parts_none():
    found, stack = seen(Scene(extra=(HAND,)))
    hand = cv2.erode(board_mm(stack, HAND[0]).astype(np.uint8), np.ones((25, 25), np.uint8)) > 0
    assert (found.over > 0.5)[hand].mean() > 0.5
    assert sys.modules.get("torch") is None  # the product needs no training library


def drawn_parts(stack, *polygons):
    """What a net would say of fish where these polygons lie, board millimetres."""
    fish = np.any([board_mm(stack, polygon) for polygon in polygons], axis=0).astype(np.float32)
    return parts.Parts(fish, np.zeros_like(fish), np.zeros_like(fish))


@pytest.mark.parametrize(
    ("tail", "off"),
    [
        ([(290, 90), (300, 200), (400, 200), (400, 130)], True),  # curled: the rear leaves the board over its long edge
        ([(290, 80), (290, 100), (385, 200), (400, 200), (400, -20), (385, -20)], False),  # lobes that hang over at their ends
        ([(290, 80), (290, 100), (400, 130), (400, 50)], False),
    ],
)
def test_a_rear_that_hangs_over_the_long_edge_is_told_from_lobes_that_do(tail, off):
    clip = Scene(fish=None).clip()
    stack = stack_frames(clip.frames[:1], Raster.over(BOARD, 1.0, 25.0))
    body = [(0, 90), (100, 140), (200, 140), (300, 110), (300, 70), (200, 40), (100, 40)]
    assert hangs_over(drawn_parts(stack, body, tail), 0.0, 400.0, stack.raster, BOARD) == off


@pytest.mark.parametrize(("in_sight_to_mm", "tip_mm", "refused"), [(300, 200, True), (300, 296, False), (480, 200, False)])
def test_a_fish_that_goes_on_out_of_the_picture_has_no_end_in_sight(in_sight_to_mm, tip_mm, refused):
    """A net that sees a fish on to the picture's edge knows that what looks like a tail before is none."""
    clip = Scene(fish=None).clip()
    stack = stack_frames(clip.frames[:1], Raster.over(BOARD, 1.0, 25.0))
    unseen = stack.raster.x_mm(np.arange(stack.raster.width_px)) > in_sight_to_mm
    stack = replace(stack, seen=stack.seen & ~unseen)
    body = [(0, 90), (100, 140), (200, 140), (min(in_sight_to_mm, 400), 110), (min(in_sight_to_mm, 400), 70), (200, 40)]
    why = out_of_sight(drawn_parts(stack, body), stack, BOARD, tip_mm)
    assert (why is not None) == refused
    assert why is None or "outside the picture" in why.reason


def test_a_head_is_filled_in_only_where_the_net_sees_fish_right_up_to_the_stop():
    raster = Raster.over(BOARD, 1.0, 25.0)
    mask = np.zeros((raster.height_px, raster.width_px), bool)
    ends = raster.to_px(np.array([[40.0, 130.0], [300.0, 60.0]])).astype(int)
    mask[ends[0, 1] : ends[1, 1], ends[0, 0] : ends[1, 0]] = True
    piece = FishPiece(mask, 40.0, 300.0, BOARD.width_mm / 2, ())
    fish = np.full(mask.shape, 0.98, np.float32)
    over = np.zeros_like(fish)
    assert head_seen(parts.Parts(fish, over, over), piece, raster)
    stop = int(raster.to_px(np.array([0.0, 0.0]))[0])
    gap = fish.copy()
    gap[:, stop : stop + 25] = 0.02  # bare board before the nose
    assert not head_seen(parts.Parts(gap, over, over), piece, raster)
    assert not head_seen(parts.Parts(0.7 * fish, over, over), piece, raster)  # likely is not sure
    low = np.full_like(fish, 0.02)
    low[ends[1, 1] - 25 : ends[1, 1]] = 0.98
    assert head_seen(parts.Parts(low, over, over), piece, raster)  # a head that points down, abreast of the body's belly
    aside = np.full_like(fish, 0.02)
    aside[ends[1, 1] + 5 :] = 0.98
    assert not head_seen(parts.Parts(aside, over, over), piece, raster)  # another fish beside it is not its head


@pytest.mark.parametrize("colour", [(70, 90, 80), (196, 206, 212)])  # dark; much like the board
def test_a_real_gap_before_a_drawn_nose_is_not_filled_in(colour):
    fish = FishDrawing(nose_x=45.0, length=300.0, fork=278.0, colour=colour)
    found, stack = seen(Scene(fish))
    piece = FishPiece(stack.seen, 45.0, 345.0, fish.y, ())
    assert not head_seen(found, piece, stack.raster)


@pytest.mark.parametrize(("from_mm", "doubted"), [(60.0, True), (310.0, False)])
def test_another_fish_counts_where_it_lies_abreast_of_the_first(from_mm, doubted):
    stack = stack_frames(Scene().clip().frames, Raster.over(BOARD, 1.0, 25.0))
    whole = board_mm(stack, [[2, 40], [300, 40], [300, 90], [2, 90]])
    other = board_mm(stack, [[from_mm, 110], [from_mm + 180, 110], [from_mm + 180, 150], [from_mm, 150]])
    (piece,) = seen_pieces(parts.Parts((whole | other).astype(np.float32), 0 * stack.noise, 0 * stack.noise), stack, BOARD, None)
    assert bool(piece.doubts) == doubted


def test_several_looks_are_averaged_and_the_surest_hand_is_kept(monkeypatch):
    asked = []

    def look(stack, model, size, mirrored):
        asked.append((size, mirrored))
        return 0 * stack.noise + 0.1 * len(asked), 0 * stack.noise + 0.2 * len(asked)

    monkeypatch.setattr(parts, "_look", look)
    found, _ = seen(Scene())
    assert len(asked) == len(set(asked)) == 4
    assert {mirrored for _, mirrored in asked} == {True, False}
    for got, wanted in ((found.fish, 0.25), (found.over, 0.5), (found.maybe_over, 0.8)):
        assert np.allclose(got, wanted)


@pytest.mark.parametrize("mirrored", [True, False])
def test_a_look_at_another_size_or_mirrored_lies_in_the_same_place(mirrored):
    # source: the drawing itself
    stack = stack_frames(Scene().clip().frames, Raster.over(BOARD, 1.0, 25.0))
    fish, _ = parts._look(stack, Scene().clip().model, 1.2, mirrored)
    truth = board_mm(stack, FishDrawing().body()) | board_mm(stack, FishDrawing().tail())
    assert (fish > 0.5)[truth].mean() > 0.8
    assert (fish > 0.5)[~(cv2.dilate(truth.astype(np.uint8), np.ones((31, 31), np.uint8)) > 0)].mean() < 0.02

"""Blood on the board by the tail: told from it, or a matter to check, never a longer fish."""

from types import SimpleNamespace

import numpy as np
import pytest
from scene import BOARD, FishDrawing, Scene

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lobes import longer_lobe_stands_out, third_lobe
from reelnotes.measure.measure_clip import measure_posed

BLOOD = (30, 30, 160)


def blotch(x, y, long, broad, seed):
    """An uneven patch about (x, y), mm."""
    turn = np.linspace(0.0, 2 * np.pi, 14)[:-1]
    reach = np.random.default_rng(seed).uniform(0.7, 1.2, (13, 1))
    return (np.array([x, y]) + np.stack([np.cos(turn), np.sin(turn)], axis=-1) * [long, broad] * reach).tolist()


def measured(stain):
    return measure_posed(Scene(stain=(stain, BLOOD, 0.62)).clip(), "a.mp4").lengths[0]


@pytest.mark.parametrize(("x", "y", "long", "broad"), [(318, 71, 16, 14), (316, 78, 20, 9), (315, 118, 17, 10), (322, 72, 9, 6)])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_blotch_on_a_lobe_makes_no_longer_fish(x, y, long, broad, seed):
    row = measured(blotch(x, y, long, broad, seed))
    assert row.verdict != "measured" or row.total_length_mm == pytest.approx(FishDrawing().total, rel=0.02)


def test_what_one_lobe_has_beyond_the_other_has_its_colour_or_is_said():
    assert "the longer lobe ends in another colour" in measured(blotch(318, 71, 16, 14, 1)).reason


GREY, GREEN, BLUE, WHITE = (70.0, 75.0, 72.0), (60.0, 75.0, 62.0), (115.0, 88.0, 70.0), (150.0, 150.0, 150.0)
BLUISH = (92.0, 74.0, 64.0)


@pytest.mark.parametrize(
    ("tip", "board", "said"),
    [
        (GREY, BLUE, False),
        (BLUISH, BLUE, False),
        (BLUISH, WHITE, True),
        (BLOOD, BLUE, True),
    ],
    ids=["nearly grey", "some of the board's hue", "a hue of its own", "blood"],
)
def test_a_lobe_may_take_on_the_hue_of_the_board_about_it(tip, board, said):
    """A tail whose upper lobe reaches 20 mm beyond the lower, and is 6 mm wide there."""
    raster = Raster(2.0, 230.0, 130.0, 260, 160)
    v, u = np.mgrid[: raster.height_px, : raster.width_px]
    x, y = raster.x_mm(u), raster.y_mm(v)
    lobe = (x >= 300.0) & (x < 320.0) & (np.abs(y - 115.0) < 3.0)
    fish = ((x < 300.0) & (np.abs(y - 92.0) < 30.0)) | lobe
    image = np.where(lobe[..., None], tip, np.where(fish[..., None], GREEN, board)).astype(np.float32)
    view = SimpleNamespace(
        share=fish.astype(np.float32), stack=SimpleNamespace(raster=raster, image=image, seen=np.ones(fish.shape, bool)),
        tail=SimpleNamespace(tip_x=320.0, lopsided=20.0 / 60.0, span_mm=60.0),
    )  # fmt: skip
    assert (longer_lobe_stands_out(view) > 7.0) == said


def test_a_third_lobe_is_said():
    assert "third lobe" in measured(blotch(312, 93, 18, 8, 1)).reason


@pytest.mark.parametrize("printed", [True, False])
def test_a_word_under_a_tail_notches_it_but_makes_no_third_lobe(printed):
    """A straight tail 60 mm broad that ends at 300 mm, with two gaps where the board has, or has not, two lines of letters."""
    raster = Raster(2.0, 230.0, 130.0, 200, 160)
    v, u = np.mgrid[: raster.height_px, : raster.width_px]
    x, y = raster.x_mm(u), raster.y_mm(v)
    gaps = (x > 270.0) & ((np.abs(y - 80.0) < 5.0) | (np.abs(y - 105.0) < 5.0))
    share = ((x < 300.0) & (np.abs(y - 92.0) < 30.0) & ~gaps).astype(np.float32)
    picture = np.full((540, 1800, 3), 220, np.uint8)
    for y_mm in (80, 105) if printed else ():
        for x_mm in range(260, 330, 6):
            picture[int(539.5 - 3 * (y_mm + 4)) : int(539.5 - 3 * (y_mm - 4)), 3 * x_mm : 3 * x_mm + 9] = 60
    model = BoardModel(BOARD, picture, 3.0, (-0.5, 539.5), np.array([0.114, 0.587, 0.299]))
    view = SimpleNamespace(share=share, stack=SimpleNamespace(raster=raster), tail=SimpleNamespace(tip_x=300.0))
    outline = SimpleNamespace(score=np.full(share.shape, 9.0, np.float32))
    assert third_lobe(view, outline, share > 0.5, model) == (not printed)


def test_a_tail_with_uneven_lobes_of_one_colour_is_measured():
    fish = FishDrawing()
    fish.tail = lambda: FishDrawing.tail(fish) + np.array([[0, 0], [0, 0], [0, 0], [-9.0, 0], [0, 0]])
    row = measure_posed(Scene(fish).clip(), "a.mp4").lengths[0]
    assert row.verdict == "measured", row.reason
    assert row.total_length_mm == pytest.approx(fish.total, rel=0.006)


@pytest.mark.parametrize(("farther_mm", "verdict"), [(0.0, "check"), (6.0, "measured")])
def test_a_stain_behind_the_tail_is_told_where_two_looks_agree(farther_mm, verdict):
    """Right against the tail the net takes the stain for tail as well, and its colour is a reason to check."""
    stain = [[328.4, 113.9], [326.5, 116.4], [321.9, 118.3], [315.3, 119.0], [307.4, 119.8], [302.3, 117.6], [296.5, 115.5],
             [295.8, 112.3], [300.2, 109.6], [307.6, 108.1], [314.9, 109.9], [319.8, 110.6], [324.4, 111.8]]  # fmt: skip
    stain = [(x + farther_mm, y) for x, y in stain]
    row = measure_posed(Scene(stain=(stain, (30, 30, 175), 0.59)).clip(), "a.mp4").lengths[0]
    assert row.verdict == verdict, row.reason
    assert verdict == "check" or row.total_length_mm == pytest.approx(FishDrawing().total, rel=0.01)


@pytest.mark.parametrize("behind_mm", [9.0, 11.0, 13.0])
def test_a_stain_close_behind_a_tail_takes_nothing_from_it(behind_mm):
    x = FishDrawing().length + behind_mm
    stain = [(x, 95.0), (x + 11.0, 93.0), (x + 13.0, 60.0), (x + 2.0, 56.0)]
    row = measure_posed(Scene(stain=(stain, (30, 30, 175), 0.6)).clip(), "a.mp4").lengths[0]
    assert row.verdict == "measured", row.reason
    assert row.total_length_mm == pytest.approx(FishDrawing().total, rel=0.005)


@pytest.mark.parametrize(("behind_mm", "verdict"), [(2.0, "check"), (28.0, "measured")])
def test_what_comes_in_over_the_edge_hides_a_tail_only_where_it_lies_against_it(behind_mm, verdict):
    from_x = FishDrawing().length + behind_mm
    strip = [(from_x, 118.0), (from_x + 20.0, 118.0), (from_x + 20.0, 190.0), (from_x, 190.0)]
    row = measure_posed(Scene(extra=((strip, 1.0, (40, 30, 160)),)).clip(), "a.mp4").lengths[0]
    assert row.verdict == verdict, row.reason


DARK, BROWN = (0, 0, 0), (30, 40, 60)


@pytest.mark.parametrize(
    ("patch", "colour", "share"),
    [
        ([(300, 60), (345, 60), (345, 130), (300, 130)], DARK, 0.5),
        ([(300, 60), (345, 60), (345, 130), (300, 130)], BROWN, 0.7),
        ([(305, 70), (335, 70), (335, 120), (305, 120)], DARK, 0.7),
        ([(310, 55), (360, 55), (360, 135), (310, 135)], DARK, 0.7),
        ([(300, 65), (330, 60), (352, 80), (350, 112), (325, 128), (300, 125)], DARK, 0.5),
        ([(300, 65), (330, 60), (352, 80), (350, 112), (325, 128), (300, 125)], BROWN, 0.7),
    ],
)
def test_what_lies_on_behind_a_tail_makes_no_longer_fish(patch, colour, share):
    row = measure_posed(Scene(stain=(patch, colour, share)).clip(), "a.mp4").lengths[0]
    assert row.verdict == "check"
    assert "changes colour" in row.reason


def test_a_body_that_ends_in_a_fin_of_another_colour_is_one_fish():
    row = measure_posed(Scene(FishDrawing(colour=(90, 120, 60), fin=(30, 40, 170))).clip(), "a.mp4").lengths[0]
    assert row.verdict == "measured", row.reason

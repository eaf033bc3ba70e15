"""A fish of the board's own colour falls into pieces: what of the outline fills the fish that the net sees belongs to it."""

from dataclasses import replace

import pytest
from scene import FishDrawing, Scene

from reelnotes.measure import choose_piece, fish
from reelnotes.measure.fish_piece import FishPiece
from reelnotes.measure.landmarks import Tail
from reelnotes.measure.measure_clip import measure_posed
from reelnotes.measure.tail_end import TailEnd
from reelnotes.records.problems import Refusal

HALF_MM = 190.0


def in_half(monkeypatch) -> None:
    """The outline's piece ends halfway along the fish, just as a tail would."""
    pieces, tails = choose_piece.fish_pieces, choose_piece.best_tail

    def first_half(outline, stack, board):
        whole = pieces(outline, stack, board)[0]
        mask = whole.mask & (stack.raster.x_mm(range(stack.raster.width_px)) < HALF_MM)
        return [FishPiece(mask, whole.x_low, HALF_MM, whole.nose_y, ())]

    def like_a_tail(clip, chosen, *rest):
        if chosen[0].x_high > HALF_MM:
            return tails(clip, chosen, *rest)
        far = tails(clip, pieces(rest[1], rest[0], clip.board), *rest).tail
        assert isinstance(far, Tail)
        return TailEnd(chosen[0], replace(far, tip_x=HALF_MM, fork_x=HALF_MM - 20.0), 1.0, by_shape=1.0)

    monkeypatch.setattr(choose_piece, "fish_pieces", first_half)
    monkeypatch.setattr(choose_piece, "best_tail", like_a_tail)
    monkeypatch.setattr(choose_piece, "parted_pieces", lambda *_: [])


def test_a_piece_beyond_which_the_outline_fills_the_net_s_fish_is_not_all_of_it(monkeypatch):
    in_half(monkeypatch)
    row = measure_posed(Scene().clip(), "a.mp4").lengths[0]
    assert row.verdict == "measured", row.reason
    assert row.total_length_mm == pytest.approx(FishDrawing().total, rel=0.006)


def test_what_only_the_net_sees_beyond_a_tail_is_no_more_than_a_doubt(monkeypatch):
    in_half(monkeypatch)
    found = fish.find_outline
    monkeypatch.setattr(fish, "find_outline", lambda *given: replace(found(*given), layers=((), *found(*given).layers[1:])))
    assert measure_posed(Scene().clip(), "a.mp4").lengths[0].verdict != "measured"


@pytest.mark.parametrize(("reason", "verdict"), [(fish._NOT_SEEN, "measured"), ("the tail lies outside the picture", "refused")])
def test_a_fish_that_hardly_stands_out_is_looked_at_once_more(monkeypatch, reason, verdict):
    real, looks = fish._outlined, []

    def outlined(*given):
        looks.append(given)
        return Refusal(reason) if len(looks) == 1 else real(*given)

    monkeypatch.setattr(fish, "_outlined", outlined)
    assert measure_posed(Scene().clip(), "a.mp4").lengths[0].verdict == verdict

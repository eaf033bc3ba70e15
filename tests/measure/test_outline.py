"""The outline, where the board is known to be hidden: what lies there is not taken for board in another light."""

from dataclasses import replace

import numpy as np
import pytest
from scene import BOARD, FishDrawing, Scene

from reelnotes.measure import fish as room
from reelnotes.measure.board_model import Raster
from reelnotes.measure.fish import Fish, measure_fish
from reelnotes.measure.lobes import OTHER_END
from reelnotes.measure.outline import find_outline
from reelnotes.measure.parts import Parts, well_inside
from reelnotes.measure.stack import stack_frames
from reelnotes.records.problems import Refusal


def test_another_light_does_not_begin_where_the_board_is_hidden():
    # An even thing of half the dark board's brightness, from its near edge to 80 mm across, lies from 200 to 340 mm (source: the
    # drawing).
    thing = np.array([[200.0, -2.0], [340.0, -2.0], [340.0, 80.0], [200.0, 80.0]])
    clip = Scene(fish=None, dark=True, extra=((thing, 0.0, (27, 28, 30)),)).clip()
    stack = stack_frames(clip.frames, Raster.over(BOARD, 1.0, 25.0))
    u, v = np.meshgrid(np.arange(stack.raster.width_px), np.arange(stack.raster.height_px))
    mm = stack.raster.to_mm(np.stack([u, v], axis=-1))
    there = (np.abs(mm[..., 0] - 270.0) < 66.0) & (mm[..., 1] < 76.0)
    free, hidden = (find_outline(stack, clip.model, known) for known in (None, there))
    inside = free.on_board & there
    passes = [float((made.score[inside] < 0.5).mean()) for made in (free, hidden)]
    assert passes[0] > 0.3  # over one bar or the other, it passes for the board in less light
    assert passes[1] < 0.05
    bare = hidden.on_board & (mm[..., 0] > 360.0)
    assert np.median(hidden.score[bare]) < 0.5


def test_only_what_is_well_inside_a_fish_or_a_hand_is_surely_hidden():
    fish, over = np.zeros((60, 90), np.float32), np.zeros((60, 90), np.float32)
    fish[20:40, 10:60], over[20:40, 60:80] = 0.9, 0.95
    fish[45:55] = 0.7  # not sure enough
    inside = well_inside(Parts(fish, over, over), 1.0)
    expected = np.zeros((60, 90), bool)
    expected[24:36, 14:76] = True
    assert (inside == expected).all()  # source: by hand, for a rim of four pixels


@pytest.mark.parametrize("second", ["sure", "in doubt", "refused"])
def test_a_fish_in_doubt_is_looked_at_again_and_only_a_sure_answer_replaces_the_first(monkeypatch, second):
    clip = Scene(fish=FishDrawing()).clip()
    plain, answers = room._outlined, []

    def doubted(*args):
        made = plain(*args)
        assert isinstance(made, Fish)
        doubts = ("made up",) if not answers or second == "in doubt" else ()
        made = Refusal("made up") if answers and second == "refused" else replace(made, doubts=doubts)
        answers.append(made)
        return made

    monkeypatch.setattr(room, "_outlined", doubted)
    made = measure_fish(clip)
    assert len(answers) == 2
    assert made is answers[1 if second == "sure" else 0]


@pytest.mark.parametrize("first", ["sure", "lens in doubt", "two colours", "refused"])
def test_no_second_look_is_taken_where_none_could_help(monkeypatch, first):
    clip = Scene(fish=FishDrawing()).clip()
    if first == "lens in doubt":
        clip = replace(clip, lens_from="guessed")
    plain, answers = room._outlined, []

    def counted(*args):
        made = Refusal("made up") if first == "refused" else plain(*args)
        answers.append(replace(made, doubts=(OTHER_END,)) if first == "two colours" else made)
        return answers[-1]

    monkeypatch.setattr(room, "_outlined", counted)
    measure_fish(clip)
    assert len(answers) == 1

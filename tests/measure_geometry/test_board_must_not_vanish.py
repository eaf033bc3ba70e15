"""A fish that somebody held before the camera on a board never vanishes without a word; clips without a board get no row."""

import importlib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from scenes import WIDE, board_on_disk, draw_board, fish, looking, render

from reelnotes.measure import find_board, measure_clips, pose
from reelnotes.measure.looking import Sights, glance_through
from reelnotes.measure.posed import INSTEAD, NotFound, NotHeld
from reelnotes.records.boards import Lens
from reelnotes.records.clips import Camera, Clip
from reelnotes.records.problems import Refusal
from reelnotes.records.settings import TripSettings

look_at = importlib.import_module("reelnotes.measure.measure_clip")  # the room's verb of that name hides the module
VIEWS = [(6, 4, 0), (-14, 12, 6), (14, -14, 12), (-20, -10, 4)]


def film(path: Path, images) -> Path:
    with av.open(str(path), "w") as out:
        stream = out.add_stream("libx264", rate=Fraction(30))
        stream.width, stream.height, stream.pix_fmt = images[0].shape[1], images[0].shape[0], "yuv420p"
        stream.options = {"crf": "16", "preset": "ultrafast"}
        for image in images:
            for _ in range(3):
                out.mux(stream.encode(av.VideoFrame.from_ndarray(image, format="bgr24")))
        out.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def filmed(tmp_path_factory):
    """A fish on a board, the deck without one, and the board."""
    folder, picture = tmp_path_factory.mktemp("filmed"), draw_board()
    poses = [looking(500, 160, tilt_deg=a, turn_deg=b, spin_deg=c, height=430.0) for a, b, c in VIEWS]
    shown = [render(picture, WIDE, R, t, seed=i, cover=fish(0, 280, 85, 32)) for i, (R, t) in enumerate(poses)]
    bare = [render(np.full_like(picture, 90), WIDE, R, t, seed=i) for i, (R, t) in enumerate(poses)]
    return film(folder / "fish.mp4", shown), film(folder / "deck.mp4", bare), board_on_disk(folder, picture)


def wrong_lens(share: float) -> Lens:
    k = replace(WIDE, fx=WIDE.fx * share, fy=WIDE.fy * share).K
    return Lens("wrong", "fisheye", WIDE.width_px, WIDE.height_px, tuple(map(tuple, k)), WIDE.dist, 0.2, "lenses/wrong.toml")


def rows(filmed, lens: Lens | None):
    """What a trip of both clips tells, filmed with one camera whose lens is given."""
    clips = tuple(Clip(p.name, p, "bow", width_px=WIDE.width_px, height_px=WIDE.height_px) for p in filmed[:2])
    camera = Camera("bow", lens="lenses/wrong.toml" if lens else None)
    lenses = {"lenses/wrong.toml": lens} if lens else {}
    folder = SimpleNamespace(settings=TripSettings(), clips=clips, boards=(filmed[2],), lenses=lenses, cameras=(camera,))
    with ThreadPoolExecutor(1) as one:
        return {row.clip: row for clip in measure_clips(folder, executor=one).clips for row in clip.lengths}


def test_under_a_lens_that_is_far_off_the_fish_stays_and_is_a_matter_to_check(filmed):
    lens = wrong_lens(0.6)
    assert isinstance(pose.pose_clip(filmed[0], [filmed[2]], lens), Refusal)  # no pose holds under it
    told = rows(filmed, lens)
    assert list(told) == ["fish.mp4"]
    row = told["fish.mp4"]
    assert row.verdict != "measured" and row.lens_from == INSTEAD
    if row.verdict == "check":
        assert "the given lens does not fit the board" in row.reason
        assert abs(row.total_length_mm / 280.0 - 1) < 0.04
    else:
        assert row.reason


def test_where_no_lens_gives_a_pose_the_board_is_told_all_the_same(filmed, monkeypatch):
    monkeypatch.setattr(pose, "_solved", lambda *_, **__: Refusal("the lens cannot be solved from what is seen of the board"))
    told = rows(filmed, wrong_lens(0.6))
    assert list(told) == ["fish.mp4"]
    row = told["fish.mp4"]
    assert (row.verdict, row.board, row.total_length_mm) == ("refused", filmed[2].name, None)
    assert row.reason == "the lens cannot be solved from what is seen of the board"
    assert 0.0 <= row.start_s < row.end_s < 0.5


@pytest.mark.parametrize("part", ["track", "sharpen"])
def test_a_proved_board_that_cannot_be_followed_or_read_is_told(filmed, monkeypatch, part):
    if part == "track":
        monkeypatch.setattr(pose.scan, "track", lambda *_: [])
    else:
        monkeypatch.setattr(pose, "sharpen", lambda *_: None)
    told = rows(filmed, None)
    assert list(told) == ["fish.mp4"]
    assert told["fish.mp4"].verdict == "refused" and told["fish.mp4"].board == filmed[2].name


def test_likeness_alone_makes_no_row(filmed, monkeypatch):
    # A hatch or a lid may look much like a board: what tells is the print of a known one.
    deck = filmed[1]
    sights = replace(glance_through(deck, thorough=True), likeness=0.99)
    made = look_at.measure_clip(deck, clip_name="deck.mp4", boards=[filmed[2]], lens=wrong_lens(0.6), sights=sights)
    assert not made.board_seen and made.lengths[0].verdict == "refused"


@pytest.mark.parametrize(
    ("likeness", "nearest", "again"),
    [(0.9, 0.3, True), (0.3, 0.3, False), (0.9, 0.05, False)],
    ids=["likely", "unlike", "hopeless"],
)
def test_a_second_look_is_spent_only_where_the_lens_may_have_been_at_fault(filmed, monkeypatch, likeness, nearest, again):
    looks = []

    def none_found(path, boards, lens, *, sights, **more):
        looks.append((lens, len(sights.times_s)))
        return NotFound("no known board is in sight", nearest)

    monkeypatch.setattr(look_at, "pose_clip", none_found)
    lens = wrong_lens(0.6)
    sights = Sights((0.0, 0.1, 0.2), likeness, 8.0)
    made = look_at.measure_clip(filmed[0], clip_name="a", boards=[filmed[2]], lens=lens, sights=sights)
    assert looks == [(lens, 3), *([(None, 2)] if again else [])]
    assert not made.board_seen


def test_not_held_is_a_refusal():
    assert not NotHeld("why", "board", (1.0, 2.0))
    assert isinstance(NotHeld("why"), Refusal)


def test_a_fault_over_one_clip_leaves_the_others_measured(filmed, monkeypatch):
    sound = rows(filmed, None)[filmed[0].name]
    whole = importlib.import_module("reelnotes.measure.whole_trip")

    def glance(path):
        if path == filmed[1]:
            raise np.linalg.LinAlgError("Matrix is not positive definite")
        return glance_through(path)

    monkeypatch.setattr(whole, "glance_through", glance)
    clips = tuple(Clip(p.name, p, "bow", width_px=WIDE.width_px, height_px=WIDE.height_px) for p in filmed[:2])
    folder = SimpleNamespace(settings=TripSettings(), clips=clips, boards=(filmed[2],), lenses={}, cameras=(Camera("bow"),))
    with ThreadPoolExecutor(1) as one:
        told = measure_clips(folder, executor=one)
    lengths = [row.total_length_mm for clip in told.clips for row in clip.lengths]
    assert lengths == [pytest.approx(sound.total_length_mm, rel=1e-3)]
    (problem,) = told.problems
    assert problem.serious and problem.where == filmed[1].name and "LinAlgError" in problem.what


def test_a_better_sight_of_a_found_board_is_sought_by_quick_looks_only(monkeypatch):
    asked = []

    def weakly_found(image, *_, whole, outlines):
        asked.append((whole, outlines))
        return find_board.Search(SimpleNamespace(strength=0.3), 0.3)

    blank = SimpleNamespace(pixels=np.zeros((90, 160, 3), np.uint8))
    monkeypatch.setattr(pose, "frames_to_search", lambda *_: iter([blank] * 3))
    monkeypatch.setattr(pose, "search", weakly_found)
    picture, found, _ = pose._look(None, Sights((0.0,), 0.95, 8.0), [], None)
    assert found.strength == 0.3 and picture is blank
    assert asked == [(True, True), (False, False), (False, False)]

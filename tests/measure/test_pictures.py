"""Evidence pictures: one for each clip's path, none of a fish that is gone, and lengths in the trip's unit."""

import hashlib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from scene import Scene

from reelnotes.measure import whole_trip
from reelnotes.measure.evidence import UNITS, _headline, _subline, recaptioned
from reelnotes.measure.measure_clip import ClipMeasure, measure_posed
from reelnotes.measure.pictures import owner_of, sealed, with_rows, write_evidence
from reelnotes.records.lengths import FishLength

PNG = cv2.imencode(".png", np.zeros((8, 8, 3), np.uint8))[1].tobytes()


def measured(*clips: str) -> list[ClipMeasure]:
    return [ClipMeasure((FishLength(clip, 0, 1, "measured"),), (PNG,), True) for clip in clips]


def pictures(out: Path) -> set[str]:
    return {path.name for path in (out / "frames").iterdir()} if (out / "frames").is_dir() else set()


def test_clips_of_one_name_have_pictures_of_their_own(tmp_path: Path) -> None:
    clips = [f"clips/{camera}/{number:04d}.mp4" for camera in ("bow", "chest") for number in range(400)]
    rows = write_evidence(measured(*clips), tmp_path)
    assert len({row.evidence for row in rows}) == len(clips) == len(pictures(tmp_path))


def test_two_paths_whose_few_letters_are_the_same(tmp_path: Path) -> None:
    one, other = "a !   !!!! b.mp4", "a !!!   !!!b.mp4"  # found by trying
    assert hashlib.sha256(one.encode()).hexdigest()[:4] == hashlib.sha256(other.encode()).hexdigest()[:4]
    rows = write_evidence(measured(one, other), tmp_path / "out")
    assert rows[0].evidence != rows[1].evidence


def test_one_clip_by_itself_is_known_by_where_it_lies(tmp_path: Path) -> None:
    cards = [tmp_path / card / "A001.mp4" for card in ("one", "two")]
    rows = [write_evidence(measured(card.name), tmp_path, only=card)[0] for card in cards]
    assert rows[0].evidence != rows[1].evidence
    assert len(pictures(tmp_path)) == 2
    again = write_evidence(measured("A001.mp4"), tmp_path, only=cards[1])
    assert again[0].evidence == rows[1].evidence  # measured again: the same picture, anew
    gone = replace(measured("A001.mp4")[0], pictures=(None,))
    write_evidence([gone], tmp_path, only=cards[0])
    assert pictures(tmp_path) == {Path(rows[1].evidence).name}


def test_pictures_of_fish_that_are_gone_go_away_and_nothing_else(tmp_path: Path) -> None:
    alone = write_evidence(measured("A.mp4"), tmp_path, only=tmp_path / "A.mp4")[0]
    first = write_evidence(measured("clips/a.mp4", "clips/b.mp4", "clips/c.mp4"), tmp_path)
    folder = tmp_path / "frames"
    (folder / "mine.png").write_bytes(PNG)
    (folder / "notes.txt").write_text("mine")
    drawn_on = tmp_path / first[2].evidence
    drawn_on.write_bytes(drawn_on.read_bytes()[:-12] + b"\0\0\0\0tEXt" + b"\0\0\0\0" + drawn_on.read_bytes()[-12:])
    kept = drawn_on.read_bytes()
    second = write_evidence(measured("clips/a.mp4", "clips/c.mp4"), tmp_path)
    assert second[0].evidence == first[0].evidence
    assert second[1].evidence != first[2].evidence and drawn_on.read_bytes() == kept
    left = {"mine.png", "notes.txt", drawn_on.name, *(Path(row.evidence).name for row in (alone, *second))}
    assert pictures(tmp_path) == left
    write_evidence((), tmp_path)
    assert pictures(tmp_path) == {"mine.png", "notes.txt", drawn_on.name, Path(alone.evidence).name}


def test_an_empty_folder_of_pictures_goes_too(tmp_path: Path) -> None:
    write_evidence(measured("clips/a.mp4"), tmp_path)
    write_evidence((), tmp_path)
    assert not (tmp_path / "frames").exists()


def test_a_seal_leaves_the_picture_whole() -> None:
    data = sealed(PNG, "trip 0123")
    assert owner_of(data) == "trip 0123"
    assert owner_of(PNG) is None and owner_of(b"") is None and owner_of(data + b"\0") is None
    # source: OpenCV's PNG reader, which checks each chunk's sum
    assert np.array_equal(cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.zeros((8, 8, 3)))


def test_a_picture_with_a_very_long_name(tmp_path: Path) -> None:
    clip = "clips/" + "ø" * 110 + "/" + "å" * 110 + ".mp4"
    (row,) = write_evidence(measured(clip), tmp_path)
    assert (tmp_path / row.evidence).is_file()


ROW = FishLength("a.mp4", 0, 1, "measured", total_length_mm=508.0, fork_length_mm=482.6, low_mm=500.38, high_mm=515.62)


@pytest.mark.parametrize(
    ("units", "big", "small"),
    [("metric", "50.8 cm  (50.0 to 51.6)", "fork 48.3 cm"), ("imperial", "20.0 in  (19.7 to 20.3)", "fork 19.0 in")],
)
def test_words_of_a_picture_are_in_the_unit_asked_for(units: str, big: str, small: str) -> None:
    assert _headline(ROW, UNITS[units]) == big
    assert small in _subline(ROW, UNITS[units])


def test_the_grid_is_in_the_unit_asked_for() -> None:
    clip = Scene().clip()
    metric, imperial = (measure_posed(clip, "a.mp4", units).pictures[0] for units in ("metric", "imperial"))
    pixels = [cv2.imdecode(np.frombuffer(png, np.uint8), cv2.IMREAD_COLOR)[:-150] for png in (metric, imperial)]
    assert (pixels[0] != pixels[1]).any()


def test_a_trips_unit_reaches_its_pictures(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    asked = []

    def look(path: Path, *, units: str, **rest: object) -> ClipMeasure:
        asked.append(units)
        return measured("a.mp4")[0]

    monkeypatch.setattr(whole_trip, "measure_clip", look)
    clip = type("Clip", (), {"path": tmp_path / "a.mp4", "name": "a.mp4"})()
    whole_trip.measured_clip(whole_trip.Job(clip, (), None, units="imperial"))
    assert asked == ["imperial"]


def test_a_verdict_that_came_later_stands_under_the_picture_too() -> None:
    made = measure_posed(Scene().clip(), "a.mp4")
    assert recaptioned(made.pictures[0], made.lengths[0]) == made.pictures[0]
    assert with_rows([made], made.lengths, "metric") == (made,)
    doubted = replace(made.lengths[0], verdict="check", reason="it differs from the log")
    (now,) = with_rows([made], [doubted], "metric")
    assert now.lengths == (doubted,)
    before, after = (cv2.imdecode(np.frombuffer(c.pictures[0], np.uint8), cv2.IMREAD_COLOR) for c in (made, now))
    assert before.shape == after.shape and (before[:-150] == after[:-150]).all() and (before[-150:] != after[-150:]).any()

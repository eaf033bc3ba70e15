"""Where outputs may go: never among the trip's own files."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from reelnotes.cli.app import app
from reelnotes.pipeline import left_from_before, output_folder
from reelnotes.records.problems import UsageError


def test_outputs_never_lie_among_the_trips_own_files(tmp_path: Path) -> None:
    root = tmp_path / "trip"
    (root / "clips/chest").mkdir(parents=True)
    (root / "outputs").mkdir()
    (root / "film").mkdir()
    (root / "film/A.mp4").write_bytes(b"x")
    (root / "earlier").mkdir()
    (root / "earlier/trip.json").write_text("{}")
    for wrong in ("", "clips", "clips/chest", "clips/new", "Track/out", "film"):
        with pytest.raises(UsageError):
            output_folder(root, root / wrong)
    for right in ("outputs", "new", "earlier", "../elsewhere"):
        assert output_folder(root, root / right) == (root / right).resolve()


def test_where_nothing_can_be_written_is_told_before_the_work(tmp_path: Path) -> None:
    (tmp_path / "trip").mkdir()
    (tmp_path / "a file").write_text("x")
    with pytest.raises(UsageError, match="nothing can be written into"):
        output_folder(tmp_path / "trip", tmp_path / "a file/out")


@pytest.mark.parametrize("name", ["frames", "post", "sorted"])
def test_a_file_in_the_place_of_a_folder_of_outputs_is_told_before_the_work(name: str, tmp_path: Path) -> None:
    (tmp_path / "trip").mkdir()
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / name).write_text("mine")
    with pytest.raises(UsageError, match="it is a file, so no outputs can go into it"):
        output_folder(tmp_path / "trip", tmp_path / "out")


def test_outputs_of_an_earlier_run_are_told(tmp_path: Path) -> None:
    assert left_from_before(tmp_path, ("cuts.csv", "post")) == ()
    (tmp_path / "cuts.csv").write_text("cut\n")
    (told,) = left_from_before(tmp_path, ("cuts.csv", "post"))
    assert "cuts.csv" in str(told) and "post" not in told.what and not told.serious


def test_run_inside_the_trip_folder_outputs_go_beside_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = tmp_path / "trips/dawn"
    (root / "clips/chest").mkdir(parents=True)
    beside = (tmp_path / "trips/outputs/dawn").resolve()
    for here, said in ((root, "."), (root / "clips", ".."), (root / "clips/chest", str(root))):
        monkeypatch.chdir(here)
        assert output_folder(Path(said), None) == beside
    for here in (tmp_path, tmp_path / "trips"):
        monkeypatch.chdir(here)
        assert output_folder(root, None) == (here / "outputs/dawn").resolve()


def test_a_trip_without_clips_says_so(tmp_path: Path) -> None:
    root, out = tmp_path / "dawn", tmp_path / "out"
    (root / "log").mkdir(parents=True)
    (root / "log/catches.csv").write_text("time,event,species\n2026-05-09 06:05,landed,pike\n")
    before = sorted(root.rglob("*"))
    for command in ("run", "lengths", "cuts", "summary", "lineup", "sort"):
        made = CliRunner().invoke(app, [command, str(root), "--out", str(out)])
        # A time line of a track and a log is whole by itself; where clips are what was asked for, they are missing.
        assert made.exit_code == (0 if command == "lineup" else 1), made.output
        assert made.output.count("clips: there are none") == 1
        assert "only the log could be used" in made.output
    assert (out / "trip.json").is_file()
    assert sorted(root.rglob("*")) == before

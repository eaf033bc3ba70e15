"""Where outputs may go: never among the trip's own files."""

from pathlib import Path

import pytest

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


def test_outputs_of_an_earlier_run_are_told(tmp_path: Path) -> None:
    assert left_from_before(tmp_path, ("cuts.csv", "post")) == ()
    (tmp_path / "cuts.csv").write_text("cut\n")
    (told,) = left_from_before(tmp_path, ("cuts.csv", "post"))
    assert "cuts.csv" in str(told) and "post" not in told.what and not told.serious

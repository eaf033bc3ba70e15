"""Safe writing: a killed or failed write leaves the old file, never half of a new one."""

from pathlib import Path

import pytest

from reelnotes.media.writing import TEMPORARY_MARK, replacing, write_text


def test_a_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    target = tmp_path / "a" / "clips.csv"
    write_text(target, "old\n")
    with pytest.raises(RuntimeError), replacing(target) as temporary:
        temporary.write_text("half")
        raise RuntimeError("killed")
    assert target.read_text() == "old\n"
    assert list(target.parent.iterdir()) == [target]


def test_the_target_is_not_there_before_the_end(tmp_path: Path) -> None:
    target = tmp_path / "cuts.edl"
    with replacing(target) as temporary:
        temporary.write_text("x")
        assert not target.exists()
        assert TEMPORARY_MARK in temporary.name and temporary.suffix == ".edl"
    assert target.read_text() == "x"

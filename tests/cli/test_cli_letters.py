"""What is printed reaches any terminal, whatever letters it has."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest


def reelnotes(*words: str, **env: str) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "reelnotes", *words]
    return subprocess.run(command, env={**os.environ, **env}, capture_output=True, check=False)


@pytest.fixture
def trip(tmp_path: Path) -> Path:
    root = tmp_path / "grå morgen på sjøen"
    (root / "log").mkdir(parents=True)
    (root / "log/fångst.csv").write_text("time,event,species\n2026-05-09 06:05,landed,sjøørret\n", encoding="utf-8")
    return root


def test_a_terminal_without_accents(trip: Path) -> None:
    for words in ((), ("--json",)):
        told = reelnotes("check", str(trip), *words, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert told.returncode == 0, told.stderr
    # Escaped, so that no letter is lost: JSON is whole in ASCII (RFC 8259, section 7).
    assert json.loads(told.stdout.decode("ascii"))["title"] == "grå morgen på sjøen"


def test_a_locale_without_accents_spoils_no_output(trip: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    told = reelnotes("lineup", str(trip), "--out", str(out), LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert told.returncode == 0, told.stderr
    record = (out / "trip.json").read_text(encoding="utf-8")
    assert "grå morgen på sjøen" in record
    assert "sjøørret" in record


def test_brackets_in_a_folders_name_are_no_markup(trip: Path, tmp_path: Path) -> None:
    moved = trip.rename(tmp_path / "day [bold] [1")
    out = tmp_path / "out [/red] [bold]"
    told = reelnotes("sort", str(moved), "--out", str(out), PYTHONUTF8="1")
    assert told.returncode == 1, told.stderr  # it holds no clips
    assert str(out / "sorted") in told.stdout.decode()


@pytest.mark.parametrize("wrong", ["0x0:25mm", "2x6:25mm", "9x6:0mm"])
def test_a_checkerboard_that_cannot_be(wrong: str, tmp_path: Path) -> None:
    told = reelnotes("lens", str(tmp_path / "no.mp4"), "--checkerboard", wrong)
    assert told.returncode == 2
    assert b"internal fault" not in told.stderr
    assert b"--checkerboard: " in told.stderr


def test_the_clock_page_says_where_it_lies(tmp_path: Path) -> None:
    told = reelnotes("clockpage", "--json", str(tmp_path))
    assert Path(json.loads(told.stdout)["page"]).read_text(encoding="utf-8").startswith("<!")

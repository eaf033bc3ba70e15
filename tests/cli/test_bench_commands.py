"""The bench's commands: what is typed is checked before any work, and nothing of another board is written over."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
from typer.testing import CliRunner

from reelnotes import workbench
from reelnotes.cli import sizes
from reelnotes.cli.app import app
from reelnotes.intake.boards import read_boards
from reelnotes.measure.bench.marker_board import design_marker_board, draw
from reelnotes.records.problems import UsageError

SMALL = ("--length", "24 cm", "--width", "12 cm")


def told(*words: object) -> tuple[int, str]:
    made = CliRunner().invoke(app, [str(word) for word in words])
    return made.exit_code, made.output


def sentence(*words: object) -> str:
    """What a command that cannot be says: one sentence, exit code 2."""
    code, text = told(*words)
    assert code == 2, text
    assert "internal fault" not in text and "Traceback" not in text
    return text


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("900 mm", 900),
        ("90cm", 900),
        ("0.9 m", 900),
        ("36 in", 914.4),
        ('25 1/4"', 641.35),
        ("1/8in", 3.175),
        ("0", 0),
        ("1,5 cm", 15),
    ],
)
def test_lengths_that_people_write(text: str, mm: float) -> None:
    assert sizes.length_mm("--length", text) == pytest.approx(mm)


HOPELESS = ["50", "-5 cm", "nan", "inf mm", "1e9 mm", "9" * 400 + " mm", "0 cm", "", "cm", "5 ft", "1/0 in"]


@pytest.mark.parametrize("wrong", HOPELESS)
def test_lengths_that_cannot_be(wrong: str, tmp_path: Path) -> None:
    photo = tmp_path / "photo.png"
    for words in (("board", f"--length={wrong}"), ("board", f"--width={wrong}"), ("enrol", photo, f"--tick={wrong}"),
                  ("enrol", photo, f"--width={wrong}"), ("lens", photo, f"--checkerboard=9x6:{wrong}")):  # fmt: skip
        option = str(words[-1]).partition("=")[0]
        assert option in sentence(*words, "--to", tmp_path)
    with pytest.raises(UsageError):
        sizes.some_mm("--at", wrong)
    assert not list(tmp_path.iterdir())


def test_a_bare_number_is_told_to_have_no_unit(tmp_path: Path) -> None:
    assert "no unit" in sentence("enrol", tmp_path / "no.png", "--at", "10,10=50", "--to", tmp_path)
    assert sizes.graduation("10,10=0") == (10.0, 10.0, 0.0)  # nothing is nothing in any unit


def test_graduations_in_two_systems_are_asked_about() -> None:
    with pytest.raises(UsageError, match="some graduations are in inches"):
        sizes.graduations(["10,10=5in", "900,10=65cm"])
    assert len(sizes.graduations(["10,10=0", '500,10=20"', "900,10=35 1/2 in"])) == 3  # nothing is nothing in any unit


@pytest.mark.parametrize("wrong", ["", "  ", ".", "..", "../up", "a/b", "a\\b", ".hidden", "---", "a\nb", "long" * 40])
def test_names_that_make_no_file(wrong: str, tmp_path: Path) -> None:
    for words in (("board",), ("enrol", tmp_path / "no.png"), ("lens", tmp_path / "no.mp4", "--checkerboard", "9x6:25mm")):
        assert "--name" in sentence(*words, f"--name={wrong}", "--to", tmp_path)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("name", ["v1.2 board", "brygge ø", 'a "quoted" one'])
def test_a_named_board_is_read_back(name: str, tmp_path: Path) -> None:
    code, text = told("board", "--name", name, *SMALL, "--to", tmp_path, "--json")
    assert code == 0, text
    boards, problems = read_boards(tmp_path, [Path(json.loads(text)["descriptor"])])
    assert [board.name for board in boards] == [name] and not problems


@pytest.mark.parametrize(
    "words",
    [
        ("--first-id", "-1"),
        ("--first-id", "9" * 30),
        ("--unit", "mm"),
        ("--paper", "a3"),
        ("--length", "9 m"),
        ("--width", "2 mm"),
    ],
)
def test_a_board_that_cannot_be(words: tuple[str, str], tmp_path: Path) -> None:
    assert words[0] in sentence("board", *words, "--to", tmp_path)


@pytest.mark.parametrize("wrong", ["99999x99999:25mm", "9" * 40 + "x6:25mm", "2x6:25mm", "9x6:0mm", "9x6:25"])
def test_a_pattern_that_cannot_be(wrong: str, tmp_path: Path) -> None:
    assert "--checkerboard" in sentence("lens", tmp_path / "no.mp4", "--checkerboard", wrong)


def test_another_board_is_never_written_over_unasked(tmp_path: Path) -> None:
    first = ("board", *SMALL, "--to", tmp_path)
    assert told(*first)[0] == 0
    kept = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tmp_path.iterdir()}
    assert told(*first)[0] == 0  # the same again is no other board
    other = ("board", "--length", "30 cm", "--width", "12 cm", "--to", tmp_path)
    assert "--replace" in sentence(*other)
    assert {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tmp_path.iterdir()} == kept
    assert told(*other, "--replace")[0] == 0
    assert (tmp_path / "printed-board.toml").read_bytes() != kept[tmp_path / "printed-board.toml"][0]


def test_two_boards_with_the_same_numbers_are_told(tmp_path: Path) -> None:
    assert told("board", *SMALL, "--to", tmp_path)[0] == 0
    code, text = told("board", *SMALL, "--to", tmp_path, "--name", "second")
    assert code == 0 and "--first-id" in text
    code, text = told("board", *SMALL, "--to", tmp_path, "--name", "third", "--first-id", "20")
    assert code == 0 and "--first-id" not in text


def photo_of_a_board(path: Path) -> None:
    board = draw(design_marker_board("own board", 300.0, 120.0), 3.0)
    cv2.imwrite(str(path), cv2.copyMakeBorder(board, 200, 200, 200, 200, cv2.BORDER_CONSTANT, value=40))


def test_an_own_board_is_never_written_over_unasked(tmp_path: Path) -> None:
    photo, to = tmp_path / "photo.png", tmp_path / "boards"
    photo_of_a_board(photo)
    marks = ("--at", "350,540=5cm", "--at", "950,540=25cm", "--to", to)
    assert told("enrol", photo, *marks)[0] == 0
    assert told("enrol", photo, *marks)[0] == 0
    assert "--replace" in sentence("enrol", photo, *marks, "--width", "13 cm")
    assert told("enrol", photo, *marks, "--width", "13 cm", "--replace")[0] == 0
    before = photo.read_bytes()
    for more in ((), ("--replace",)):
        assert "over it" in sentence("enrol", photo, *marks[:4], "--name", "photo", "--to", tmp_path, *more)
    assert photo.read_bytes() == before


HEIC = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic" + bytes(64)  # source: ISO/IEC 23008-12, annex B: the brand of HEVC stills


@pytest.mark.parametrize(
    ("name", "data", "says", "do"),
    [
        ("missing.mp4", None, "no such file", "spelt"),
        ("folder", "", "it is a folder", ""),
        ("photo.heic", HEIC, "HEIC", "JPEG"),
        ("photo.jpg", HEIC, "HEIC", "JPEG"),
        ("empty.mp4", b"", "empty", "again"),
        ("empty.jpg", b"", "empty", "again"),
        ("notes.txt", b"a fish, 50 cm\n" * 20, "cannot be read as a", "MP4"),
        ("broken.mp4", b"\0\1\2\3" * 500, "cannot be read as a", "again"),
        ("broken.jpg", b"\xff\xd8\xff\xe0" + b"\0" * 500, "cannot be read as a", ""),
    ],
)
def test_a_file_that_is_none(name: str, data: bytes | str | None, says: str, do: str, tmp_path: Path) -> None:
    boards, file = tmp_path / "boards", tmp_path / name
    assert told("board", *SMALL, "--to", boards)[0] == 0
    if isinstance(data, bytes):
        file.write_bytes(data)
    elif data is not None:
        file.mkdir()
    commands = [
        ("measure", file, "--boards", boards, "--to", tmp_path),
        ("enrol", file, "--tick", "1 mm", "--width", "9 cm", "--to", tmp_path),
    ]
    commands += [("lens", file, "--boards", boards, "--to", tmp_path)]
    for words in commands:
        text = sentence(*words)
        if words[0] == "measure" or file.suffix == ".heic" or not data:
            assert says in text and do in text and str(file.name) in text


def test_lengths_are_shown_in_the_unit_asked_for(tmp_path: Path) -> None:
    photo, boards = tmp_path / "photo.png", tmp_path / "boards"
    cv2.imwrite(str(photo), np.full((240, 320, 3), 90, np.uint8))
    assert told("board", *SMALL, "--to", boards)[0] == 0
    assert "--units" in sentence("measure", photo, "--boards", boards, "--to", tmp_path, "--units", "cubits")


def test_ticks_alone_need_the_width(tmp_path: Path) -> None:
    assert "--width" in sentence("enrol", tmp_path / "no.png", "--tick", "1 mm", "--to", tmp_path)


def test_where_nothing_can_be_written_is_told_before_the_work(tmp_path: Path) -> None:
    taken = tmp_path / "a file"
    taken.write_text("mine")
    clip = tmp_path / "no.mp4"
    commands = [("board",), ("enrol", clip, "--at", "1,1=0"), ("lens", clip, "--checkerboard", "9x6:25mm"), ("measure", clip)]
    for words in commands:
        assert "another folder with --to" in sentence(*words, "--to", taken / "inner")
    assert taken.read_text() == "mine"


def test_a_file_in_the_place_of_the_pictures_folder_is_told_before_the_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photo, boards = tmp_path / "photo.png", tmp_path / "boards"
    photo_of_a_board(photo)
    assert told("board", *SMALL, "--to", boards)[0] == 0
    (tmp_path / "frames").write_text("mine")
    monkeypatch.setattr(workbench, "measure_clip", worked)
    text = sentence("measure", photo, "--boards", boards, "--to", tmp_path)
    assert str(tmp_path / "frames") in text.replace("\n", "") and "a folder is wanted" in " ".join(text.split())
    assert (tmp_path / "frames").read_text() == "mine"


def worked(*_: object, **__: object) -> None:
    pytest.fail("the work was begun")


def test_a_name_that_is_taken_is_refused_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    photo, to = tmp_path / "photo.png", tmp_path / "there"
    photo_of_a_board(photo)
    assert told("board", *SMALL, "--to", to, "--name", "own board")[0] == 0
    (to / "own-lens.toml").write_text("mine")
    for work in ("calibrate_lens", "enrol_board", "board_pdf", "draw"):
        monkeypatch.setattr(workbench, work, worked)
    marks = ("--at", "350,540=5cm", "--at", "950,540=25cm")
    for words in (
        ("lens", photo, "--checkerboard", "9x6:25mm"),
        ("enrol", photo, *marks, "--width", "13 cm"),
        ("enrol", photo, *marks, "--name", "own-board"),  # another name that makes the same file's name
        ("board", "--length", "30 cm", "--width", "12 cm", "--name", "own board"),
    ):
        assert "--replace" in sentence(*words, "--to", to)
    for taken in ("own-lens", "own-board"):
        (to / f"{taken}.toml").unlink()
        (to / f"{taken}.toml").mkdir()
    for words in (
        ("lens", photo, "--checkerboard", "9x6:25mm"),
        ("enrol", photo, *marks),
        ("board", *SMALL, "--name", "own board"),
    ):
        assert "it is a folder" in sentence(*words, "--to", to, "--replace")


@pytest.mark.parametrize("wrong", ["nan", "inf", "1e300", "-5", "0"])
def test_an_edit_of_no_length(wrong: str, tmp_path: Path) -> None:
    assert "--length" in sentence("cuts", tmp_path, f"--length={wrong}")


def test_a_board_or_a_lens_that_one_picture_cannot_use_is_said(tmp_path: Path) -> None:
    photo, boards, lens = tmp_path / "photo.png", tmp_path / "boards", tmp_path / "upright.toml"
    photo_of_a_board(photo)
    assert told("board", *SMALL, "--to", boards, "--name", "good")[0] == 0
    assert told("board", *SMALL, "--to", boards, "--name", "junk", "--first-id", "30")[0] == 0
    (boards / "junk.png").write_bytes(b"no picture")
    lens.write_text(
        'name = "upright"\nmodel = "pinhole"\nwidth = 720\nheight = 1280\ndistortion = [0.0, 0.0, 0.0, 0.0, 0.0]\n'
        "camera_matrix = [[800.0, 0.0, 359.5], [0.0, 800.0, 639.5], [0.0, 0.0, 1.0]]\n"
    )
    code, text = told("measure", photo, "--boards", boards, "--lens", lens, "--to", tmp_path)
    assert "junk" in text and "no fish is measured on this board" in text
    assert code == 1
    shown = tmp_path / "shown.png"  # the good board itself, square on
    cv2.imwrite(
        str(shown), cv2.copyMakeBorder(cv2.imread(str(boards / "good.png")), 300, 300, 300, 300, cv2.BORDER_CONSTANT, value=40)
    )
    assert "picture of another shape" in " ".join(
        told("measure", shown, "--boards", boards, "--lens", lens, "--to", tmp_path)[1].split()
    )

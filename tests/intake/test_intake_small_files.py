import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.intake.boards import read_boards
from reelnotes.intake.lenses import lens_meant, read_lenses
from reelnotes.intake.limits import length_mm, read_limits
from reelnotes.intake.tide import read_tide
from reelnotes.intake.zone import zone_at
from reelnotes.records.folder import SizeLimit
from reelnotes.records.instants import iso_utc

OSLO = ZoneInfo("Europe/Oslo")

BOARD = """
name = "deck board"
length_mm = 900.0
width_mm = 180.0
picture = "deck.png"
[picture_scale]
px_per_mm = 4.0
zero_px = [40.0, 760.0]
[[marker]]
dictionary = "DICT_4x4_50"
id = 0
corners_mm = [[10.0, 170.0], [40.0, 170.0], [40.0, 140.0], [10.0, 140.0]]
"""


def boards(tmp_path, text, picture=True):
    folder = tmp_path / "boards"
    folder.mkdir()
    if picture:
        (folder / "deck.png").write_bytes(b"a picture")
    (folder / "deck.toml").write_text(text)
    return read_boards(tmp_path, [folder / "deck.toml"])


def test_a_whole_board(tmp_path):
    (board,), problems = boards(tmp_path, BOARD)
    assert problems == []
    assert (board.name, board.length_mm, board.px_per_mm, board.zero_px) == ("deck board", 900.0, 4.0, (40.0, 760.0))
    assert (board.markers[0].dictionary, board.markers[0].corners_mm[3]) == ("4X4_50", (10.0, 140.0))
    assert board.picture == tmp_path / "boards" / "deck.png"
    assert board.source == "boards/deck.toml"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("length_mm = 900.0", "", "boards/deck.toml, length_mm: 'length_mm' is missing"),
        ("length_mm = 900.0", "length_mm = -1", "-1 must be more than 10"),
        ("length_mm = 900.0", 'length_mm = "90 cm"', "'90 cm' is not a number"),
        ("4x4_50", "9x9_50", "no known marker dictionary"),
        ("[[10.0, 170.0], [40.0, 170.0]", "[[40.0, 170.0], [10.0, 170.0]", "top-left, top-right, bottom-right, bottom-left"),
        (", [10.0, 140.0]]", "]", "corners_mm"),
        ("name =", "name ", "boards/deck.toml line 2"),
    ],
)
def test_a_board_that_cannot_be_used_is_told(tmp_path, old, new, says):
    assert old in BOARD
    found, problems = boards(tmp_path, BOARD.replace(old, new))
    assert found == ()
    assert says in str(problems[0])
    assert "left out" in str(problems[0])


def test_a_mirrored_marker_is_no_marker(tmp_path):
    mirrored = BOARD.replace(
        "[[10.0, 170.0], [40.0, 170.0], [40.0, 140.0], [10.0, 140.0]]",
        "[[10.0, 140.0], [40.0, 140.0], [40.0, 170.0], [10.0, 170.0]]",
    )
    assert boards(tmp_path, mirrored)[0] == ()


def test_a_board_whose_picture_is_gone_lives_by_its_markers(tmp_path):
    (board,), problems = boards(tmp_path, BOARD, picture=False)
    assert (board.picture, board.px_per_mm, len(board.markers)) == (None, None, 1)
    assert "no file 'deck.png'" in str(problems[0])
    (tmp_path / "2").mkdir()
    found, problems = boards(tmp_path / "2", BOARD.split("[[marker]]", maxsplit=1)[0], picture=False)
    assert found == ()
    assert len(problems) == 1


LENS = """
name = "chest, wide"
model = "fisheye"
width = 1920
height = 1080
camera_matrix = [[860, 0, 960], [0, 860, 540], [0, 0, 1]]
distortion = [0.01, 0, 0, 0]
"""


def lenses(tmp_path, text):
    (tmp_path / "lenses").mkdir()
    (tmp_path / "lenses" / "chest.toml").write_text(text)
    return read_lenses(tmp_path, [tmp_path / "lenses" / "chest.toml"])


def test_a_lens_and_its_names(tmp_path):
    found, problems = lenses(tmp_path, LENS)
    assert problems == []
    assert found["lenses/chest.toml"].camera_matrix[0] == (860.0, 0.0, 960.0)
    for written in ("lenses/chest.toml", "./lenses/chest.toml", "lenses\\chest.toml", "chest.toml", "chest", "Chest, wide"):
        assert lens_meant(written, found) == "lenses/chest.toml"
    assert lens_meant("stern", found) is None


def test_four_pinhole_coefficients_get_their_fifth(tmp_path):
    found, _ = lenses(tmp_path, LENS.replace("fisheye", "pinhole"))
    assert found["lenses/chest.toml"].distortion == (0.01, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("fisheye", "fish-eye", "'fish-eye' is none of"),
        ("[0.01, 0, 0, 0]", "[0.01, 0]", "a fisheye lens has 4 distortion coefficients, not 2"),
        ("860, 0, 960", "860, 0, 2960", "lies outside the 1920 x 1080 picture"),
        ("width = 1920", "width = 0", "0 must be more than 0"),
    ],
)
def test_a_lens_that_cannot_be(tmp_path, old, new, says):
    found, problems = lenses(tmp_path, LENS.replace(old, new))
    assert found == {}
    assert says in str(problems[0])


# source: reference UNI-03 (1 in = 25.4 mm exactly), UNI-04 (1 ft = 0.3048 m exactly)
@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("40 cm", 400.0),
        ("40.5cm", 405.0),
        ("40,5 cm", 405.0),
        ("635 mm", 635.0),
        ("0.4 m", 400.0),
        ("16 in", 406.4),
        ('15 3/4"', 400.05),
        ("1' 4\"", 406.4),
        ("1 ft 4 in", 406.4),
    ],
)
def test_lengths(text, mm):
    assert length_mm(text) == pytest.approx(mm)


@pytest.mark.parametrize("text", [40, "40", "forty cm", "40 cm or so", "", "0 cm", "40 kg", "99 m", "1/0 in"])
def test_no_length(text):
    with pytest.raises(ValueError):
        length_mm(text)


@given(st.integers(10, 6000))
def test_millimetres_there_and_back(mm):
    assert length_mm(f"{mm} mm") == pytest.approx(mm)
    assert length_mm(f"{mm / 10} cm") == pytest.approx(mm)


def test_limits(tmp_path):
    (tmp_path / "limits.toml").write_text(
        '[[limit]]\nspecies = "cod"\nminimum = "40 cm"\nbag = 3\nsource = "notice at the ramp"\n'
        '[[limit]]\nspecies = "pike"\nmeasure = "fork"\nslot = ["60 cm", "75 cm"]\n'
        '[[limit]]\nspecies = "hake"\nminimum = 40\n'
        '[[limit]]\nspecies = "ling"\n'
        '[[limit]]\nspecies = "char"\nminimum = "40 cm"\nmaximum = "30 cm"\n'
    )
    limits, problems = read_limits(tmp_path)
    assert limits == (
        SizeLimit("cod", "total", 400.0, None, None, 3, "notice at the ramp"),
        SizeLimit("pike", "fork", None, None, (600.0, 750.0), None, "limits.toml, limit 2"),
    )
    assert [problem.where for problem in problems] == [
        "limits.toml, limit 3, minimum",
        "limits.toml, limit 4",
        "limits.toml, limit 5",
    ]
    assert 'minimum = "40 cm"' in problems[0].advice


def tide(tmp_path, text):
    (tmp_path / "tide.csv").write_bytes(text.encode() if isinstance(text, str) else text)
    return read_tide(tmp_path / "tide.csv", "tide.csv", OSLO)


def test_tide_tables(tmp_path):
    turns, problems = tide(
        tmp_path, "time,height,unit\n2026-06-14T06:04:00Z,0.58,m\n2026-06-13T23:52:00Z,21,cm\n2026-06-14 14:17,2,ft\n"
    )
    assert problems == []
    assert [(iso_utc(turn.time_utc_s, 0), round(turn.height_m, 4)) for turn in turns] == [
        ("2026-06-13T23:52:00Z", 0.21),
        ("2026-06-14T06:04:00Z", 0.58),
        ("2026-06-14T12:17:00Z", 0.6096),  # local summer time, no offset written
    ]


def test_a_tide_table_from_a_spreadsheet(tmp_path):
    turns, problems = tide(tmp_path, "\ufeffTid;Høyde (cm)\r\n14.06.2026 06:04;58,5\r\n14.06.2026 kl seks;19\r\nsum;\r\n")
    assert [(iso_utc(turn.time_utc_s, 0), turn.height_m) for turn in turns] == [("2026-06-14T04:04:00Z", pytest.approx(0.585))]
    assert [problem.where for problem in problems] == ["tide.csv line 3, column time", "tide.csv line 4, column time"]


def test_no_tide_table(tmp_path):
    assert tide(tmp_path, "a,b\n1,2\n")[0] == ()
    assert tide(tmp_path, bytes(range(256)))[0] == ()
    assert tide(tmp_path, "")[0] == ()


# source: IANA tz database, zone1970.tab; open sea by nautical time zones (common practice)
@pytest.mark.parametrize(
    ("lat", "lon", "zone"),
    [
        (59.91, 10.75, "Europe/Oslo"),
        (-33.86, 151.21, "Australia/Sydney"),
        (27.7, 85.3, "Asia/Kathmandu"),
        (0.0, -30.0, "Etc/GMT+2"),
    ],
)
def test_zones_of_places(lat, lon, zone):
    assert zone_at(lat, lon).key == zone
    assert zone_at(91.0, 0.0) is None
    assert zone_at(np.nan, 0.0) is None


def test_the_zone_keeps_its_rules_in_winter():
    assert dt.datetime(2026, 1, 1, tzinfo=zone_at(59.91, 10.75)).utcoffset() == dt.timedelta(hours=1)

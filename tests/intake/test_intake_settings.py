from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.intake.settings import EXAMPLES, parsed_rate, read_settings, settings_from
from reelnotes.records.settings import CameraSettings, EditSettings, PrivacySettings, TimeMark, TripSettings

GOOD = """
title = "Dawn session"
date = 2026-05-09
timezone = "Europe/Oslo"
[privacy]
spot = "none"
[[camera]]
name = "chest"
lens = "lenses/chest.toml"
[[camera]]
name = "stern"
clock = "local"
[[time_mark]]
clip = "clips/chest/A.mp4"
frame = 120
time = 2026-05-09T06:31:24+02:00
[edit]
length_s = 480
"""


def read(tmp_path, text):
    (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
    return read_settings(tmp_path)


def test_no_file_means_defaults(tmp_path):
    assert read_settings(tmp_path) == (TripSettings(), [])


def test_a_good_file(tmp_path):
    said, problems = read(tmp_path, "\ufeff" + GOOD)
    assert problems == []
    assert (said.title, said.privacy.spot, said.edit.length_s) == ("Dawn session", "none", 480.0)
    assert [camera.name for camera in said.camera] == ["chest", "stern"]
    assert said.time_mark[0].frame == 120


@pytest.mark.parametrize(
    ("wrong", "says", "would_do"),
    [
        ('spot = "blured"', 'trip.toml, privacy.spot: \'blured\' is none of "exact", "blurred" or "none"', 'spot = "blurred"'),
        ("blur_km = 0.01", "trip.toml, privacy.blur_km: 0.01 must be at least 0.5", "blur_km = 5.0"),
        ('blur_km = "wide"', "'wide' is not a number", "blur_km = 5.0"),
        ("hide_near_strat_m = 3", "there is no setting 'hide_near_strat_m'", "did you mean 'hide_near_start_m'?"),
    ],
)
def test_a_wrong_key_is_told_and_the_rest_is_kept(tmp_path, wrong, says, would_do):
    said, problems = read(tmp_path, GOOD.replace('spot = "none"', wrong))
    assert says in str(problems[0])
    assert would_do in str(problems[0])
    assert len(problems) == 2
    assert problems[0].serious
    assert said.privacy == PrivacySettings(spot="none")  # what was meant to be hidden is not known, so all is
    assert "no place will be published" in str(problems[1])
    assert said.title == "Dawn session"
    assert len(said.camera) == 2


def test_a_camera_without_a_name_goes_alone(tmp_path):
    said, problems = read(tmp_path, GOOD.replace('name = "chest"', "trusted = true"))
    assert [camera.name for camera in said.camera] == ["stern"]
    assert "camera 1, name: 'name' is missing" in str(problems[0])


def test_two_faults_in_two_cameras_keep_their_numbers(tmp_path):
    text = '[[camera]]\nlens = "x"\n[[camera]]\nname = "a"\nclock = "lunar"\n[[camera]]\nname = "b"\n'
    said, problems = read(tmp_path, text)
    assert [(camera.name, camera.clock) for camera in said.camera] == [("a", "unknown"), ("b", "unknown")]
    assert [problem.where for problem in problems] == ["trip.toml, camera 1, name", "trip.toml, camera 2, clock"]


def test_the_same_camera_twice(tmp_path):
    said, problems = read(tmp_path, '[[camera]]\nname = "a"\ntrusted = true\n[[camera]]\nname = "a"\n')
    assert [(camera.name, camera.trusted) for camera in said.camera] == [("a", True)]
    assert "a second camera is named 'a'" in str(problems[0])


def test_a_zone_that_is_none_and_a_rate_that_is_none(tmp_path):
    said, problems = read(tmp_path, GOOD.replace("Europe/Oslo", "Europe/Olso") + 'frame_rate = "fast"\n')
    assert said.timezone is None
    assert said.edit == EditSettings(length_s=480)
    assert 'did you mean "Europe/Oslo"?' in str(problems[0])
    assert "'fast' is no frame rate" in str(problems[1])


def test_a_time_mark_needs_a_place_in_its_clip(tmp_path):
    said, problems = read(tmp_path, GOOD.replace("frame = 120", ""))
    assert said.time_mark == ()
    assert "either frame or at_s" in str(problems[0])


@pytest.mark.parametrize(
    ("text", "where"), [("title = \n", "line 1, column 9"), ('title = "a"\nthis is no toml', "line 2, column 6")]
)
def test_no_toml_is_told_by_line_and_column(tmp_path, text, where):
    said, problems = read(tmp_path, text)
    assert said == TripSettings()
    assert where in problems[0].where
    assert "it is no TOML" in problems[0].what


def test_a_misspelt_privacy_table_publishes_no_place(tmp_path):
    assert read(tmp_path, GOOD.replace("[privacy]", "[privcy]"))[0].privacy.spot == "none"
    assert read(tmp_path, GOOD.replace("[edit]", "[edti]"))[0].privacy.spot == "none"  # as GOOD itself says
    assert read(tmp_path, "[edti]\nlength_s = 3\n")[0].privacy.spot == "blurred"


def test_a_broken_file_that_speaks_of_privacy_publishes_no_place(tmp_path):
    said, problems = read(tmp_path, "title = \n[privacy]\nspot = 'none'\n")
    assert said == TripSettings(privacy=PrivacySettings(spot="none"))
    assert "no place will be published" in str(problems[0])


def test_text_that_is_no_utf8(tmp_path):
    (tmp_path / "trip.toml").write_bytes('title = "Grå"'.encode("latin-1"))
    assert "no UTF-8" in str(read_settings(tmp_path)[1][0])


def test_every_key_has_a_value_that_would_do():
    for model in (TripSettings, PrivacySettings, CameraSettings, EditSettings, TimeMark):
        assert set(model.model_fields) <= set(EXAMPLES)


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("30000/1001", Fraction(30000, 1001)),
        ("25", Fraction(25)),
        ("12.5", Fraction(25, 2)),
        # source: SMPTE ST 12-1, the rates behind the everyday decimals
        ("29.97", Fraction(30000, 1001)),
        ("23.976", Fraction(24000, 1001)),
        ("59.94", Fraction(60000, 1001)),
        ("fast", None),
        ("1/0", None),
        ("0", None),
        ("-25", None),
    ],
)
def test_rates(text, rate):
    assert parsed_rate(text) == rate


_VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=5) | st.dates() | st.datetimes(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from([*EXAMPLES, "colour"]), inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from([*EXAMPLES, "colour"]), _VALUES.filter(lambda value: value is not None), max_size=6))
def test_any_table_gives_settings_and_sentences(table):
    said, problems = settings_from(table)
    assert isinstance(said, TripSettings)
    assert all(problem.where.startswith("trip.toml") and problem.what for problem in problems)
    again, none = settings_from(said.model_dump(exclude_none=True))
    assert again == said
    assert none == [] or not said.time_mark


def test_no_edit_is_faster_than_what_the_edit_list_can_write(tmp_path):
    said, problems = read(tmp_path, '[edit]\nframe_rate = "1000"\n')
    assert said.edit.frame_rate is None
    assert "'1000' is no frame rate" in str(problems[0])


PRIVATE = 'title = "Dawn"\n[privacy]\nspot = "none"\n'
EXACT = '[privacy]\nspot = "exact"\n'


def no_place(root):
    """True when no place is published and exactly one problem says so."""
    said, problems = read_settings(root)
    told = [str(problem) for problem in problems if "no place will be published" in str(problem)]
    assert (said.privacy.spot == "none") == bool(told)
    assert len(told) <= 1
    return bool(told)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
def test_a_wish_in_an_encoding_that_is_no_utf8_is_honoured(tmp_path, encoding):
    (tmp_path / "trip.toml").write_bytes((PRIVATE + "# grå\n").encode(encoding))
    assert no_place(tmp_path)


def test_a_folder_of_that_name_is_told_to_be_a_folder(tmp_path):
    (tmp_path / "trip.toml").mkdir()
    assert no_place(tmp_path)
    told = str(read_settings(tmp_path)[1][0])
    assert "it is a folder" in told
    assert "name it trip.toml" not in told


def test_a_byte_order_mark_hides_nothing(tmp_path):
    for mark in ("\ufeff", "\ufeff\ufeff"):  # the second one: a marked file pasted into a marked file
        said, _ = read(tmp_path, mark + PRIVATE)
        assert said.privacy.spot == "none"


@pytest.mark.parametrize(
    "text",
    [
        'spot = "none"',
        'title = "Dawn"\nspot = "blurred"',
        '[edit]\nspot = "none"',
        '[[camera]]\nname = "chest"\nspot = "none"',
        '[[camera]]\nspot = "none"',  # a table that goes as a whole
        '[[camera]]\nname = "a"\n[[camera]]\nname = "a"\nspot = "none"',
        '[camera]\nspot = "none"',
        '[publish]\nspot = "none"',
        '[publish]\nwhere = "none"',
        'sopt = "none"',
        "private = true",
        "blur_km = 40",
        '[Privacy]\nspot = "none"',
        '[trip.privacy]\nspot = "none"',
        '[[privacy]]\nspot = "none"',
        'privacy = "none"',
        '[privacy]\nSpot = "none"',
        "privat = true",
        "hide_spot = true",
        'location = "hidden"',
        "showMap = false",
        'track-public = "no"',
        "[notes]\nhide = true",
        "[[notes]]\nbait = 'x'\n[notes.more]\nskjul = 1",
        "skjult = true",
        '[[camera]]\nname = "chest"\nhide_place = true',
        '[edit]\nplace = "none"',
    ],
)
def test_a_wish_in_the_wrong_place_is_honoured(tmp_path, text):
    (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
    assert no_place(tmp_path)


@pytest.mark.parametrize("text", ['privacy = "none"', '[[privacy]]\nspot = "none"', "privacy = true"])
def test_a_privacy_that_is_no_table_is_told_in_one_sentence(tmp_path, text):
    said, problems = read(tmp_path, text)
    assert len(problems) == 1
    assert "is not a table; no place will be published" in str(problems[0])
    assert said.privacy.spot == "none"


def test_no_sentence_speaks_of_a_default_where_no_place_is_published(tmp_path):
    for text in ('[privacy]\nspot = "nnoe"', "[privacy]\nblur_km = 0", 'privacy = "none"'):
        told = " ".join(map(str, read(tmp_path, text)[1]))
        assert "no place will be published" in told
        assert "default is used" not in told


@pytest.mark.parametrize(
    "text",
    [
        'title = "The secret spot"',
        "[edit]\nlenght_s = 3",
        'colour = "red"',
        '# spot = "none"',
        EXACT,
        'bait = "none"',
        'weather = "hidden"',
        'rod = "private"',
        'note = "keep this location hidden"',
        '[notes]\nbait = "none"',
        '[[camera]]\nname = "a"\nmount = "place"',
        '[edit]\nmusic = "none"',
        'port = "Nowhere"',
        'tide = "none"',
        "plaice = 3",
        'shots = "exact"',
    ],
)
def test_what_is_no_wish_changes_nothing(tmp_path, text):
    (tmp_path / "trip.toml").write_text(text, encoding="utf-8")
    assert not no_place(tmp_path)


@pytest.mark.parametrize(
    "name",
    ["trip.toml.txt", "TRIP.TOML.TXT", "trip.txt", "trip.toml.toml", "trip (1).toml", "trip - Copy.toml", "clips/trip.toml"],
)
def test_a_wish_in_a_file_of_another_name_is_honoured(tmp_path, name):
    (tmp_path / "clips").mkdir()
    (tmp_path / name).write_text(PRIVATE, encoding="utf-8")
    assert no_place(tmp_path)
    assert read_settings(tmp_path)[1][0].where == name
    (tmp_path / "trip.toml").write_text(EXACT, encoding="utf-8")
    assert no_place(tmp_path)
    (tmp_path / "trip.toml").write_text(PRIVATE, encoding="utf-8")  # what it wishes for is given anyway
    assert read_settings(tmp_path)[1] == []


def test_a_file_of_another_name_that_wishes_for_less_or_nothing_is_no_sign(tmp_path):
    (tmp_path / "trip.toml").write_text('[privacy]\nspot = "blurred"\n', encoding="utf-8")
    (tmp_path / "trip.toml.txt").write_text(EXACT, encoding="utf-8")
    (tmp_path / "trip (1).toml").write_text("title = 'Dawn'\n", encoding="utf-8")
    (tmp_path / "trip.toml.bak").write_text(PRIVATE, encoding="utf-8")
    (tmp_path / "tripod.toml").write_text(PRIVATE, encoding="utf-8")
    assert not no_place(tmp_path)
    (tmp_path / "trip.toml.txt").write_text("[privacy]\nblur_km = 50\n", encoding="utf-8")
    assert no_place(tmp_path)


@pytest.mark.parametrize("name", ["Trip.toml", "TRIP.TOML"])
def test_the_name_may_be_in_capitals(tmp_path, name):
    (tmp_path / name).write_text(PRIVATE, encoding="utf-8")
    said, problems = read_settings(tmp_path)
    assert (said.title, said.privacy.spot, problems) == ("Dawn", "none", [])


def test_settings_that_cannot_be_opened_may_say_anything(tmp_path):
    (tmp_path / "trip.toml").mkdir()
    assert no_place(tmp_path)
    (tmp_path / "trip.toml").rmdir()
    (tmp_path / "trip.toml").symlink_to(tmp_path / "gone.toml")
    assert no_place(tmp_path)


def test_settings_under_another_name_are_told_where_there_are_none_else(tmp_path):
    (tmp_path / "trip.toml.txt").write_text('title = "Grey morning"\n', encoding="utf-8")
    said, problems = read_settings(tmp_path)
    assert (said.title, said.privacy.spot) == (None, "blurred")
    assert [(p.where, p.done) for p in problems] == [("trip.toml.txt", "every setting was left at its default")]
    (tmp_path / "trip.toml").write_text('title = "Dawn"\n', encoding="utf-8")
    assert read_settings(tmp_path)[1] == []


def test_notes_beside_a_wish_that_was_read_change_nothing(tmp_path):
    (tmp_path / "trip.toml").write_text(EXACT, encoding="utf-8")
    (tmp_path / "trip.txt").write_text("Trip notes: a great spot, nice place to hide.", encoding="utf-8")
    assert not no_place(tmp_path) and read_settings(tmp_path)[1] == []
    (tmp_path / "trip.toml").write_text('title = "Dawn"\n', encoding="utf-8")
    assert no_place(tmp_path)

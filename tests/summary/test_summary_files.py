"""The files of post/: valid by their standards, readable, self-contained, alike."""

import datetime as dt
import json
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from itertools import product
from pathlib import Path
from xml.etree import ElementTree

import geojson
import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from invented_trip import T0, trip
from markdown_it import MarkdownIt
from PIL import Image, ImageStat
from shapely.geometry import shape

from reelnotes.records.clocks import ClipTime
from reelnotes.records.instants import iso_local
from reelnotes.records.record import TripRecord
from reelnotes.records.tracks import Track
from reelnotes.records.trip import LineUp, PlacedClip
from reelnotes.summary import write_post
from reelnotes.summary.card import draw_card
from reelnotes.summary.pages import in_markdown
from reelnotes.summary.palette import DARK, LIGHT, SHAPES, TEXT
from reelnotes.summary.story import tell
from reelnotes.summary.words import Words, clock_error, doubt, duration

VOID = {"meta", "img", "br", "hr", "link", "input"}
FILES = ["card.png", "summary.html", "summary.md", "track.geojson"]


class Page(HTMLParser):
    """Tags balanced, text and links gathered."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.words: list[str] = []
        self.attributes: list[tuple[str, str, str]] = []
        self.ids: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.attributes += [(tag, k, v or "") for k, v in attrs]
        self.ids += [v for k, v in attrs if k == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.attributes += [(tag, k, v or "") for k, v in attrs]

    def handle_endtag(self, tag):
        assert self.open and self.open.pop() == tag, f"</{tag}> closes nothing"

    def handle_data(self, data):
        if "style" not in self.open:
            self.words.append(data)


@pytest.fixture
def with_picture(tmp_path: Path) -> Path:
    """An output folder with an evidence picture that carries a position in its EXIF."""
    (tmp_path / "frames").mkdir()
    picture = Image.effect_noise((1600, 900), 60).convert("RGB")
    exif = Image.Exif()
    exif.get_ifd(0x8825).update({1: "N", 2: (59.0, 24.0, 44.0), 3: "E", 4: (10.0, 37.0, 24.0)})  # source: Exif 2.3, GPS IFD
    exif[0x010E] = "secret bay"
    picture.save(tmp_path / "frames" / "C1.jpg", exif=exif)
    assert b"secret bay" in (tmp_path / "frames" / "C1.jpg").read_bytes()
    return tmp_path


def page(out: Path) -> Page:
    return Page((out / "post" / "summary.html").read_text(encoding="utf-8"))


def nothing(record: TripRecord) -> TripRecord:
    """Only clips that nothing places."""
    clocks = replace(record.clocks, clips={}, runs=(), conflicts=())
    clips = tuple(PlacedClip(c, ClipTime(c.name, "none")) for c in record.folder.clips)
    folder = replace(record.folder, tide=(), date=None)
    empty = Track(record.track.points.iloc[:0])
    return replace(record, folder=folder, track=empty, clocks=clocks, lineup=LineUp(clips, (), ()), lengths=(), limit_notes=())


@pytest.mark.parametrize(("spot", "make"), list(product(["exact", "blurred", "none"], [lambda r: r, nothing])))
def test_every_file_is_written_and_valid(spot: str, make, tmp_path: Path) -> None:
    written = write_post(make(trip(spot)), tmp_path / "post")
    assert sorted(p.name for p in written) == FILES == sorted(p.name for p in (tmp_path / "post").iterdir())
    # source: RFC 7946, by two other libraries
    collection = geojson.loads((tmp_path / "post" / "track.geojson").read_text(encoding="utf-8"))
    assert collection.is_valid, collection.errors()
    for feature in collection["features"]:
        if feature["geometry"]:
            figure = shape(feature["geometry"])
            assert figure.is_valid and not figure.is_empty
            if figure.geom_type == "Polygon":
                assert figure.exterior.is_ccw  # source: RFC 7946 section 3.1.6 (reference GJS-03)
    parsed = page(tmp_path)
    assert parsed.open == []
    assert len(parsed.ids) == len(set(parsed.ids))
    assert Image.open(tmp_path / "post" / "card.png").size == (1200, 630)


def test_the_page_loads_nothing_from_elsewhere(with_picture: Path) -> None:
    write_post(trip(evidence=Path("frames/C1.jpg")), with_picture / "post")
    text = (with_picture / "post" / "summary.html").read_text(encoding="utf-8")
    assert not re.search(
        r"https?:|//[a-z]|@import|url\(|<script|<link|<iframe", re.sub(r"data:image/jpeg;base64,[^\"]+", "", text)
    )
    sources = [v for tag, k, v in page(with_picture).attributes if k in ("src", "href", "srcset", "xlink:href")]
    assert len(sources) == 1 and sources[0].startswith("data:image/jpeg;base64,")


def test_pictures_leave_their_metadata_at_home(with_picture: Path) -> None:
    import base64
    import io

    write_post(trip("exact", evidence=Path("frames/C1.jpg")), with_picture / "post")
    source = next(v for _, k, v in page(with_picture).attributes if k == "src")
    data = base64.b64decode(source.split(",", 1)[1])
    picture = Image.open(io.BytesIO(data))
    assert picture.width == 1000 and not picture.getexif() and b"secret" not in data and b"Exif" not in data
    assert Image.open(with_picture / "post" / "card.png").info == {}
    write_post(trip("none", evidence=Path("frames/C1.jpg")), with_picture / "post")
    assert not [v for _, k, v in page(with_picture).attributes if k == "src"]


def test_a_missing_picture_is_left_out(tmp_path: Path) -> None:
    write_post(trip(evidence=Path("frames/gone.jpg")), tmp_path / "post")
    assert not [v for _, k, v in page(tmp_path).attributes if k == "src"]


def test_page_markdown_and_card_tell_the_same_day(tmp_path: Path) -> None:
    write_post(trip(), tmp_path / "post")
    words = " ".join(page(tmp_path).words).replace("\u202f", " ").replace("\u00a0", " ")
    markdown = (tmp_path / "post" / "summary.md").read_text(encoding="utf-8").replace("\u00a0", " ")
    for text in (words, markdown):
        for said in (
            "Grå morgen på fjorden",
            "Saturday 9 May 2026",
            "2 landed and 1 lost in 2 h 55 min on the water",
            "63.5 cm",
            "62.9 to 64.0 cm",
            "63.0 cm",
            "total length, natural tail",
            "kept",
            "released",
            "lost",
            "the tail tip is hidden",
            "herring strip",
            "12.5 m",
            "42.2 s slow",
            "0.31 s fast",
            "a filmed clock",
            "no proof of a legal size",
            "not aids to navigation",
            "10 seconds of air",
            "63 °C",
            "C1 is clear of the minimum of 40 cm",
        ):
            assert said in text, said


def test_imperial_units(tmp_path: Path) -> None:
    write_post(trip(units="imperial"), tmp_path / "post")
    text = (tmp_path / "post" / "summary.md").read_text(encoding="utf-8").replace("\u00a0", " ")
    # source: international yard and pound (reference UNI-03, UNI-04): 634.52 mm / 25.4; 3.2 kg / 0.45359237; 12.5 m / 0.3048
    assert (
        "25.0 in" in text
        and "7 lb 1 oz" in text
        and "41 ft" in text
        and " cm" not in text.split("## The day")[0].replace("40 cm", "")
    )


def test_markup_in_the_anglers_words_stays_words(tmp_path: Path) -> None:
    evil = "<script>alert(1)</script> **bold** | [x](y) `c` & <b>"
    write_post(trip(title=evil, note=evil), tmp_path / "post")
    parsed = page(tmp_path)
    assert "script" not in {tag for tag, _, _ in parsed.attributes} and evil in "".join(parsed.words)
    markdown = (tmp_path / "post" / "summary.md").read_text(encoding="utf-8")
    # source: CommonMark, by the markdown-it library: the heading's only content is the text itself
    tokens = MarkdownIt().parse(markdown)
    inline = tokens[1].children
    assert {t.type for t in inline} <= {"text", "text_special"} and "".join(t.content for t in inline) == evil


@given(st.text(alphabet=st.characters(blacklist_categories=("Cs", "Cc", "Zl", "Zp")), min_size=1, max_size=40))
def test_any_text_is_plain_in_markdown(text: str) -> None:
    tokens = MarkdownIt().parse("x " + in_markdown(text))
    assert len(tokens) == 3
    assert {t.type for t in tokens[1].children} <= {"text", "text_special"}


def test_the_lanes_show_each_cameras_clips_on_the_time_line(tmp_path: Path) -> None:
    record = trip()
    story = tell(record, tmp_path)
    assert story.lanes is not None
    assert [lane.name for lane in story.lanes.lanes] == ["Boat", "chest", "stern"]
    assert [len(lane.bars) for lane in story.lanes.lanes] == [4, 2, 2]  # the foreign and the unplaced clip are not drawn
    start, end = T0 - 0.015 * 10790, T0 + 10790 * 1.015
    bar = story.lanes.lanes[1].bars[0]
    assert bar.start == pytest.approx(100 * (T0 + 2350 - start) / (end - start), abs=0.01)
    assert bar.width == pytest.approx(100 * 180 / (end - start), abs=0.01)
    assert story.lanes.lanes[2].bars[1].doubt > 0.5 and bar.doubt == 0  # a minute's doubt is drawn, 20 ms is not
    assert [t.label for t in story.lanes.events if t.kind != "other"] == ["C1", "C2", "C3"]
    assert all(0 <= t.at <= 100 for t in (*story.lanes.events, *story.lanes.axis)) and 3 <= len(story.lanes.axis) <= 9
    assert "chest: 2 clips" in story.lanes.words
    write_post(record, tmp_path / "post")
    text = (tmp_path / "post" / "summary.html").read_text(encoding="utf-8")
    picture = ElementTree.fromstring(text[text.index("<svg") : text.rindex("</svg>") + 6])  # noqa: S314  # our own file
    assert picture.find("title").text and picture.find("desc").text == story.lanes.words
    assert len(picture.findall(".//rect[@class='bar clip']")) == 4


def test_clips_placed_only_against_each_other_get_a_picture_of_their_own(tmp_path: Path) -> None:
    record = trip()
    clips = tuple(
        PlacedClip(p.clip, ClipTime(p.clip.name, "relative", None, 0.001, None, 2, 30.0 * i))
        for i, p in enumerate(record.lineup.clips)
    )
    story = tell(replace(record, lineup=LineUp(clips, (), ())), tmp_path)
    assert len(story.relative_lanes) == 1 and len(story.relative_lanes[0].lanes) == 2
    assert "nothing ties them to the time of day" in story.relative_lanes[0].words


def test_how_each_clock_was_found_off_is_told_in_words(tmp_path: Path) -> None:
    record = trip()
    chest, stern = (c.sentence.replace("\u202f", " ") for c in tell(record, tmp_path).cameras)
    # 42.2 s is added to a stamp in local time; 4 ppm of a day are 0.35 s; 1.96 * 20.3 ms, of the worse of its two clips
    # source: 95 % of a normal distribution lie within 1.96 sigma (JCGM 100:2008, table G.1)
    assert chest == (
        "It kept local time and was 42.2 s slow. It loses 0.3 s a day. Its times are good to ±40 ms (95 %), "
        "settled by a filmed clock and sound shared with other cameras."
    )
    assert "0.31 s fast" in stern and "a day" not in stern  # no drift was measured

    def sentence(**changes: object) -> str:
        clocks = replace(record.clocks, runs=(replace(record.clocks.runs[0], **changes),))
        return tell(replace(record, clocks=clocks), tmp_path).cameras[0].sentence

    assert "only against each other" in sentence(placed="relative", offset_s=None)
    assert "Nothing tells when" in sentence(placed="none", offset_s=None, sigma_s=None)
    assert "lost the date" in sentence(reading="date reset")
    assert sentence(offset_s=None, sigma_s=None).startswith("Its clips carry no time of their own")
    assert "was right, as far as can be told" in sentence(offset_s=-7200.0)
    assert "3 h 0 min 0 s fast" in sentence(reading="UTC", offset_s=-10800.0).replace("\u202f", " ")


def test_the_sketch_is_to_scale_and_only_drawn_where_places_are_exact(tmp_path: Path) -> None:
    record = trip("exact", units="metric")
    story = tell(record, tmp_path)
    assert (
        story.sketch is not None
        and tell(trip("blurred"), tmp_path).sketch is None
        and tell(trip("none"), tmp_path).sketch is None
    )
    drawn = {mark.label: mark for mark in story.sketch.marks}
    true = {c.id: c.position for c in record.lineup.catches}
    metres = float(story.sketch.bar_words.split("\u202f")[0]) * (1000 if "km" in story.sketch.bar_words else 1)
    on_paper = math.dist((drawn["C1"].x, drawn["C1"].y), (drawn["C3"].x, drawn["C3"].y)) * metres / story.sketch.bar
    # source: WGS 84 geodesic by the geographiclib library (Karney 2013)
    apart = Geodesic.WGS84.Inverse(true["C1"].lat, true["C1"].lon, true["C3"].lat, true["C3"].lon)["s12"]
    assert on_paper == pytest.approx(apart, rel=0.005)
    assert drawn["C3"].y < drawn["C1"].y and drawn["C3"].x > drawn["C1"].x  # the third fish was taken north-east of the first
    inside = [float(v) for stroke in story.sketch.strokes for v in re.findall(r"[-\d.]+", stroke.points)]
    assert min(inside) >= 0 and max(inside) <= 1000


def luminance(colour: str) -> float:
    # source: WCAG 2.1, definition of relative luminance
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_contrast_formula() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # source: WCAG 2.1: black on white is 21:1
    assert contrast("#767676", "#ffffff") == pytest.approx(
        4.54, abs=0.01
    )  # common practice, no source: the lightest grey that passes


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_colours_have_contrast(colours: dict[str, str]) -> None:
    for name, ground in product(TEXT, ("paper", "sheet")):
        assert contrast(colours[name], colours[ground]) >= 4.5, (name, ground)  # source: WCAG 2.1, 1.4.3 (AA)
    for name in SHAPES:
        assert contrast(colours[name], colours["sheet"]) >= 3.0, name  # source: WCAG 2.1, 1.4.11


def test_the_card_draws_wide_letters_and_long_titles(tmp_path: Path) -> None:
    """Letters of many languages give ink of their own, not the square of a missing letter."""
    from reelnotes.summary.card import _font

    missing = bytes(_font(40).getmask("\ue000"))
    for letter in "åøæÅØÆäöüßñéèçłśżčřžőİğþðΩЖщ№½±–…’":
        for bold in (False, True):
            assert bytes(_font(40, bold).getmask(letter)) != missing, letter
    long_title = "Ørret og ål på Søndre Ytterfjorden, en lang og våt morgen i mai " * 3
    card = draw_card(tell(trip(title=long_title), tmp_path))
    edge = card.crop((1172, 0, 1200, 430))  # nothing runs off the right side
    ground = draw_card(tell(nothing(trip(title="x")), tmp_path)).crop((1172, 0, 1200, 430))
    assert edge.tobytes() == ground.tobytes()
    assert max(ImageStat.Stat(card).stddev) > 20


def test_lanes_and_cameras_tell_one_doubt_of_a_clock(tmp_path: Path) -> None:
    """A clip hours from the clue that settled its clock is known less well than the clock: the clip's own doubt is told."""
    record = trip()
    last = record.lineup.clips[1]
    worse = replace(last, time=replace(last.time, sigma_s=0.44))
    lineup = replace(record.lineup, clips=(record.lineup.clips[0], worse, *record.lineup.clips[2:]))
    clocks = replace(record.clocks, clips={**record.clocks.clips, last.clip.name: worse.time})
    chest = record.clocks.runs[0]
    for runs in (
        (replace(chest, last=last.clip.name), record.clocks.runs[1]),
        (replace(chest, last=chest.first), replace(chest, run=2, first=last.clip.name, last=last.clip.name)),
    ):
        story = tell(replace(record, lineup=lineup, clocks=replace(clocks, runs=runs)), tmp_path)
        assert story.lanes is not None
        told = [re.findall(r"±\S+\u202f\w+", camera.sentence) for camera in story.cameras if camera.name.startswith("chest")]
        # source: 95 % of a normal distribution lie within 1.96 sigma (JCGM 100:2008, table G.1)
        assert story.lanes.lanes[1].remark == told[-1][0] == "±0.86\u202fs"
        assert len(told) == 1 or told[0] == ["±39\u202fms"]  # 1.96 * 20.1 ms, of the first clip alone


def test_an_instant_is_rounded_to_the_second_and_then_read_as_from_a_clock() -> None:
    record = trip()
    words = Words(record)
    for late_s in (-0.6, -0.4, 0.0, 0.4, 0.6, 29.7, 59.6):
        seconds = iso_local(T0 + late_s, record.zone)[11:19]  # as the tables and the program's own words have it
        assert words.clock(T0 + late_s, seconds=True) == seconds
        assert words.clock(T0 + late_s) == seconds[:5]
    assert [words.clock(T0 + s) for s in (-0.6, -0.4, 59.4, 59.6)] == ["05:59", "06:00", "06:00", "06:01"]


def test_the_hour_that_comes_twice_is_told_apart(tmp_path: Path) -> None:
    # source: IANA time zone database: Europe/Oslo went from UTC+2 back to UTC+1 on 2026-10-25 at 01:00 UTC
    record = trip()
    record = replace(record, folder=replace(record.folder, date=dt.date(2026, 10, 25)))
    words, change = Words(record), dt.datetime(2026, 10, 25, 1, 0, tzinfo=dt.UTC).timestamp()
    assert [words.clock(change + s) for s in (-1200, 1200, 3600)] == ["02:40", "02:20*", "03:00"]
    assert "*" not in tell(record, tmp_path).clock_words
    legs = (replace(record.track.legs[0], start_utc_s=change - 600, end_utc_s=change + 600),)
    night = replace(record, track=replace(record.track, legs=legs), lineup=LineUp((), (), ()))
    assert "a * marks the second passing" in tell(night, tmp_path).clock_words


@pytest.mark.parametrize(("logged", "best"), [(None, "C1"), (500.0, "C1"), (900.0, "C3")])
def test_the_best_fish_is_the_longest_measured_or_logged(logged: float | None, best: str, tmp_path: Path) -> None:
    record = trip()
    catches = (*record.lineup.catches[:2], replace(record.lineup.catches[2], logged_length_mm=logged))
    told = tell(replace(record, lineup=replace(record.lineup, catches=catches)), tmp_path)
    assert told.best is not None and told.best.id == best


def test_figures_in_words() -> None:
    assert [duration(s).replace("\u202f", " ") for s in (0, 48, 95, 3540, 3600, 11100)] == [
        "0 s",
        "48 s",
        "2 min",
        "59 min",
        "1 h 00 min",
        "3 h 05 min",
    ]
    assert clock_error(-10812).replace("\u202f", " ") == "3 h 0 min 12 s"
    assert doubt(0.0051).replace("\u202f", " ") == "10 ms"


def test_the_same_record_gives_the_same_bytes(tmp_path: Path) -> None:
    for a, b in zip(write_post(trip(), tmp_path / "a"), write_post(trip(), tmp_path / "b"), strict=True):
        assert a.read_bytes() == b.read_bytes()
        assert "reelnotes trip 1" not in a.read_bytes().decode("utf-8", "replace")


def test_geojson_is_long_lat_and_carries_no_crs(tmp_path: Path) -> None:
    write_post(trip("exact"), tmp_path / "post")
    collection = json.loads((tmp_path / "post" / "track.geojson").read_text(encoding="utf-8"))
    assert "crs" not in collection  # source: RFC 7946 section 4 (reference GJS-02)
    lon, lat = collection["features"][0]["geometry"]["coordinates"][0][:2]
    assert (round(lon), round(lat)) == (11, 59)  # source: RFC 7946 section 3.1.1 (reference GJS-01)

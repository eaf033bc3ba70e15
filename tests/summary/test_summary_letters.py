"""The card in letters that its font lacks: nothing empty, nothing with holes, and the run says so."""

from dataclasses import replace
from pathlib import Path

import pytest
from invented_trip import trip
from PIL import ImageChops

from reelnotes.summary import remarks
from reelnotes.summary.card import draw_card
from reelnotes.summary.letters import drawable, lacking
from reelnotes.summary.story import tell

PLAIN = "A day on the water"


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("Grå morgen på fjorden", "Grå morgen på fjorden"),
        ("Утро на фьорде", "Утро на фьорде"),
        ("Πρωί", "Πρωί"),
        ("Grå", "Grå"),  # a letter and its ring, written one after the other
        ("Ｄａｗｎ ﬁsh", "Dawn fish"),  # full-width letters and a ligature
        ("Dawn 🎣 at sea", "Dawn at sea"),
        ("Dawn 👩‍🚀👍🏽❤️", "Dawn"),
        ("cod (🎣) [★ ] two", "cod two"),  # what was left out leaves no brackets behind
        ("鱈の日", ""),
        ("Dawn at 釣り場", ""),
        ("아침", ""),
        ("صباح", ""),
        ("בוקר", ""),
        ("🎣🎣", ""),
        ("", ""),
    ],
)
def test_a_text_is_drawn_whole_or_not_at_all(text: str, drawn: str) -> None:
    assert drawable(text) == drawn


def test_what_the_font_lacks_is_named_once() -> None:
    assert lacking("Dawn at 釣り場釣り 🎣") == "釣り場🎣"
    assert lacking("Grå morgen, Утро: ❤️ ") == "❤"
    assert lacking("Grå morgen → Утро") == ""


@pytest.mark.parametrize("title", ["鱈の日", "🎣🎣", "صباح على الماء"])
def test_a_title_that_cannot_be_drawn_gives_way_to_a_plain_one(title: str, tmp_path: Path) -> None:
    card, plain = draw_card(tell(trip(title=title), tmp_path)), draw_card(tell(trip(title=PLAIN), tmp_path))
    assert ImageChops.difference(card, plain).getbbox() is None
    (remark,) = remarks(trip(title=title))
    assert not remark.serious
    assert PLAIN in str(remark) and title in str(remark) and "post/card.png" in str(remark)
    assert tell(trip(title=title), tmp_path).title == title  # the pages keep it


def test_an_ornament_is_left_out_and_told(tmp_path: Path) -> None:
    card, bare = draw_card(tell(trip(title="Dawn 🎣"), tmp_path)), draw_card(tell(trip(title="Dawn"), tmp_path))
    assert ImageChops.difference(card, bare).getbbox() is None
    (remark,) = remarks(trip(title="Dawn 🎣"))
    assert "lacks 🎣" in str(remark) and "'Dawn'" in str(remark)


def test_a_species_that_cannot_be_drawn_is_a_fish(tmp_path: Path) -> None:
    def caught(species: str):
        record = trip()
        catches = tuple(replace(c, species=species) for c in record.lineup.catches)
        return replace(record, lineup=replace(record.lineup, catches=catches))

    card, plain = draw_card(tell(caught("鱈"), tmp_path)), draw_card(tell(caught("fish"), tmp_path))
    assert ImageChops.difference(card, plain).getbbox() is None
    assert ["'fish'" in str(remark) for remark in remarks(caught("鱈"))] == [True]
    assert remarks(caught("треска")) == ()


def test_a_title_that_is_not_published_is_not_told_of() -> None:
    record = trip(spot="none", title="鱈の日")
    folder = replace(record.folder, settings=record.folder.settings.model_copy(update={"title": None}))
    assert remarks(replace(record, folder=folder)) == ()

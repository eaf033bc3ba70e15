"""What is a position only by where the trip was, and positions in words: both go, and what merely looks like them stays."""

import re
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from invented_trip import SPOT, trip

from reelnotes.summary import write_post
from reelnotes.summary.region import Region, geohash_place
from reelnotes.summary.scrub import GAP, scrubbed
from reelnotes.summary.spoken import NUMBERS

HERE = Region.around([(5.0008, 62.2104), (5.31, 62.4)])  # an invented skerry, and where the boat came from
SOUTH_WEST = Region.around([(-71.52, -33.04)])
ELSEWHERE = Region.around([(13.02, 47.61)])

ONLY_HERE = [
    "62.21, 5.00",
    "62.21 5.00",
    "62,21 5,00",
    "62,21,5,00",
    "62.21/5.0",
    "62.2; 5.04",
    "5.00, 62.21",
    "62.21 and 5.00",
    "62.21° / 5.00°",
    "62.21 degrees, 5.00 degrees",
    "62 12.6, 5 0.1",
    "62:12.6 / 5:00.1",
    "62-12.6 5-00.1",
    "62 degrees 12 minutes",
    "62 grader 12 minutter",
    "sixty-two point two one, five point zero",
    "sixty-two point two one five point oh one",
    "seksti-to komma to en, fem komma null en",
    "u559cv",
    "U559CV",
    "u559cv13z",
]

NO_PLACE = [
    "12.50, 13.20",
    "12.50 and 13.20 for bait",
    "€62.21, €5.00",
    "kr 62.50, 5.25",
    "62.50 kr, 5.25 kr",
    "62.25 cm, 5.10 kg",
    "62.25, 5.10 kg",
    "62.25 x 5.10",
    "62.5, 5.0",
    "62, 5",
    "3.25, 4.50, 2.75 kg",
    "lost at 62.21 m, won 5.00",
    "09.05.2026 06:12, 5.00",
    "perch and tench",
    "SR11 and DT16 lures",
    "u2edk of 12",
    "70cm60 line",
    "2026, 62105",
    "turned to sixty-two degrees, five minutes later a strike",
    "turned to 62 degrees, 5 minutes later a strike",
    "heading 62 degrees, 5 min, N wind",
]

IN_WORDS = [
    "sixty-two degrees twelve minutes north, five degrees zero minutes east",
    "Sixty two degrees twelve point six minutes North five degrees zero minutes East",
    "sixty-two degrees and twelve minutes thirty-seven seconds north",
    "sixty-two point two one north, five point oh one east",
    "sixty-two point two degrees north",
    "sixty-two and a half degrees north",
    "north sixty-two degrees twelve minutes, east five degrees zero minutes",
    "one hundred and fifty-one degrees twelve minutes east",
    "sixty-two degrees twelve minutes, five degrees zero minutes",
    "sixty-two degrees, twelve minutes N",
    "latitude sixty-two degrees twelve",
    "latitude sixty-two point two one",
    "62 degrees and 12 minutes north",
    "62 degrees 12 minutes, 5 degrees 0 minutes",
    "62 degrees 12.626 minutes",
    "62 point 21 north",
    "to og seksti grader tolv minutter nord, fem grader null minutter øst",
    "sekstito grader tolv minutter nordlig bredde",
    "seksti to grader tolv minutter nord",
    "toogtreds grader tolv minutter nord",
    "sextiotvå grader tolv minuter nord",
    "zweiundsechzig Grad zwölf Minuten nördlicher Breite, fünf Grad null Minuten östlicher Länge",
    "zweiundsechzig Grad zwoelf Minuten Nord",
    "62 Grad 12 Minuten Nord, 5 Grad 0 Minuten Ost",
    "sesenta y dos grados doce minutos de latitud norte",
    "treinta y tres grados veintidos minutos sur",
]

WORDS_THAT_STAY = [
    "one hundred and twenty degrees, five minutes before the strike",
    "turned one hundred and twenty degrees",
    "eleven degrees, north wind",
    "eleven degrees north wind",
    "eleven degrees in the water, five minutes of rain",
    "two fish north of the point, one south",
    "one point two five kilos, three point one two",
    "zwei Fische, elf Grad",
    "to fisk på fem minutter",
    "longitud sesenta y dos centímetros",
    "five minutes north of the ramp",
    "x² and ½ of them, 3² points",
]

FULL_CODES = [
    "8FVC9G8F+6W",
    "8FVC 9G8F+6W",
    "8fvc9g8f+6wq",
    "8FVC9G8F+",
    "8FVC9G8F +6W",
    "9G8F+6W",
    "geohash u559c",
    "geohash: u55",
]


@pytest.mark.parametrize("text", ONLY_HERE)
def test_what_is_a_position_only_here_goes_here_and_stays_elsewhere(text: str) -> None:
    said = f"two fish at {text} at slack"
    assert scrubbed(said, HERE) == f"two fish at {GAP} at slack"
    assert scrubbed(said, ELSEWHERE) == said
    assert scrubbed(said) == said
    assert scrubbed(f"2 at {text}.", HERE) == f"2 at {GAP}."


@pytest.mark.parametrize("text", ["33.04, 71.52", "-33.04 -71.52", "71.52 33.04", "-71,52; -33,04"])
def test_a_position_without_its_sign_is_one_all_the_same(text: str) -> None:
    assert scrubbed(f"at {text}", SOUTH_WEST) == f"at {GAP}"


def test_a_position_among_other_figures_is_found() -> None:
    assert scrubbed("12.50, 13.20, 62.21, 5.00, 8 m", HERE) == f"12.50, 13.20, {GAP}, 8 m"
    assert scrubbed("8.25, 62.21, 5.00, 62.22, 5.01", HERE) == f"8.25, {GAP}"


def test_across_the_date_line_it_is_one_region() -> None:
    region = Region.around([(179.98, -17.02)])
    assert scrubbed("at 17.02, 179.91", region) == scrubbed("at -17.02, -179.97", region) == f"at {GAP}"


@pytest.mark.parametrize("text", NO_PLACE + WORDS_THAT_STAY)
@pytest.mark.parametrize("region", [HERE, ELSEWHERE, Region.around([])])
def test_prices_sizes_times_and_words_stay(text: str, region: Region) -> None:
    for around in ("{}", "Cod, {} in all", "{}."):
        assert scrubbed(around.format(text), region) == around.format(text)


@pytest.mark.parametrize("text", IN_WORDS + FULL_CODES)
@pytest.mark.parametrize("around", ["Good spot: {} at slack water", "{}", "took it at {}, then left"])
def test_positions_in_words_and_whole_codes_go_anywhere(text: str, around: str) -> None:
    assert scrubbed(around.format(text)) == around.format(GAP)


@given(st.floats(-85, 85), st.floats(-179, 179))
def test_two_decimals_of_any_place_go_where_the_trip_was(lat: float, lon: float) -> None:
    region = Region.around([(lon, lat)])
    for text in (f"{lat:.2f}, {lon:.2f}", f"{abs(lat):.2f} {abs(lon):.2f}", f"{lon:.2f}/{lat:.2f}".replace(".", ",")):
        assert scrubbed(f"at {text} today", region) == f"at {GAP} today"


def test_a_geohash_is_decoded_as_published() -> None:
    # source: the examples "ezs42" (42.605, -5.603) and "u4pruydqqvj" (57.64911, 10.40744), worked in the article on geohashes
    # of the English encyclopedia, and the definition by G. Niemeyer
    assert geohash_place("ezs42") == pytest.approx((42.605, -5.603), abs=0.001)
    assert geohash_place("u4pruydqqvj") == pytest.approx((57.64911, 10.40744), abs=0.00001)
    assert geohash_place("ails") is None


def test_numbers_in_words_are_those_that_they_say() -> None:
    said = {"siebenundvierzig": 47, "førtisju": 47, "syvogførti": 47, "syvogfyrre": 47, "fyrtiosju": 47, "veintidos": 22}
    assert {word: NUMBERS[word] for word in said} == said
    assert NUMBERS["dreissig"] == NUMBERS["dreißig"] == 30


def test_a_long_text_of_words_and_numbers_takes_no_time() -> None:
    for text in ("one " * 5000, "one degrees " * 2500, "62.21 " * 2500, "sixty and " * 2500 + "degrees", "u559cv " * 2000):
        begun = time.monotonic()
        scrubbed(text, HERE)
        assert time.monotonic() - begun < 5.0, text[:10]


@pytest.mark.parametrize("spot", ["blurred", "none"])
def test_nothing_published_tells_the_trips_own_waters_in_plain_numbers(spot: str, tmp_path: Path) -> None:
    note = f"again at {SPOT[1]:.2f}, {SPOT[0]:.2f}, bait 12.50 and 13.20"
    record = trip(spot, title="Morning at 59.41 10.62", note=note)
    write_post(record, tmp_path / "post")
    told = " ".join(p.read_text(encoding="utf-8", errors="replace") for p in (tmp_path / "post").iterdir() if p.suffix != ".png")
    assert not re.search(r"59\.41,? 10\.62", told)
    assert f"Morning at {GAP}" in told
    assert ("bait 12.50 and 13.20" in told) == (spot == "blurred")  # no notes where no place is told

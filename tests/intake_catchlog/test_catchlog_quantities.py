"""Lengths, weights and depths: exact factors, every way to write them, and round trips."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.intake.catchlog.quantities import depth_m, length_mm, unit_in_header, weight_kg
from reelnotes.intake.catchlog.times import read_time
from reelnotes.intake.catchlog.words import event_kind, slips


# source: UNI-03, an inch is 25.4 mm and a foot 0.3048 m exactly
@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("63.5 cm", 635),
        ("63,5", 635),
        ("635mm", 635),
        ("635 mm.", 635),
        ("0.635 m", 635),
        ("25 in", 635),
        ('25 1/4"', 641.35),
        ("25¼ in", 641.35),
        ("25 ¼ inches", 641.35),
        ("25-1/4 in", 641.35),
        ("2' 1\"", 635),
        ("2′1″", 635),
        ("2 ft 1 in", 635),
        ("2ft1", 635),
        ("2’ 1 1/2”", 647.7),
        ("1/2 m", 500),
        ("ca 63 cm", 630),
        ("~63cm", 630),
        ("25,5 tommer", 647.7),
        ("25 Zoll", 635),
        ("25 pulgadas", 635),
        ("1,250 mm", 1250),
        ("½ m", 500),
        ("2 fot 1 tum", 635),
        ("1 m 5 cm", 1050),
        ("1 m 5", 1050),
    ],
)
def test_lengths(text: str, mm: float) -> None:
    assert length_mm(text, "cm") == pytest.approx(mm, abs=1e-9)


# source: UNI-04, a pound is 0.45359237 kg exactly, an ounce a sixteenth
@pytest.mark.parametrize(
    ("text", "kg"),
    [
        ("3.2 kg", 3.2),
        ("3,2kg", 3.2),
        ("3200 g", 3.2),
        ("3.200 g", 3.2),
        ("7 lb 3 oz", 7.1875 * 0.45359237),
        ("7lb3oz", 7.1875 * 0.45359237),
        ("7 lbs 3", 7.1875 * 0.45359237),
        ("7 1/2 pounds", 7.5 * 0.45359237),
        ("7½ lb", 7.5 * 0.45359237),
        ("12 oz", 0.75 * 0.45359237),
        ("7#", 7 * 0.45359237),
        ("12 hg", 1.2),
        ("3", 3.0),
        ("3 kilo", 3.0),
        ("4 libras 8 onzas", 4.5 * 0.45359237),
    ],
)
def test_weights(text: str, kg: float) -> None:
    assert weight_kg(text, "kg") == pytest.approx(kg, abs=1e-9)


# source: UNI-05, the international fathom is 1.8288 m
@pytest.mark.parametrize(
    ("text", "m"),
    [
        ("12 m", 12),
        ("40 ft", 12.192),
        ("7 fathoms", 12.8016),
        ("7 favner", 12.8016),
        ("7 fm", 12.8016),
        ("12", 12),
        ("7-9 m", 8),
        ("7 – 9 m", 8),
        ("20 to 30 ft", 7.62),
        ("0", 0),
        ("40'", 12.192),
        ("30 yds", 27.432),
    ],
)
def test_depths(text: str, m: float) -> None:
    assert depth_m(text, "m") == pytest.approx(m, abs=1e-9)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "6x cm",
        "big",
        "25 14 in",
        "1 in 2 ft",
        "cm",
        "1/0 in",
        "-5 cm",
        "3 kg",
        "63 cm cm",
        "2 ft 1 ft",
        "nan",
        "inf",
        "1e5",
        "½½",
        "١٢ x",
    ],
)
def test_what_is_no_length(text: str) -> None:
    with pytest.raises(ValueError, match="is no"):
        length_mm(text, "cm")


def test_a_missing_unit_shows_as_an_unlikely_size() -> None:
    with pytest.raises(ValueError, match="unit missing"):
        length_mm("635", "cm")
    with pytest.raises(ValueError, match="unit missing"):
        weight_kg("3200", "kg")


@pytest.mark.parametrize(
    ("header", "column", "unit"),
    [
        ("Length (cm)", "length", "cm"),
        ("length_mm", "length", "mm"),
        ("Lengde [tommer]", "length", "in"),
        ("weight lb", "weight", "lb"),
        ("Gewicht/g", "weight", "g"),
        ("length", "length", None),
        ("Length (total)", "length", None),
    ],
)
def test_units_in_headers(header: str, column: str, unit: str | None) -> None:
    assert unit_in_header(header, column) == unit


@given(st.integers(20, 5999))
def test_lengths_round_trip(mm: int) -> None:
    for text in (f"{mm} mm", f"{mm / 10} cm", f"{mm / 10:.1f}".replace(".", ","), f"{mm / 1000:.3f} m"):
        assert length_mm(text, "cm") == pytest.approx(mm, abs=1e-6)


@given(st.integers(0, 15), st.integers(0, 11), st.integers(0, 15))
def test_feet_inches_and_sixteenths_round_trip(feet: int, inches: int, sixteenths: int) -> None:
    mm = (feet * 12 + inches + sixteenths / 16) * 25.4
    if not 10 <= mm <= 6000:
        return
    fraction = f" {sixteenths}/16" if sixteenths else ""
    assert length_mm(f"{feet}' {inches}{fraction}\"", "cm") == pytest.approx(mm, abs=1e-9)
    assert length_mm(f"{feet * 12 + inches}{fraction} in", "cm") == pytest.approx(mm, abs=1e-9)


@given(st.integers(0, 99), st.integers(0, 15))
def test_pounds_and_ounces_round_trip(pounds: int, ounces: int) -> None:
    if pounds + ounces:
        assert weight_kg(f"{pounds} lb {ounces} oz", "kg") == pytest.approx((pounds + ounces / 16) * 0.45359237, abs=1e-9)


@given(st.times(), st.booleans())
def test_clocks_round_trip(time: object, twelve: bool) -> None:
    text = time.strftime("%I:%M:%S %p" if twelve else "%H:%M:%S")  # type: ignore[attr-defined]
    written = read_time(text)
    assert written.clock_s == time.hour * 3600 + time.minute * 60 + time.second  # type: ignore[attr-defined]
    assert written.step_s == 1 and written.date is None


@given(st.datetimes(min_value=__import__("datetime").datetime(1970, 1, 1), max_value=__import__("datetime").datetime(2099, 1, 1)))
def test_dates_round_trip(when: object) -> None:
    for form in ("%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M", "%Y-%m-%dT%H:%M", "%d %B %Y %H:%M", "%B %d, %Y %I:%M %p"):
        written = read_time(when.strftime(form))  # type: ignore[attr-defined]
        assert written.date == when.date()  # type: ignore[attr-defined]
        assert written.clock_s == when.hour * 3600 + when.minute * 60  # type: ignore[attr-defined]


@given(st.text(max_size=30), st.sampled_from(["cm", "in", "m"]))
def test_any_text_is_a_number_or_a_sentence(text: str, unit: str) -> None:
    for reader, default in ((length_mm, unit), (depth_m, unit), (weight_kg, "kg")):
        try:
            assert reader(text, default) >= 0
        except ValueError as error:
            assert "is no" in str(error)
    try:
        written = read_time(text)
        assert 0 <= written.clock_s <= 86400
    except ValueError as error:
        assert str(error)
    event_kind(text)


def test_slips() -> None:
    # source: optimal string alignment distance, Damerau 1964: a swap of neighbours is one slip
    assert [slips(a, b, 3) for a, b in (("lsot", "lost"), ("hoked", "hooked"), ("lost", "lost"), ("kitten", "sitting"))] == [
        1,
        1,
        0,
        3,
    ]

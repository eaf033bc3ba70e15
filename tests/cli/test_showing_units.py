"""One measured clip is told in the unit that was asked for."""

import pytest

from reelnotes.cli.console import Voice
from reelnotes.cli.showing import one_measure
from reelnotes.records.lengths import FishLength

FISH = FishLength("a.mp4", 0, 1, "measured", total_length_mm=508.0, fork_length_mm=482.6, low_mm=500.38, high_mm=515.62)


@pytest.mark.parametrize(
    ("units", "words"), [("metric", "50.8 cm (50.0 cm to 51.6 cm)"), ("imperial", "20.0 in (19.7 in to 20.3 in)")]
)
def test_one_measure_in_its_unit(units: str, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    one_measure(Voice(), [FISH], units)
    told = capsys.readouterr().out
    assert words in told
    assert ("fork length 48.3 cm" in told) == (units == "metric")
    assert ("fork length 19.0 in" in told) == (units == "imperial")

"""Lengths held against an angler's own limits: by the interval, never rounded towards a limit."""

import pytest

from reelnotes.measure.limits import against
from reelnotes.records.folder import SizeLimit
from reelnotes.records.lengths import FishLength


def fish(low, high, **more):
    return FishLength("a.mp4", 0, 1, "measured", total_length_mm=(low + high) / 2, low_mm=low, high_mm=high, **more)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (451.0, 459.0, "clear of"),
        (441.0, 449.0, "short of"),
        (446.0, 454.0, "too close to call"),
        (449.9, 452.0, "too close to call"),
    ],
)
def test_minimum(low, high, words):
    # source: reference RND-04 (project rule): a length is never rounded up to a limit; 449.9 is not 450
    assert words in against(fish(low, high), SizeLimit("char", minimum_mm=450.0))


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [(500, 510, "clear of"), (610, 620, "inside"), (595, 605, "too close to call"), (705, 720, "clear of")],
)
def test_slot(low, high, words):
    assert words in against(fish(low, high), SizeLimit("char", slot_mm=(600.0, 700.0)))


def test_maximum():
    assert "over the maximum" in against(fish(910, 930), SizeLimit("char", maximum_mm=900.0))
    assert "clear of the maximum" in against(fish(880, 899), SizeLimit("char", maximum_mm=900.0))


def test_measures_are_never_mixed():
    # source: reference LEN-14: total, fork and standard length are different measures
    rule = SizeLimit("char", measure="fork", minimum_mm=450.0)
    assert "no fork length" in against(fish(460, 470), rule)
    assert "short of" in against(fish(460, 470, fork_length_mm=440.0, u_fork_mm=2.0), rule)
    assert "total length" in against(fish(460, 470), SizeLimit("char", minimum_mm=450.0))

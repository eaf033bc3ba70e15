"""Instants against RFC 3339's own examples."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelnotes.records.instants import Span, from_datetime, iso_local, iso_utc, to_datetime

# source: RFC 3339 section 5.8, examples 1, 2 and 5; reference values TIM-01, TIM-02, TIM-04
EXAMPLES = [
    ("1985-04-12T23:20:50.52+00:00", 482196050.52),
    ("1996-12-19T16:39:57-08:00", 851042397.0),
    ("1937-01-01T12:00:27.87+00:20", -1041337172.13),
]


@pytest.mark.parametrize(("text", "posix"), EXAMPLES)
def test_rfc_3339_examples(text: str, posix: float) -> None:
    assert from_datetime(dt.datetime.fromisoformat(text)) == pytest.approx(posix, abs=1e-6)


def test_a_time_without_a_zone_is_no_instant() -> None:
    with pytest.raises(ValueError):
        from_datetime(dt.datetime(2026, 5, 9, 6, 0))


@given(st.floats(0, 4e9))
def test_text_and_back(t: float) -> None:
    assert from_datetime(dt.datetime.fromisoformat(iso_utc(t))) == pytest.approx(t, abs=0.00051)
    assert from_datetime(to_datetime(t)) == pytest.approx(t, abs=1e-6)


def test_rounding_carries_into_the_next_second() -> None:
    assert iso_utc(1778300489.9996) == "2026-05-09T04:21:30.000Z"
    assert iso_utc(1778300489.5, digits=0) in ("2026-05-09T04:21:29Z", "2026-05-09T04:21:30Z")
    assert iso_utc(None) == "" and iso_local(None, dt.UTC) == ""


def test_spans() -> None:
    a, b = Span(0.0, 10.0), Span(8.0, 12.0)
    assert a.overlap_s(b) == 2.0 and b.overlap_s(a) == 2.0
    assert 10.0 not in a and 0.0 in a
    assert a.overlap_s(Span(15.0, 16.0)) == -5.0
    with pytest.raises(ValueError):
        Span(2.0, 1.0)

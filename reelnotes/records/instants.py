"""Instants and spans on the UTC time line.

An instant is a float: POSIX seconds (UTC, leap seconds folded as POSIX does), in names that end in
``_utc_s``. A double holds today's instants to 0.3 microseconds, a hundred times finer than any
clock here. A camera's own reading, whose meaning is not yet known, is *not* an instant: it is kept
as "stamp" seconds, the digits of the stamp read as if they were UTC, in names that hold ``stamp``.
"""

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Span:
    """A half-open stretch of time, ``start_s <= t < end_s``, in seconds of whichever clock the name says."""

    start_s: float
    end_s: float

    def __post_init__(self) -> None:
        if not self.end_s >= self.start_s:
            raise ValueError(f"a span ends before it starts: {self.start_s} .. {self.end_s}")

    @property
    def length_s(self) -> float:
        """Length in seconds, never negative."""
        return self.end_s - self.start_s

    def __contains__(self, t_s: float) -> bool:
        return self.start_s <= t_s < self.end_s

    def overlap_s(self, other: "Span") -> float:
        """Seconds shared with another span; negative values are the gap between them."""
        return min(self.end_s, other.end_s) - max(self.start_s, other.start_s)


def to_datetime(t_utc_s: float) -> dt.datetime:
    """Instant (POSIX seconds) -> aware UTC datetime, rounded to the microsecond."""
    return dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=round(t_utc_s * 1e6))


def from_datetime(t: dt.datetime) -> float:
    """Aware datetime -> POSIX seconds. Raises ValueError for a naive one: a time without a zone is no instant."""
    if t.tzinfo is None:
        raise ValueError("a time without a zone is no instant")
    return (t - dt.datetime(1970, 1, 1, tzinfo=dt.UTC)).total_seconds()


def iso_utc(t_utc_s: float | None, digits: int = 3) -> str:
    """Instant -> ISO 8601 text such as ``2026-05-09T04:21:29.664Z``; an unknown instant is ''."""
    if t_utc_s is None:
        return ""
    step = 10 ** (6 - digits)
    micro = round(t_utc_s * 1e6 / step) * step
    t = dt.datetime(1970, 1, 1) + dt.timedelta(microseconds=micro)
    text = t.strftime("%Y-%m-%dT%H:%M:%S")
    return text + (f".{t.microsecond:06d}"[: digits + 1] if digits else "") + "Z"


def iso_local(t_utc_s: float | None, zone: dt.tzinfo, digits: int = 0) -> str:
    """Instant -> ISO 8601 local text with its UTC offset, ``2026-05-09T06:21:29+02:00``; unknown is ''."""
    if t_utc_s is None:
        return ""
    step = 10 ** (6 - digits)
    t = dt.datetime(1970, 1, 1, tzinfo=dt.UTC) + dt.timedelta(microseconds=round(t_utc_s * 1e6 / step) * step)
    return t.astimezone(zone).isoformat(timespec="seconds" if digits == 0 else "milliseconds")

"""Lengths, pixels and names as people type them at the bench, checked before any work begins.

A length always carries its unit: a bare ``50`` beside a board numbered in centimetres or inches would be taken for
millimetres, and the scale would be wrong without a sign of it. Only 0 is the same in every unit.
"""

import re
from collections.abc import Sequence

from reelnotes.records.problems import UsageError
from reelnotes.records.units import INCH_MM

UNITS = "mm, cm, m or in"
LONGEST_MM = 10_000.0  # no board, rule or pattern is longer
LONGEST_NAME_BYTES = 120  # file systems take 255 for a name with its suffix
MOST_CORNERS = 100

_MM_PER = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": INCH_MM, "inch": INCH_MM, "inches": INCH_MM, '"': INCH_MM}
_LENGTH = re.compile(r"(?:(\d+(?:[.,]\d+)?)?(?:(?:^|\s+|-)(\d{1,3})\s?/\s?(\d{1,3}))?)\s*([a-z]+|\")?", re.IGNORECASE)
_ADVICE = "write it with its unit, as 900 mm, 90 cm or 35 1/2 in"


def length_mm(option: str, text: str) -> float:
    """A length, 0 included -> mm. Raises UsageError for what is none, has no unit, or is longer than any board."""
    m = _LENGTH.fullmatch(text.strip())
    if not m or (m[1] is None and m[2] is None) or (m[3] is not None and int(m[3]) == 0):
        raise UsageError(option, f"'{_short(text)}' is no length", _ADVICE)
    number = float((m[1] or "0").replace(",", ".")) + (int(m[2]) / int(m[3]) if m[2] else 0.0)
    if m[4] is None and number != 0:
        raise UsageError(option, f"'{_short(text)}' has no unit", _ADVICE)
    if m[4] is not None and m[4].lower() not in _MM_PER:
        raise UsageError(option, f"'{m[4][:20]}' is no unit of length here", f"{UNITS} will do")
    in_mm = number * _MM_PER[m[4].lower()] if m[4] else 0.0
    if not in_mm <= LONGEST_MM:
        raise UsageError(option, f"'{_short(text)}' is longer than any board", f"at most {LONGEST_MM / 1000:g} m")
    return in_mm


def some_mm(option: str, text: str) -> float:
    """A length of something that is there: more than nothing. (A graduation may well say 0.)"""
    in_mm = length_mm(option, text)
    if in_mm <= 0:
        raise UsageError(option, f"'{text}' is no length of anything", _ADVICE)
    return in_mm


def graduations(texts: Sequence[str]) -> list[tuple[float, float, float]]:
    """Each as :func:`graduation`. Raises UsageError where some are in inches and some are not: of two marks, a slip of the unit
    makes another scale and nothing contradicts it."""
    made = [graduation(text) for text in texts]
    units = {
        bool(re.search(r'(in|inch|inches|")\s*$', text, re.IGNORECASE)) for text, mark in zip(texts, made, strict=True) if mark[2]
    }
    if len(units) > 1:
        raise UsageError(
            "--at", "some graduations are in inches and some are not", "give them all as the board's rule is numbered"
        )
    return made


def graduation(text: str) -> tuple[float, float, float]:
    """``812,440=50cm`` -> (x, y, mm)."""
    place, equals, says = text.rpartition("=")
    if not equals:
        raise UsageError("--at", f"'{_short(text)}' is no graduation", "write it as X,Y=LENGTH, for example 812,440=50cm")
    return (*pixel("--at", place), length_mm("--at", says))


def pixel(option: str, text: str) -> tuple[float, float]:
    """``812,440`` -> (x, y)."""
    m = re.fullmatch(r"\s*(-?\d{1,6}(?:\.\d+)?)\s*[,;x ]\s*(-?\d{1,6}(?:\.\d+)?)\s*", text)
    if not m:
        raise UsageError(option, f"'{_short(text)}' is no pixel", "write it as X,Y: two numbers from the photo's top left")
    return float(m[1]), float(m[2])


def checkerboard(text: str) -> tuple[int, int, float]:
    """``9x6:25mm`` -> (inner corners across, down, side of a square in mm)."""
    m = re.fullmatch(r"\s*(\d+)\s*[x×]\s*(\d+)\s*:\s*(.+)", text)
    if not m:
        raise UsageError("--checkerboard", f"'{_short(text)}' is no checkerboard", "write it as 9x6:25mm (inner corners, square)")
    if max(len(m[1]), len(m[2])) > 4 or max(int(m[1]), int(m[2])) > MOST_CORNERS:
        raise UsageError("--checkerboard", f"'{_short(text)}' has more corners than a pattern", f"at most {MOST_CORNERS} a side")
    columns, rows, square_mm = int(m[1]), int(m[2]), some_mm("--checkerboard", m[3])
    if min(columns, rows) < 3:
        raise UsageError("--checkerboard", f"{columns} by {rows} inner corners are too few", "at least 3 by 3, 9 by 6 is usual")
    return columns, rows, square_mm


def name(text: str) -> str:
    """A name for a board or a lens; it also names the files. Raises UsageError for one that cannot."""
    plain = text.strip()
    fault = ""
    if not plain:
        fault = "it is empty"
    elif "/" in plain or "\\" in plain:
        fault = f"'{_short(plain)}' is a path; where to write goes into --to"
    elif not plain.isprintable():
        fault = "it holds signs that cannot be printed"
    elif plain.startswith(".") or not any(c.isalnum() for c in plain):
        fault = f"'{_short(plain)}' makes no file name"
    elif len(plain.encode("utf-8", "replace")) > LONGEST_NAME_BYTES:
        fault = "it is too long"
    if fault:
        raise UsageError("--name", fault, "a few words will do, for example 'deck board'")
    return plain


def choice(option: str, text: str, choices: tuple[str, ...]) -> str:
    """One of a few words, in upper or lower case."""
    plain = text.strip().lower()
    if plain not in choices:
        raise UsageError(option, f"'{_short(text)}' is not known here", f"choose {' or '.join(choices)}")
    return plain


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."

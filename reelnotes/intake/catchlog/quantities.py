"""Lengths, weights and depths as anglers write them -> SI.

``63.5 cm``, ``63,5``, ``25 1/4"``, ``25¼ in``, ``2' 1"``, ``3.2 kg``, ``7 lb 3 oz``, ``12 fathoms``, ``7-9 m``.
"""

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass

from reelnotes.intake.catchlog import vocabulary
from reelnotes.intake.catchlog.words import index, split
from reelnotes.records.units import FATHOM_M, FOOT_M, INCH_MM, OUNCE_KG, POUND_KG

LENGTH_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": INCH_MM,
    "ft": FOOT_M * 1000,
    "fathom": FATHOM_M * 1000,
    "yd": 3 * FOOT_M * 1000,
}
WEIGHT_KG = {"kg": 1.0, "g": 1e-3, "hg": 0.1, "lb": POUND_KG, "oz": OUNCE_KG}
SMALLER = {"ft": "in", "lb": "oz", "m": "cm", "kg": "g"}  # what a number after this unit counts, when it names none itself

# Beyond these no angler's fish, line or water lies; what does is a missing unit or a slip.
LENGTH_RANGE_MM = (10.0, 6000.0)
WEIGHT_RANGE_KG = (0.001, 1000.0)
DEPTH_RANGE_M = (0.0, 2000.0)

_NUMBER = r"\d+(?:[.,]\d+)?"
_FRACTION = r"(?P<num>\d{1,4})\s?/\s?(?P<den>\d{1,4})"
_PART = re.compile(
    rf"\s*(?:(?P<whole>\d+)(?:\s+|\s?-\s?){_FRACTION}|(?P<num2>\d{{1,4}})\s?/\s?(?P<den2>\d{{1,4}})|(?P<plain>{_NUMBER}))"
    rf"\s*(?P<unit>[^\W\d_]+\.?|[\"'#])?"
)


@dataclass(frozen=True, slots=True)
class _Scale:
    words: dict[str, str]
    factors: Mapping[str, float]
    noun: str
    low: float
    high: float
    advice: str


def _words(units: Mapping[str, str]) -> dict[str, str]:
    table = index({unit: ", ".join(w for w in split(words) if w not in "\"'#") for unit, words in units.items()})
    table.update({mark: unit for unit, words in units.items() for mark in split(words) if mark in "\"'#"})
    return table


_LENGTH = _Scale(_words(vocabulary.LENGTH_UNITS), LENGTH_MM, "length", *LENGTH_RANGE_MM, 'write it as 63.5 cm or 25 1/4"')
_WEIGHT = _Scale(_words(vocabulary.WEIGHT_UNITS), WEIGHT_KG, "weight", *WEIGHT_RANGE_KG, "write it as 3.2 kg or 7 lb 3 oz")
_DEPTH = _Scale(
    _LENGTH.words,
    {unit: mm / 1000 for unit, mm in LENGTH_MM.items()},
    "depth",
    *DEPTH_RANGE_M,
    "write it as 12 m, 40 ft or 7 fathoms",
)


def length_mm(text: str, unit: str) -> float:
    """A length -> mm; a bare number counts ``unit`` (a key of LENGTH_MM). Raises ValueError with a sentence for the user."""
    return _read(text, unit, _LENGTH)


def weight_kg(text: str, unit: str) -> float:
    """A weight -> kg; a bare number counts ``unit`` (a key of WEIGHT_KG). Raises ValueError with a sentence for the user."""
    return _read(text, unit, _WEIGHT)


def depth_m(text: str, unit: str, noun: str = "depth") -> float:
    """A depth or a length of line -> m; of a range (``7-9 m``) the middle. Raises ValueError with a sentence for the user."""
    span = re.fullmatch(rf"\s*({_NUMBER})\s*(?:-|–|to|til|till|bis|a)\s*({_NUMBER})\s*(.*)", text.strip(), re.IGNORECASE)
    if span and "/" not in text:
        low, high = (_read(f"{number} {span[3]}", unit, _DEPTH, noun) for number in (span[1], span[2]))
        return (low + high) / 2
    return _read(text, unit, _DEPTH, noun)


def unit_in_header(header: str, column: str) -> str | None:
    """The unit that a header names: ``Length (cm)`` -> "cm", ``weight_lb`` -> "lb"; None without."""
    words = _WEIGHT.words if column == "weight" else _LENGTH.words
    for part in reversed(re.split(r"[\s_()\[\],/]+", header.strip().casefold())):
        if part in words and len(re.split(r"[\s_()\[\],/]+", header.strip("()[] "))) > 1:
            return words[part]
    return None


def _tidy(text: str) -> str:
    """Fractions, primes and quotation marks as plain ASCII; words for "about" and the like taken away."""
    spaced = "".join(f" {c}" if unicodedata.category(c) == "No" and "⁄" in unicodedata.normalize("NFKC", c) else c for c in text)
    out = unicodedata.normalize("NFKC", spaced).replace("⁄", "/")
    out = re.sub(r"''|[″“”„‟〃]|′′|’’", '"', out)
    out = re.sub(r"[′’‘`´]", "'", out).strip()
    about = "|".join(re.escape(word) for word in split(vocabulary.ABOUT))
    return re.sub(rf"^(?:(?:{about})\b\.?|[~≈±])\s*", "", out, flags=re.IGNORECASE)


def _read(text: str, default_unit: str, scale: _Scale, noun: str = "") -> float:
    noun = noun or scale.noun
    bad = ValueError(f"'{text}' is no {noun} ({scale.advice})")
    rest, total, last = _tidy(text), 0.0, ""
    if not rest:
        raise bad
    while rest:
        match = _PART.match(rest)
        if not match or match.end() == 0:
            raise bad
        word = (match["unit"] or "").rstrip(".").casefold()
        unit = scale.words.get(word) if word else (SMALLER.get(last, "") if last else default_unit)
        # 2 ft 1 in goes down from larger to smaller, and names no unit twice.
        if not unit or unit not in scale.factors or (last and scale.factors[unit] >= scale.factors[last]):
            raise bad
        total += _value(match, unit, bad) * scale.factors[unit]
        last, rest = unit, rest[match.end() :].lstrip(" ,&+.")
    if not (math.isfinite(total) and scale.low <= total <= scale.high):
        raise ValueError(f"'{text}' is no likely {noun}; is the unit missing? ({scale.advice})")
    return total


def _value(match: re.Match[str], unit: str, bad: ValueError) -> float:
    over, under = match["num"] or match["num2"], match["den"] or match["den2"]
    if not over:
        return _decimal(match["plain"], unit)
    if int(under) == 0:
        raise bad
    return int(match["whole"] or 0) + int(over) / int(under)


def _decimal(text: str, unit: str) -> float:
    # "1,250 mm" and "3,200 g" are thousands: nobody writes thousandths of those.
    if unit in ("mm", "g") and re.fullmatch(r"\d{1,3}[.,]\d{3}", text):
        return float(text.replace(",", "").replace(".", ""))
    return float(text.replace(",", "."))

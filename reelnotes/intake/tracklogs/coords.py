"""Numbers, coordinates and epochs as tables write them."""

import re

from reelnotes.records.units import KNOT_MPS

SPEED_UNITS_MPS = {"m/s": 1.0, "km/h": 1 / 3.6, "kn": KNOT_MPS, "mph": 1609.344 / 3600}

_SPEED_WORDS = {
    "m/s": ("m/s", "mps", "ms", "m s", "m/sek", "metres per second", "meters per second"),
    "km/h": ("km/h", "kmh", "kph", "km/t", "kmt", "km h"),
    "kn": ("kn", "kt", "kts", "kn.", "knot", "knots", "knop", "knoten", "nudos", "knob"),
    "mph": ("mph", "mi/h"),
}
_DEGREES = re.compile(
    r"""^(?P<lead>[NSEWOØVZ])?\s*(?P<sign>[-+−]?)\s*(?P<deg>\d{1,3}(?:[.,]\d+)?)\s*(?:[°º]|\s|$)\s*
        (?:(?P<min>\d{1,2}(?:[.,]\d+)?)\s*(?:['’′]|\s|$)\s*)?
        (?:(?P<sec>\d{1,2}(?:[.,]\d+)?)\s*(?:["”″]|''|\s|$)\s*)?
        (?P<trail>[NSEWOØVZ])?$""",
    re.VERBOSE | re.IGNORECASE,
)


def number(text: str) -> float:
    """``1 234.5``, ``12,5``, ``−3`` -> float. Raises ValueError for anything else, for infinities and for no-numbers."""
    plain = text.strip().replace("−", "-").replace("\u00a0", "").replace(" ", "")
    if "," in plain and "." not in plain:
        plain = plain.replace(",", ".")
    if not re.fullmatch(r"[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,2})?", plain):
        raise ValueError(f"'{text}' is no number")
    return float(plain)


def degrees(text: str) -> float:
    """A coordinate -> signed degrees: ``58.41``, ``58,41``, ``58°24.7'N``, ``W 83 12 30``. Raises ValueError."""
    match = _DEGREES.match(text.strip())
    if not match:
        return number(text)
    parts = [number(match[key]) if match[key] else 0.0 for key in ("deg", "min", "sec")]
    if parts[1] >= 60 or parts[2] >= 60:
        raise ValueError(f"'{text}' is no coordinate")
    value = parts[0] + parts[1] / 60 + parts[2] / 3600
    letter = (match["lead"] or match["trail"] or "").upper()
    south_or_west = letter in ("S", "W", "V") or match["sign"] in ("-", "−")
    return -value if south_or_west and value else value


def epoch_s(value: float) -> float | None:
    """A count since 1970 in s, ms, us or ns, told by its size -> seconds; None for what lies outside 1980 .. 2100."""
    for scale in (1.0, 1e3, 1e6, 1e9):
        if 315_532_800 <= value / scale < 4_102_444_800:
            return value / scale
    return None


def speed_unit(header: str) -> str | None:
    """The speed unit that a header names (``speed_kn``, ``Speed (km/h)``), a key of SPEED_UNITS_MPS, or None."""
    tail = re.split(r"[(\[_ ,]", header.strip().lower(), maxsplit=1)
    rest = tail[1].strip(" ()[]_") if len(tail) > 1 else ""
    for unit, words in _SPEED_WORDS.items():
        if rest in words or any(rest.endswith(f"{mark}{word}") for word in words for mark in (" ", "_", "(")):
            return unit
    return None

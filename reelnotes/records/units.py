"""Exact conversion factors to SI. Display units are used only at the edge.

Sources: international yard and pound agreement (reference UNI-03, UNI-04), nautical mile 1852 m
exactly (UNI-01), international fathom (UNI-05).
"""

KNOT_MPS = 1852.0 / 3600.0
NAUTICAL_MILE_M = 1852.0
INCH_MM = 25.4
FOOT_M = 0.3048
FATHOM_M = 1.8288
POUND_KG = 0.45359237
OUNCE_KG = POUND_KG / 16.0


def knots(speed_mps: float) -> float:
    """Metres a second -> knots."""
    return speed_mps / KNOT_MPS


def length_words(length_mm: float, units: str, inch_digits: int = 1) -> str:
    """``63.5 cm``, or ``25.0 in`` where the trip's units are "imperial"."""
    return f"{length_mm / INCH_MM:.{inch_digits}f} in" if units == "imperial" else f"{length_mm / 10:.1f} cm"


def span_words(low_mm: float, high_mm: float, units: str, inch_digits: int = 1) -> str:
    """``62.9 to 64.1 cm``, or in inches."""
    low = length_words(low_mm, units, inch_digits).rpartition(" ")[0]
    return f"{low} to {length_words(high_mm, units, inch_digits)}"

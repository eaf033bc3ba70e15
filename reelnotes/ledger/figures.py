"""How numbers are written in the ledger: once, with the digits that they deserve.

A number that is not known is None here: null in JSON, an empty cell in a table. Never NaN.
"""

import math


def rounded(value: float | None, digits: int) -> float | None:
    """A number to so many decimals; None, NaN and infinities give None; no negative zero."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0


def degrees(value: float | None) -> float | None:
    """Latitude or longitude to six decimals, a tenth of a metre."""
    return rounded(value, 6)


def seconds(value: float | None) -> float | None:
    """Seconds to the millisecond."""
    return rounded(value, 3)


def millimetres(value: float | None) -> float | None:
    """A length to a tenth of a millimetre, finer than any length here is known."""
    return rounded(value, 1)


def significant(value: float | None, figures: int = 4) -> float | None:
    """A number to so many significant figures, for uncertainties that span decades."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{figures}g}")


def cell(value: float | None, digits: int) -> str:
    """A number as a table cell with fixed decimals; '' when not known."""
    value = rounded(value, digits)
    return "" if value is None else f"{value:.{digits}f}"


def significant_cell(value: float | None, figures: int = 4) -> str:
    """A number as a table cell with so many significant figures, never in exponent notation; '' when not known."""
    value = significant(value, figures)
    if value is None:
        return ""
    decimals = 0 if value == 0 else max(0, figures - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{decimals}f}"

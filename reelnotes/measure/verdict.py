"""Measured, to be checked, or refused: a confident wrong number is the worst that this room can give."""

from collections.abc import Sequence

WIDEST_SHARE = 0.03  # an interval wider than +-3 % is no measurement


def verdict(length_mm: float, low_mm: float, high_mm: float, doubts: Sequence[str]) -> tuple[str, str]:
    """("measured" | "check", reason). ``doubts`` are whole reasons, the gravest first."""
    reasons = list(doubts)
    half = 0.5 * (high_mm - low_mm)
    if half > WIDEST_SHARE * length_mm:
        reasons.append(f"the interval is wide: ±{100 * half / length_mm:.1f} %")
    return ("check", "; ".join(reasons)) if reasons else ("measured", "")

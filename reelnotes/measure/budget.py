"""The sum of a length's doubts, after the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008).

Lines are independent of each other; what is common to all frames stands as it is, and what varies from frame
to frame comes in already divided by the root of their number. The 95 % interval takes k = 1.96.
"""

import math
from collections.abc import Iterable

from reelnotes.records.estimates import COVERAGE_95
from reelnotes.records.lengths import BudgetLine


def combined(lines: Iterable[BudgetLine]) -> float:
    """Combined standard uncertainty: the root of the sum of squares (JCGM 100:2008, 5.1.2, sensitivity 1)."""
    return math.sqrt(sum(line.u_mm**2 for line in lines))


def interval(value_mm: float, u_mm: float) -> tuple[float, float]:
    """Lower and upper end of the 95 % interval."""
    return value_mm - COVERAGE_95 * u_mm, value_mm + COVERAGE_95 * u_mm


def scatter_of_mean(values: list[float]) -> float:
    """Standard uncertainty of the mean of repeated readings (JCGM 100:2008, 4.2.3), by their range when they are few.

    Robust against one reading gone wrong: the median absolute deviation, made consistent for a normal distribution
    and widened for the small number (Croux and Rousseeuw 1992 give the factors; here 1 + 1 / n).
    """
    n = len(values)
    if n < 2:
        return 0.0
    ordered = sorted(values)
    middle = 0.5 * (ordered[(n - 1) // 2] + ordered[n // 2])
    away = sorted(abs(v - middle) for v in values)
    mad = 0.5 * (away[(n - 1) // 2] + away[n // 2])
    return 1.4826 * mad * (1.0 + 1.0 / n) * math.sqrt(n / (n - 1)) / math.sqrt(n)

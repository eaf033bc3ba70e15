"""A number with its standard uncertainty and its source."""

import math
from dataclasses import dataclass

COVERAGE_95 = 1.959964  # two-sided 95 % of a normal distribution


@dataclass(frozen=True, slots=True)
class Estimate:
    """``value`` with standard uncertainty ``sigma`` (same unit, > 0), and in a few words where it comes from."""

    value: float
    sigma: float
    source: str = ""

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.sigma >= 0):
            raise ValueError(f"no estimate: {self.value} +- {self.sigma}")

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval."""
        return self.value - COVERAGE_95 * self.sigma

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval."""
        return self.value + COVERAGE_95 * self.sigma

"""Arithmetic of instants that are known as probabilities."""

from collections.abc import Sequence

import numpy as np

from reelnotes.moments.evidence import GRID_S, Density


def earlier(density: Density, median_s: float, spread: float) -> Density:
    """The density of something that happened a log-normal time before."""
    start, chance = density
    lag = np.arange(GRID_S, median_s * np.exp(2.5 * spread), GRID_S)
    weights = np.exp(-0.5 * (np.log(lag / median_s) / spread) ** 2) / lag
    out = np.convolve(chance, weights[::-1])
    return start - lag[-1], out / out.sum()


def combined(parts: Sequence[Density]) -> Density:
    """Product of independent densities on one grid; the first alone when they exclude each other."""
    start = min(p[0] for p in parts)
    cells = max(round((p[0] - start) / GRID_S) + len(p[1]) for p in parts)
    product = np.ones(cells)
    for begin, chance in parts:
        laid = np.zeros(cells)
        at = round((begin - start) / GRID_S)
        laid[at : at + len(chance)] = chance
        product *= laid
    total = product.sum()
    return (start, product / total) if total > 0 else parts[0]

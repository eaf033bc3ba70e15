"""Evidence -> moments: where in the footage each claimed event most likely lies.

Bayes' rule on a half-second grid: the claim's own probability over time, times what the signals of
the clips that were running say of each instant, times a small factor where no camera ran (who films
the day mostly has a camera on when something happens). The result is cut into short windows, the
likeliest first; each becomes one moment in the clip that shows it best, with its part of the chance.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reelnotes.moments.densities import combined, earlier
from reelnotes.moments.evidence import GRID_S, Density, EventClaim
from reelnotes.records.cuts import Moment
from reelnotes.records.trip import PlacedClip

Ratios = Mapping[str, NDArray[np.float64]]

UNFILMED_WEIGHT = 0.2
# A window: an event is over in a few seconds, and what led to it is worth as much.
WINDOW_S = 4.0
MOST_WINDOWS = 40
LEAST_CHANCE = 0.004
# How many windows an event needs is its uncertainty; beyond this share of the probability none is sought.
SOUGHT_CHANCE = 0.98


def moments_of_events(claims: Sequence[EventClaim], clips: Sequence[PlacedClip], ratios: Ratios) -> list[Moment]:
    """The moments that may hold the claimed events; none for an event that lies outside all footage.

    What was inferred from other events is inferred anew from where all evidence puts those.
    """
    sharpened: dict[str, Density] = {}
    for claim in claims:
        if claim.event and not claim.lags:
            sharpened[claim.event] = claim.start_utc_s, _posterior(claim, clips, ratios)[0]
    moments = []
    for claim in claims:
        parts = [earlier(sharpened[lag.event], lag.median_s, lag.spread) for lag in claim.lags if lag.event in sharpened]
        start, chance = combined(parts) if parts else (claim.start_utc_s, claim.chance)
        moments += _windows(replace(claim, start_utc_s=start, chance=chance), clips, ratios)
    return moments


def _windows(claim: EventClaim, clips: Sequence[PlacedClip], ratios: Ratios) -> list[Moment]:
    """The likeliest windows of one event, the likeliest first."""
    posterior, shown = _posterior(claim, clips, ratios)
    moments: list[Moment] = []
    left = np.where(shown, posterior, 0.0)
    half = max(1, round(WINDOW_S / GRID_S))
    reached = 0.0
    while len(moments) < MOST_WINDOWS and reached < SOUGHT_CHANCE:
        mass = np.convolve(left, np.ones(half), mode="valid") if len(left) >= half else np.array([left.sum()])
        first = int(mass.argmax())
        if mass[first] < LEAST_CHANCE:
            break
        low, high = claim.start_utc_s + first * GRID_S, claim.start_utc_s + (first + half) * GRID_S
        made = _window_moment(claim, low, high, left[first : first + half], clips, ratios)
        if made is not None:
            moments.append(made)
            reached += made.chance
        left[first : first + half] = 0.0
    return moments


def _posterior(claim: EventClaim, clips: Sequence[PlacedClip], ratios: Ratios) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """(probability of each cell, whether any clip shows it)."""
    middle = claim.start_utc_s + (np.arange(len(claim.chance)) + 0.5) * GRID_S
    log_sum, heard = np.zeros(len(middle)), np.zeros(len(middle))
    shown = np.zeros(len(middle), bool)
    for placed in clips:
        inside, cell = _cells(placed, middle)
        shown |= inside
        ratio = ratios.get(placed.clip.name)
        if ratio is not None:
            log_sum[inside] += np.log(ratio[np.minimum(cell[inside], len(ratio) - 1)])
            heard[inside] += 1
    # Several microphones hear the same thing: their mean, not their product.
    likelihood = np.where(heard > 0, np.exp(log_sum / np.maximum(heard, 1)), 1.0)
    weighed = claim.chance * np.where(shown, likelihood, UNFILMED_WEIGHT)
    total = weighed.sum()
    return (weighed / total if total > 0 else weighed), shown


def _window_moment(
    claim: EventClaim, low: float, high: float, chance: NDArray[np.float64], clips: Sequence[PlacedClip], ratios: Ratios
) -> Moment | None:
    """The window in the clip that shows most of its probability; of equals the best heard, then the best timed."""
    middle = low + (np.arange(len(chance)) + 0.5) * GRID_S
    ranked = []
    for placed in clips:
        inside, cell = _cells(placed, middle)
        held = float(chance[inside].sum())
        if held > 0:
            ratio = ratios.get(placed.clip.name)
            loud = float(ratio[np.minimum(cell[inside], len(ratio) - 1)].max()) if ratio is not None else 1.0
            ranked.append((round(held, 3), round(loud, 1), -(placed.time.sigma_s or 0.0), placed))
    if not ranked:
        return None
    best = max(ranked, key=lambda item: item[:3])
    held, placed = best[0], best[3]
    start = placed.time.start_utc_s
    assert start is not None
    begin, end = max(0.0, low - start), min(placed.clip.duration_s, high - start)
    if end - begin < GRID_S:
        return None
    reasons = (claim.words,)
    span, chance_held = (begin, end), min(1.0, held)
    name = placed.clip.name
    return Moment(claim.kind, name, *span, span, claim.weight, reasons, start + begin, claim.catch, claim.event, chance_held)


def _cells(placed: PlacedClip, instants: NDArray[np.floating]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    start = placed.time.start_utc_s
    assert start is not None
    own = instants - start
    return (own >= 0) & (own < placed.clip.duration_s), np.floor(own / GRID_S).astype(np.int64).clip(0)

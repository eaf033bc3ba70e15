"""The log's word: every row is an event, somewhat before it was written down.

A row is written late (people first land the fish) and to the minute, so its instant is a probability:
uniform over what the digits allow, less a lateness that is a half-normal in shape (common practice,
no source: most notes come within a minute or two). A fish that was hooked, landed or lost was a
strike first; where no row tells of it, it is implied.
"""

import numpy as np

from reelnotes.moments.densities import combined, earlier
from reelnotes.moments.evidence import GRID_S, Density, EventClaim, Evidence, Lag, Scene
from reelnotes.records.log import LogEvent
from reelnotes.records.trip import Catch, PlacedEvent

# How much the story needs each kind, 0..1.
WEIGHTS = {
    "landed": 1.0,
    "lost": 0.95,
    "strike": 0.9,
    "hooked": 0.7,
    "released": 0.5,
    "sighting": 0.45,
    "bait check": 0.45,
    "rig change": 0.45,
    "note": 0.3,
}
# From strike to hook-up, and from strike to the end of the fight: log-normal, median and spread (sigma of the
# natural logarithm). Common practice, no source: a rod is in hand within some seconds; fights last one to three minutes.
STRIKE_TO_HOOKED = (7.0, 0.5)
FIGHT = (100.0, 0.5)


def signal(scene: Scene) -> Evidence:
    """One claim for every row, and one for every strike that the log implies."""
    events = {event.id: event for event in scene.lineup.events}
    claims = [_claim(event, noted(event.event), event.event.kind) for event in scene.lineup.events]
    for catch in scene.lineup.catches:
        rows = [events[name] for name in catch.events if name in events]
        if rows and not any(row.event.kind == "strike" for row in rows):
            claims.append(_implied_strike(catch, rows))
    return Evidence(events=tuple(claims))


def noted(event: LogEvent) -> Density:
    """(instant of the first cell, probability of each GRID_S cell) of a row's true instant, from the row alone."""
    step, late = max(event.step_s, GRID_S), max(event.late_s, GRID_S)
    back = np.arange(0.0, 1.5 * late, GRID_S)
    lateness = np.exp(-0.5 * (back / (late / 2.0)) ** 2)
    # Digits may be cut off ([t, t + step)) or rounded ([t - step/2, t + step/2)): where the two overlap counts twice.
    writing = np.arange(-step / 2.0, step, GRID_S)
    written = np.where((writing >= 0) & (writing < step / 2.0), 2.0, 1.0)
    density = np.convolve(written, lateness[::-1])
    return event.time_utc_s + writing[0] - back[-1], density / density.sum()


def _claim(event: PlacedEvent, density: Density, kind: str) -> EventClaim:
    words = f"logged ({event.event.source})" if event.event.source else "logged"
    if event.event.species:
        words = f"{event.event.species}, {words}"
    return EventClaim(kind, WEIGHTS.get(kind, 0.3), words, density[0], density[1], event.id, event.catch)


def _implied_strike(catch: Catch, rows: list[PlacedEvent]) -> EventClaim:
    """The strike that a hook-up, a landing or a loss tells of; what each row says is multiplied."""
    lags = []
    for row in rows:
        if row.event.kind == "hooked":
            lags.append(Lag(row.id, *STRIKE_TO_HOOKED))
        elif row.event.kind in ("landed", "lost") or row is rows[0]:
            lags.append(Lag(row.id, *FIGHT))
    by_id = {row.id: row for row in rows}
    density = combined([earlier(noted(by_id[lag.event].event), lag.median_s, lag.spread) for lag in lags])
    words = f"a fish {catch.outcome} was a strike first"
    return EventClaim("strike", WEIGHTS["strike"], words, density[0], density[1], f"{catch.id} strike", catch.id, tuple(lags))

"""Moments: what in the footage is worth showing.

    evidence   the one interface behind which every signal stands
    signals/   the signals: log, board, shore, sound; later ones are further files
    densities  arithmetic of instants that are known as probabilities
    weighing   Bayes' rule: where in the clips a claimed event most likely lies
    scenes     the liveliest stretches of every clip, to fill the time with

The verb is :func:`find_moments`.
"""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from reelnotes.moments.evidence import Evidence, Scene, Signal, SpanClaim
from reelnotes.moments.scenes import scene_moments
from reelnotes.moments.signals import ALL
from reelnotes.moments.weighing import moments_of_events
from reelnotes.records.cuts import Moment
from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import LineUp

__all__ = ["find_moments"]


def find_moments(
    lineup: LineUp,
    lengths: Sequence[FishLength] = (),
    *,
    signals: Mapping[str, Signal] | None = None,
    progress: Callable[[float, str], None] | None = None,
) -> tuple[Moment, ...]:
    """Moments in story order. An event whose instant is uncertain gives several, each with its part of the chance.

    ``signals`` (default: all) says whom to ask. Clips without a place on the UTC line give only what
    needs none: a fish on a board.
    """
    scene = Scene(lineup, tuple(lengths), progress)
    found = [ask(scene) for ask in (ALL if signals is None else signals).values()]
    clips = [c for c in lineup.clips if c.clip.usable and c.time.start_utc_s is not None and c.clip.duration_s > 0]
    ratios = _ratios(found)
    moments = moments_of_events([claim for evidence in found for claim in evidence.events], clips, ratios)
    moments += [m for span in (s for e in found for s in e.spans) if (m := _span_moment(span, lineup)) is not None]
    moments += scene_moments(lineup, ratios)
    return tuple(sorted(moments, key=lambda m: (m.order_s, m.clip, m.start_s)))


def _ratios(found: Sequence[Evidence]) -> dict[str, np.ndarray]:
    """What several signals say of one clip, multiplied."""
    ratios: dict[str, np.ndarray] = {}
    for evidence in found:
        for lively in evidence.liveliness:
            old = ratios.get(lively.clip)
            ratios[lively.clip] = lively.ratio if old is None else old[: len(lively.ratio)] * lively.ratio[: len(old)]
    return ratios


def _span_moment(span: SpanClaim, lineup: LineUp) -> Moment | None:
    placed = lineup.clip(span.clip)
    if placed is None or not placed.clip.usable:
        return None
    start, end = max(0.0, span.start_s), min(placed.clip.duration_s, span.end_s)
    if end <= start:
        return None
    order = _order(span, lineup, start)
    return Moment(span.kind, span.clip, 0.0, placed.clip.duration_s, (start, end), span.weight, (span.words,), order, span.catch)


def _order(span: SpanClaim, lineup: LineUp, start_s: float) -> float:
    """The clip's own time; else its fish's; else after everything, in clip order."""
    placed = lineup.clip(span.clip)
    if placed is not None and placed.time.start_utc_s is not None:
        return placed.time.start_utc_s + start_s
    catch = next((c for c in lineup.catches if c.id == span.catch), None)
    if catch is not None:
        return catch.time.value + 1.0
    last = max((c.end_utc_s or 0.0 for c in lineup.clips), default=0.0)
    names = [c.clip.name for c in lineup.clips]
    return last + 1.0 + (names.index(span.clip) if span.clip in names else len(names))

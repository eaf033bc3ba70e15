"""A measured length against the one in the log: the last guard against a confident wrong length.

A logged length is read by eye from a wet fish in a moving boat, or guessed, and may be another measure (fork length, tail
pinched); so it is taken as good to a tenth of itself (95 %: judgement, no source). Where a measured length lies outside of
what both allow, that is said. Where it lies outside of twice that, one of the two is another fish's, or plainly wrong: then
the measured one is to be checked, for nothing tells which.
"""

from collections.abc import Sequence
from dataclasses import replace

from reelnotes.records.lengths import FishLength
from reelnotes.records.problems import Problem
from reelnotes.records.trip import Catch, LineUp
from reelnotes.records.units import length_words

LOGGED_SHARE = 0.10
GROSS = 2.0
_ONE_IS_WRONG = ", so that this is another fish, or one of the two lengths is wrong"


def held_against_log(
    lengths: Sequence[FishLength], lineup: LineUp, units: str
) -> tuple[tuple[FishLength, ...], tuple[Problem, ...]]:
    """The lengths in their order, each that disagrees with its catch's logged length with a sentence on it; and these as remarks.

    units: "metric" | "imperial", of the sentences
    """
    catches = {catch.id: catch for catch in lineup.catches}
    told, remarks = [], []
    for fish in lengths:
        catch = catches.get(fish.catch)
        apart = _apart(fish, catch)
        if catch is None or apart <= 1.0:
            told.append(fish)
            continue
        verdict = "check" if apart > GROSS else fish.verdict
        logged = _logged(catch, units)
        why = f"it differs from the log, which says {logged}" + (_ONE_IS_WRONG if apart > GROSS else "")
        told.append(replace(fish, verdict=verdict, reason="; ".join(part for part in (why, fish.reason) if part)))
        assert fish.total_length_mm is not None
        what = f"a fish of {length_words(fish.total_length_mm, units)} was measured, but the log says {logged}"
        done = "the length is one to check" if verdict == "check" else "both are kept"
        remarks.append(Problem(fish.clip, what, done, "is it that fish? is the log's number right?", serious=False))
    return tuple(told), tuple(remarks)


def _apart(fish: FishLength, catch: Catch | None) -> float:
    """By how much the two lengths differ, in what both leave open; 0 when there are no two."""
    if catch is None or not catch.logged_length_mm or fish.total_length_mm is None or fish.verdict == "refused":
        return 0.0
    half = (fish.high_mm - fish.low_mm) / 2 if fish.high_mm is not None and fish.low_mm is not None else 0.0
    allowed: float = ((LOGGED_SHARE * catch.logged_length_mm) ** 2 + half**2) ** 0.5
    return abs(fish.total_length_mm - catch.logged_length_mm) / allowed


def _logged(catch: Catch, units: str) -> str:
    assert catch.logged_length_mm is not None
    return f"{length_words(catch.logged_length_mm, units)} for {catch.id}"

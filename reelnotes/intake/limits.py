"""limits.toml: the size and bag limits that the angler looked up. The tool ships none and knows none.

::

    [[limit]]
    species = "cod"            # as the log writes it
    measure = "total"          # what the rule measures: "total" (default) or "fork"
    minimum = "40 cm"          # lengths are text with a unit: mm, cm, m, in, ", ft, '
    maximum = "85 cm"
    slot = ["60 cm", "75 cm"]  # fish inside this span go back
    bag = 3                    # fish a day
    source = "notice at the ramp, 2026"
"""

from collections.abc import Sequence
from functools import partial
from itertools import combinations
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from reelnotes.intake import tomls
from reelnotes.intake.catchlog import quantities
from reelnotes.records.folder import SizeLimit
from reelnotes.records.problems import Problem, SettingsError
from reelnotes.records.units import length_words

NAME = "limits.toml"


def length_mm(text: object) -> float:
    """``40 cm``, ``15 3/4 in``, ``1' 4"`` -> millimetres. Raises ValueError for anything without a unit of length."""
    if not isinstance(text, str):
        raise ValueError(f"{text} has no unit; write it as text, with one")
    return quantities.length_mm(text, "")  # no unit of its own for a bare number: a rule must say what it means


_Length = Annotated[float, BeforeValidator(length_mm)]


class _Limit(BaseModel):
    model_config = ConfigDict(extra="forbid")
    species: str = Field(min_length=1)
    measure: Literal["total", "fork"] = "total"
    minimum: _Length | None = None
    maximum: _Length | None = None
    slot: tuple[_Length, _Length] | None = None
    bag: int | None = Field(default=None, ge=0)
    source: str = ""

    @model_validator(mode="after")
    def _in_order(self) -> "_Limit":
        if self.minimum is not None and self.maximum is not None and self.minimum > self.maximum:
            raise ValueError("minimum is longer than maximum")
        if self.slot is not None and self.slot[0] >= self.slot[1]:
            raise ValueError("slot must go from the shorter to the longer length")
        if self.minimum is None and self.maximum is None and self.slot is None and self.bag is None:
            raise ValueError("it sets no limit: give minimum, maximum, slot or bag")
        return self


_EXAMPLES = {
    "species": 'species = "cod"',
    "measure": 'measure = "total"',
    "minimum": 'minimum = "40 cm"',
    "maximum": 'maximum = "85 cm"',
    "slot": 'slot = ["60 cm", "75 cm"]',
    "bag": "bag = 3",
    "source": 'source = "notice at the ramp"',
}


def read_limits(root: Path, units: str = "metric") -> tuple[tuple[SizeLimit, ...], list[Problem]]:
    """The limits of limits.toml, each checked by itself and against the others, and what was wrong. No file: no limits, no
    problem. units: "metric" | "imperial", of the sentences.
    """
    path = tomls.find_toml(root, NAME)
    if path is None:
        return (), []
    try:
        table = tomls.read_toml(path, NAME)
    except SettingsError as fault:
        told = fault.problem
        return (), [Problem(told.where, told.what, "no limit is used", told.advice)]
    problems = [
        Problem(f"{NAME}, {key}", f"there is no setting '{key}'", "it was ignored", "each rule is a [[limit]] table")
        for key in table
        if key != "limit"
    ]
    entries = table.get("limit", [])
    if not isinstance(entries, list):
        entries = [entries]
    limits: list[tuple[int, SizeLimit]] = []
    for number, entry in enumerate(entries, 1):
        where = f"{NAME}, limit {number}"
        if not isinstance(entry, dict):
            problems.append(Problem(where, "it is no table", "it was left out", "each rule is a [[limit]] table"))
            continue
        said = tomls.validated(_Limit, entry)
        if isinstance(said, ValidationError):
            problems += tomls.refusal(where, said, tuple(_Limit.model_fields), _EXAMPLES, "this limit was left out")
        else:
            source = said.source or where
            limit = SizeLimit(said.species, said.measure, said.minimum, said.maximum, said.slot, said.bag, source)
            limits.append((number, limit))
    return tuple(limit for _, limit in limits), [*problems, *_at_odds(limits, units)]


def _at_odds(limits: Sequence[tuple[int, SizeLimit]], units: str) -> list[Problem]:
    """Limits that contradict themselves or one another. Which of them holds is for the angler to look up: all are kept."""
    told = [(f"{NAME}, limit {n}", what) for n, limit in limits if (what := _with_its_slot(limit, limit, units))]
    for (a, first), (b, second) in combinations(limits, 2):
        if first.species.strip().casefold() == second.species.strip().casefold():
            told += [(f"{NAME}, limits {a} and {b}", what) for what in _between(first, second, units)]
    done, advice = "each was held against the fish as it stands", "look up what holds for that water and day"
    return [Problem(where, what, done, advice, serious=False) for where, what in told]


def _between(a: SizeLimit, b: SizeLimit, units: str) -> list[str]:
    """What two limits of one species say against one another, by measure; a bag counts fish of any."""
    found = []
    if a.bag is not None and b.bag is not None and a.bag != b.bag:
        found.append(f"for {a.species} they give two bags, {a.bag} and {b.bag}")
    if a.measure != b.measure:
        return found
    said = partial(length_words, units=units, inch_digits=2)
    for word, one, other in (("minima", a.minimum_mm, b.minimum_mm), ("maxima", a.maximum_mm, b.maximum_mm)):
        if one is not None and other is not None and one != other:
            found.append(f"for {a.species} they give two {word}, {said(one)} and {said(other)}")
    for low, high in ((a, b), (b, a)):
        if low.minimum_mm is not None and high.maximum_mm is not None and low.minimum_mm > high.maximum_mm:
            span = f"the minimum of {said(low.minimum_mm)} and the maximum of {said(high.maximum_mm)}"
            found.append(f"no {a.species} is within both {span}")
        if what := _with_its_slot(low, high, units):
            found.append(what)
    return found


def _with_its_slot(slotted: SizeLimit, sized: SizeLimit, units: str) -> str:
    """What is odd about the slot of one limit beside the minimum and maximum of another, or of itself; '' when nothing is."""
    if slotted.slot_mm is None or (sized.minimum_mm is None and sized.maximum_mm is None):
        return ""
    low, high = slotted.slot_mm
    least = 0.0 if sized.minimum_mm is None else sized.minimum_mm
    most = float("inf") if sized.maximum_mm is None else sized.maximum_mm
    span = f"the protected slot of {length_words(low, units, 2)} to {length_words(high, units, 2)} for {slotted.species}"
    if low <= least and high >= most:
        return f"{span} leaves no fish between the minimum and the maximum"
    return f"{span} lies outside the minimum and the maximum, so it protects nothing more" if high <= least or low >= most else ""

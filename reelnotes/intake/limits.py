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

from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from reelnotes.intake import tomls
from reelnotes.intake.catchlog import quantities
from reelnotes.records.folder import SizeLimit
from reelnotes.records.problems import Problem, SettingsError

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


def read_limits(root: Path) -> tuple[tuple[SizeLimit, ...], list[Problem]]:
    """The limits of limits.toml, each checked by itself, and what was wrong. No file: no limits, no problem."""
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
    limits = []
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
            limits.append(SizeLimit(said.species, said.measure, said.minimum, said.maximum, said.slot, said.bag, source))
    return tuple(limits), problems

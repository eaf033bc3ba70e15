"""TOML files of a trip folder, read and checked: every fault becomes a sentence that names the key and a value that would do."""

import difflib
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from reelnotes.records.problems import Problem, SettingsError

Model = TypeVar("Model", bound=BaseModel)

_AT = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")


def find_toml(root: Path, name: str) -> Path | None:
    """The file of that name at the top of the trip folder, in upper or lower case; None when there is none."""
    if (root / name).is_file():
        return root / name
    return next((path for path in sorted(root.iterdir()) if path.name.casefold() == name and path.is_file()), None)


def read_toml(path: Path, where: str) -> dict[str, Any]:
    """A TOML file's tables. Raises SettingsError that tells line and column when it is no TOML, or cannot be read."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
        return tomllib.loads(text)
    except OSError as fault:
        raise SettingsError(where, f"it cannot be read ({(fault.strerror or 'unknown fault').lower()})") from fault
    except UnicodeDecodeError as fault:
        raise SettingsError(where, f"it is no UTF-8 text (byte {fault.start + 1})", "save it as UTF-8") from fault
    except tomllib.TOMLDecodeError as fault:
        message = str(fault)
        place = _AT.search(message)
        what = message[: place.start()] if place else message
        if place and place[1]:
            where = f"{where} line {place[1]}, column {place[2]}"
        advice = 'text stands in "quotes", a table starts with [name]'
        raise SettingsError(where, f"it is no TOML: {what[:1].lower()}{what[1:]}", advice) from fault
    except (ValueError, RecursionError) as fault:  # thousands of digits, or of brackets in each other
        raise SettingsError(where, "it holds a number or a list that is too long to be read") from fault


def validated(model: type[Model], table: Mapping[str, Any]) -> Model | ValidationError:
    """``table`` as ``model``, or pydantic's list of what is wrong with it."""
    try:
        return model.model_validate(dict(table))
    except ValidationError as faults:
        return faults


def key_path(location: tuple[int | str, ...]) -> str:
    """A pydantic location as a person would write it: ``camera 2, lens``; tables are joined by dots."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f" {part + 1},"
        else:
            text += f" {part}" if text.endswith(",") else f".{part}" if text else part
    return text.rstrip(",")


def sentence(fault: Mapping[str, Any], *, known: tuple[str, ...], example: str) -> tuple[str, str]:
    """One pydantic error -> (what is wrong, what would do).

    known     the keys that the table at fault may have
    example   a line that would do for this key, or ''
    """
    kind, value = str(fault["type"]), fault.get("input")
    key = str(fault["loc"][-1]) if fault["loc"] else ""
    context = fault.get("ctx") or {}
    would_do = f"for example {example}" if example else ""
    if kind == "extra_forbidden":
        near = difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
        return f"there is no setting '{key}'", f"did you mean '{near[0]}'?" if near else f"known are: {', '.join(known)}"
    if kind == "missing":
        return f"'{key}' is missing", would_do
    shown = f"'{value}'" if isinstance(value, str) else _shown(value)
    if kind == "literal_error":
        choices = context.get("expected", "").replace("'", '"')
        return f"{shown} is none of {choices}", would_do
    limits = {"greater_than": "more than {gt}", "greater_than_equal": "at least {ge}"}
    limits |= {"less_than": "less than {lt}", "less_than_equal": "at most {le}"}
    if kind in limits:
        return f"{shown} must be {limits[kind].format(**context)}", would_do
    if kind == "value_error":
        return str(context.get("error", fault["msg"])), would_do
    wants = _WANTS.get(kind.partition("_")[0], "a value of another kind")
    return f"{shown} is not {wants}", would_do


_WANTS = {
    "float": "a number",
    "finite": "a finite number",
    "int": "a whole number",
    "bool": "true or false",
    "string": 'text in "quotes"',
    "date": "a date",
    "datetime": "a date with a time",
    "tuple": "a list",
    "list": "a list",
    "model": "a table",
    "dict": "a table",
    "too": "a list of that length",
}


def _shown(value: object) -> str:
    text = {True: "true", False: "false"}.get(value, str(value)) if isinstance(value, bool) else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def refusal(where: str, faults: ValidationError, known: tuple[str, ...], examples: Mapping[str, str], done: str) -> list[Problem]:
    """All faults of a file that is used whole or not at all (a board, a lens), as problems."""
    problems = []
    for fault in faults.errors(include_url=False):
        location = tuple(fault["loc"])
        what, advice = sentence(fault, known=known, example=examples.get(str(location[-1]) if location else "", ""))
        name = key_path(location)
        problems.append(Problem(f"{where}, {name}" if name else where, what, done, advice))
    return problems

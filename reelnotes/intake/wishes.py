"""Signs of a wish for privacy that was not read: a key in the wrong table, a file that is no TOML or has another name.

Whoever wrote such a thing meant the spot to stay unknown, and would learn of the slip from strangers.
So a sign is enough, and it need not be spelt well; what was meant is not guessed at: no place is published.
"""

import difflib
import os
import re
import unicodedata
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from reelnotes.records.settings import PrivacySettings

SILENT = "no place will be published until it is mended"

_KEYS = ("privacy", "private", "secret", *PrivacySettings.model_fields)  # recognised with a slip in them, too
_VALUES = (*get_args(PrivacySettings.model_fields["spot"].annotation), "blur", "hide", "hidden", "place", "location", "public")
_LIKE = 0.75  # "sopt" for "spot"

# Parts of a key that is about places or about who may see them, as they are ("hide_spot", "track-public", "showMap").
_PARTS = (
    "privacy private privat privato privado privacidad privatsphare personvern secret secrets geheim hemlig hemmelig secreto "
    "spot spots place places location locations position positions where coordinates coords gps geo map "
    "sted plass plats ort stelle lugar sitio ubicacion standort posisjon "
    "hide hides hidden blur blurred mask masked obscure anonymous skjul skjult gom dolj verstecken ocultar "
    "public publish publishing published share shared sharing show visible visibility visa vis zeigen exact"
)
_OTHER_WORDS = ("port", "ports", "sport", "shot", "shots", "slot", "slots", "soot", "spat", "pots")  # near "spot", and none of it
_MOST_BYTES = 1_000_000

# Endings are hidden by many file managers, so trip.toml.txt and "trip.toml - Copy.toml" pass for trip.toml on screen.
_AT_THE_TOP = re.compile(r"trip\b.*\.toml(?:\.\w+)?|trip\.(?:txt|rtf|tml|tom|ini)", re.IGNORECASE)
_DEEPER = re.compile(r"trip\.toml(?:\.\w+)?", re.IGNORECASE)
_BACKUPS = (".bak", ".old", ".orig", ".tmp", ".swp")  # what an editor leaves is what was said before


def speaks(text: str) -> bool:
    """True when a word of the text is, or is nearly, one that settings of privacy are made of."""
    words = set(re.findall(r"[a-z_]+", text.casefold()))
    return not words.isdisjoint(_VALUES) or any(difflib.get_close_matches(word, _KEYS, n=1, cutoff=_LIKE) for word in words)


def key_speaks(key: str) -> bool:
    """True when the name of a setting is about places or who may see them. What it is set to does not count: many
    a thing is "none" or "hidden"."""
    parts = re.findall(r"[a-z]+", _plain(re.sub(r"(?<=[a-z])(?=[A-Z])", " ", key)))
    if not set(_PARTS.split()).isdisjoint(parts):
        return True
    whole = _plain(key)
    return whole not in _OTHER_WORDS and bool(difflib.get_close_matches(whole, _KEYS, n=1, cutoff=_LIKE))


def _plain(key: str) -> str:
    """Lower case and without accents, so that "Döljt" is found as "doljt"."""
    swapped = key.casefold().replace("ø", "o").replace("æ", "ae")
    return "".join(c for c in unicodedata.normalize("NFD", swapped) if not unicodedata.combining(c))


def file_speaks(path: Path) -> bool:
    """The same of a file in any encoding. One that cannot be read may say anything, so it speaks."""
    try:
        with path.open("rb") as handle:
            data = handle.read(_MOST_BYTES)
    except OSError:
        return True
    return speaks(data.replace(b"\0", b"").decode("utf-8", "ignore"))  # without its zeros UTF-16 is plain to read


def misplaced(table: Mapping[str, Any], models: Mapping[str, type[BaseModel]]) -> list[str]:
    """Keys that speak of privacy where no setting of theirs is looked for, as ``edit.spot``.

    models   the known tables by name, with '' for the top; the privacy table itself is not looked into
    """
    found = []
    for key, value in table.items():
        if key == "privacy":
            continue
        if key not in models[""].model_fields:
            found += [key] if any(map(key_speaks, _keys(key, value))) else []
        elif key in models:
            for entry in value if isinstance(value, list) else [value]:
                inner = entry if isinstance(entry, dict) else {}
                found += [
                    f"{key}.{k}"
                    for k, v in inner.items()
                    if k not in models[key].model_fields and any(map(key_speaks, _keys(k, v)))
                ]
    return list(dict.fromkeys(found))


def _keys(key: str, value: Any) -> Iterator[str]:
    """A key, and those of the tables below it: ``trip.privacy`` speaks by its second part."""
    yield key
    for entry in value if isinstance(value, list) else [value]:
        if isinstance(entry, Mapping):
            for inner, of in entry.items():
                yield from _keys(inner, of)


def other_files(root: Path, read: Path | None) -> list[Path]:
    """What may be meant for trip.toml but is not the one that is read: another name, another folder, a link to nothing."""
    found = []
    for folder, inner, files in os.walk(root):
        at_top = Path(folder) == root
        if not at_top and "trip.json" in files:  # results of an earlier run
            inner.clear()
            continue
        names = [*files, *inner]
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        looks = _AT_THE_TOP if at_top else _DEEPER
        found += [Path(folder) / n for n in names if looks.fullmatch(n) and not n.casefold().endswith(_BACKUPS)]
    return sorted(path for path in found if path != read)

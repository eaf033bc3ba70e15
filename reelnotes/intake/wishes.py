"""Signs of a wish for privacy that was not read: a key in the wrong table, a file that is no TOML or has another name.

Whoever wrote such a thing meant the spot to stay unknown, and would learn of the slip from strangers.
So a sign is enough, and it need not be spelt well; what was meant is not guessed at: no place is published.
"""

import difflib
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from reelnotes.records.settings import PrivacySettings

SILENT = "no place will be published until it is mended"

_KEYS = ("privacy", "private", "secret", *PrivacySettings.model_fields)  # recognised with a slip in them, too
_VALUES = (*get_args(PrivacySettings.model_fields["spot"].annotation), "blur", "hide", "hidden", "place", "location", "public")
_LIKE = 0.75  # "sopt" for "spot"
_MOST_BYTES = 1_000_000

# Endings are hidden by many file managers, so trip.toml.txt and "trip.toml - Copy.toml" pass for trip.toml on screen.
_AT_THE_TOP = re.compile(r"trip\b.*\.toml(?:\.\w+)?|trip\.(?:txt|rtf|tml|tom|ini)", re.IGNORECASE)
_DEEPER = re.compile(r"trip\.toml(?:\.\w+)?", re.IGNORECASE)
_BACKUPS = (".bak", ".old", ".orig", ".tmp", ".swp")  # what an editor leaves is what was said before


def speaks(text: str) -> bool:
    """True when a word of the text is, or is nearly, one that settings of privacy are made of."""
    words = set(re.findall(r"[a-z_]+", text.casefold()))
    return not words.isdisjoint(_VALUES) or any(difflib.get_close_matches(word, _KEYS, n=1, cutoff=_LIKE) for word in words)


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
            found += [key] if speaks(f"{key} {value}") else []
        elif key in models:
            for entry in value if isinstance(value, list) else [value]:
                inner = entry if isinstance(entry, dict) else {}
                found += [f"{key}.{k}" for k, v in inner.items() if k not in models[key].model_fields and speaks(f"{k} {v}")]
    return list(dict.fromkeys(found))


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

"""A written word -> what it means, whatever its case, accents and punctuation; misspelt words too."""

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from reelnotes.intake.catchlog import vocabulary

SLIP_FROM, TWO_SLIPS_FROM = 4, 8  # letters: shorter words turn into each other by one slip, long ones survive two


_KEYLESS = str.maketrans("øåäöü", "oaaou") | {ord("æ"): "ae", ord("ß"): "ss"}


def plain(text: str) -> str:
    """Lower case, punctuation as single blanks, accents kept: ``Length_(cm)`` -> ``length cm``."""
    folded = unicodedata.normalize("NFKC", text).casefold()
    return " ".join(re.sub(r"[^\w✓✔✗]|_", " ", folded).split())


def bare(text: str) -> str:
    """``plain`` without accents, so that ``tamano`` finds ``tamaño``; æ, ø and å as people write them without the keys."""
    swapped = plain(text).translate(_KEYLESS)
    return "".join(c for c in unicodedata.normalize("NFD", swapped) if not unicodedata.combining(c))


def split(words: str) -> tuple[str, ...]:
    """The words of one vocabulary entry."""
    return tuple(w for w in (word.strip() for word in words.split(",")) if w)


def index(table: Mapping[str, str]) -> dict[str, str]:
    """word, in its plain and bare forms -> its key; a word's own spelling wins over another's bare form."""
    entries = [(word, key) for key, words in table.items() for word in split(words)]
    found: dict[str, str] = {}
    for form in (plain, bare):
        for word, key in entries:
            found.setdefault(form(word) or word, key)
    return found


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a written word was taken for. ``word`` is the known word; ``misspelt`` True when it was not written so."""

    key: str
    word: str
    misspelt: bool = False


@lru_cache(maxsize=1)
def _events() -> dict[str, str]:
    return index(vocabulary.EVENTS)


@lru_cache(maxsize=1)
def _kept() -> dict[str, str]:
    return index({"kept": vocabulary.KEPT, "released": vocabulary.RELEASED, "yes": vocabulary.YES, "no": vocabulary.NO})


@lru_cache(maxsize=1)
def _totals() -> dict[str, str]:
    return index({"total": vocabulary.TOTALS})


def event_kind(text: str) -> Meaning | None:
    """The event that a cell names: the word itself, the word within a phrase, or the word with a slip of the pen; else None."""
    return _exact(text, _events()) or _within(text, _events()) or _nearly(text, _events())


def kept(text: str, *, column_says_released: bool = False) -> bool | None:
    """True for kept, False for released, None for neither. "Yes" and "no" answer the column's own name."""
    meaning = (
        _exact(text, _kept())
        or _within(text, {w: k for w, k in _kept().items() if k in ("kept", "released")})
        or _nearly(text, {w: k for w, k in _kept().items() if k in ("kept", "released")})
    )
    if meaning is None:
        return None
    if meaning.key in ("yes", "no"):
        return (meaning.key == "yes") != column_says_released
    return meaning.key == "kept"


def says_kept(text: str) -> bool:
    """True when an event's own words say that the fish was kept ("kept", "landed and kept")."""
    meaning = _exact(text, _kept()) or _within(text, {w: k for w, k in _kept().items() if k == "kept"})
    return meaning is not None and meaning.key == "kept"


def says_released(text: str) -> bool:
    """True when an event's own words say that the fish went back ("landed and released")."""
    return _within(text, {w: k for w, k in _kept().items() if k == "released"}) is not None


def is_total(text: str) -> bool:
    """True for the first cell of a row that sums up."""
    name = plain(text)
    return any(form in _totals() or form.split(" ", 1)[0] in _totals() for form in (name, bare(text)) if form)


def _exact(text: str, table: Mapping[str, str]) -> Meaning | None:
    for form in (plain(text), bare(text)):
        if form in table:
            return Meaning(table[form], form)
    return None


def _within(text: str, table: Mapping[str, str]) -> Meaning | None:
    """The first known phrase in the text, the longest that begins there; words of one or two letters do not count."""
    for form in (plain(text), bare(text)):
        tokens = form.split()
        for start in range(min(len(tokens), 8)):
            for end in range(min(len(tokens), start + 5), start, -1):
                phrase = " ".join(tokens[start:end])
                if len(phrase) > 2 and phrase in table:
                    return Meaning(table[phrase], phrase)
    return None


def _nearly(text: str, table: Mapping[str, str]) -> Meaning | None:
    """The word with fewest slips of the pen, if all words that near mean the same."""
    form = bare(text)
    if len(form) < SLIP_FROM or len(form) > 40:
        return None
    most = 1 if len(form) < TWO_SLIPS_FROM else 2
    near = [(slips(form, word, most), word) for word in table if abs(len(word) - len(form)) <= most and len(word) >= SLIP_FROM]
    near = [(d, word) for d, word in near if d <= most]
    if not near:
        return None
    least = min(near)[0]
    keys = {table[word] for d, word in near if d == least}
    word = min(w for d, w in near if d == least)
    return Meaning(keys.pop(), word, misspelt=True) if len(keys) == 1 else None


def slips(a: str, b: str, most: int) -> int:
    """Slips of the pen between two words: letters left out, added, mistaken, or neighbours swapped (optimal string alignment,
    Damerau 1964). Values above ``most`` mean only "more than that"."""
    before: list[int] = []
    last = list(range(len(b) + 1))
    for i, ca in enumerate(a, start=1):
        row = [i]
        for j, cb in enumerate(b, start=1):
            cost = min(last[j] + 1, row[j - 1] + 1, last[j - 1] + (ca != cb))
            if i > 1 and j > 1 and ca == b[j - 2] and a[i - 2] == cb:
                cost = min(cost, before[j - 2] + 1)
            row.append(cost)
        if min(row) > most + 1:
            return most + 1
        before, last = last, row
    return last[-1]

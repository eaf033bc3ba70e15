"""What the card's own letters can say. Its font has Latin, Greek and Cyrillic; for the rest it draws nothing at all.

A title with holes says something else than its writer did, so a text with a letter missing is not drawn
in part: the card falls back on a plain word, and the run tells. Ornaments (emoji, arrows, stars) are left out.
"""

import io
import re
import unicodedata
from functools import lru_cache
from importlib.resources import files

from PIL import ImageFont

REGULAR, BOLD = "Inter-Regular.otf", "Inter-SemiBold.otf"
PLAIN_FISH = "fish"  # of whatever species

_EMPTY_BRACKETS = re.compile(r"\(\s*\)|\[\s*\]")

Font = ImageFont.FreeTypeFont


@lru_cache
def font(size: int, bold: bool = False) -> Font:
    """The card's font."""
    data = files("reelnotes.summary").joinpath("fonts", BOLD if bold else REGULAR).read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size)


def drawable(text: str) -> str:
    """The text as the font can draw it; '' when it lacks one of the letters or nothing is left.

    A letter that is another one in another shape (full-width, a ligature, with an unusual accent) is drawn as that.
    """
    drawn = ""
    for letter in unicodedata.normalize("NFC", text):
        if letter.isspace() or _has(letter):
            drawn += letter
            continue
        plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
        if plain and all(map(_has, plain)):
            drawn += plain
        elif unicodedata.category(letter)[0] in "LN":
            return ""
    if drawn != text:  # brackets around what was left out go with it
        drawn = " ".join(_EMPTY_BRACKETS.sub("", drawn).split())
    return drawn if any(c.isalnum() for c in drawn) else ""


def lacking(text: str) -> str:
    """What of a text the font lacks, each sign once: ``鱈の``."""
    signs = dict.fromkeys(unicodedata.normalize("NFC", text))
    return "".join(c for c in signs if not drawable(c) and not _has(c) and unicodedata.category(c)[0] in "LNS")


@lru_cache(maxsize=4096)
def _has(letter: str) -> bool:
    """True when the font puts ink for it in both weights: what it lacks it passes over without a mark."""
    return letter.isspace() or all(any(bytes(font(40, bold).getmask(letter))) for bold in (False, True))

"""Positions typed into free text, taken out.

A title or a note is the angler's own word and is published as written, but for what gives a place
away in figures: coordinates in any common notation, grid references, locators, and links. Words
stay: "by the old lighthouse" is for its writer to weigh, or to leave out with spot = "none".
"""

import re

GAP = "[place left out]"

_NUMBER = r"[-+−]?\d{1,3}[.,]\d{3,}"  # three decimals of a degree are a hundred metres
_HEMISPHERE = r"(?:(?:[NSEWØOV]|north|south|east|west|nord|s[uøö]r|s[uy]d|[oø]st|vest|norte|sur|este|oeste)\b)"
_DEGREES = r"(?:[°º˚]|deg\b|grad\b)"
_FILLER = r"(?:\s|[^\w\s]|\b(?:and|og|och|und|y|lat|lon|lng|latitude|longitude|[NSEWnsew])\b){0,16}"

# Capitals decide here: "4.5 s" is a time and "4.5 S" may be a latitude.
_AS_WRITTEN = (
    r"\b[23456789CFGHJMPQRVWX]{4,8}\+[23456789CFGHJMPQRVWX]{2,7}\b",  # open location codes
    r"\b\d{1,2}\s?[C-HJ-NP-X]\s?[A-HJ-NP-Z]{2}\s?\d{2,5}\s?\d{2,5}\b",  # military grid
    r"\b\d{1,2}\s?[C-HJ-NP-X]\s+\d{5,7}(?:\.\d+)?\s*(?:m?E)?\s*,?\s*\d{6,8}(?:\.\d+)?\s*(?:m?N)?\b",  # UTM
    r"\b[A-R]{2}\d{2}[A-Xa-x]{2}(?:\d{2})?\b",  # Maidenhead locators
    r"\b[NSEWØOV]\s*\d{1,3}(?:\s+|:)\d{1,2}(?:[.,:\s]\d+)*['′’]?",
    r"\b\d{1,3}\s+\d{1,2}[.,]\d{1,4}\s*['′’]?\s*[NSEWØOV]\b",
    r"\b\d{1,3}[-:]\d{1,2}[-:.,]\d{1,4}(?:[.,]\d+)?\s*[NSEWØOV]\b",
    r"\b\d{3,5}[.,]\d{2,}\s*,?\s*[NSEW]\b",  # NMEA
    r"\b\d{1,3}[.,]\d+\s?[NSEW]\b",
)
_IN_ANY_CASE = (
    r"\b[a-z][a-z0-9+.-]{1,20}://\S+",  # any link: maps put places into them
    r"\bwww\.\S+",
    r"\bgeo:\S+",
    r"///\s?[^\s./]+\.[^\s./]+\.[^\s./]+",  # three-word addresses
    r"[+\-−]\d{2,7}(?:[.,]\d+)?[+\-−]\d{3,8}(?:[.,]\d+)?(?:[+\-−]\d+(?:\.\d+)?)?/?(?!\d)",  # ISO 6709
    # Degrees with minutes, or with a hemisphere: 59°54.5'N, 59° 54' 30", N 59° 54.500, 59.91° N.
    rf"(?:{_HEMISPHERE}\s*)?[-+−]?\d{{1,3}}(?:[.,]\d+)?\s*{_DEGREES}\s*\d{{1,2}}(?:[.,]\d+)?\s*(?:['′’´m]|min\b)?"
    rf"(?:\s*\d{{1,2}}(?:[.,]\d+)?\s*(?:[\"″”]|''|s\b|sec\b)?)?(?:\s*{_HEMISPHERE})?",
    rf"[-+−]?\d{{1,3}}(?:[.,]\d+)?\s*{_DEGREES}\s*{_HEMISPHERE}",
    rf"{_NUMBER}{_FILLER}{_NUMBER}",  # decimal pairs
    r"[-+−]?(?<![\d.,])\d{1,3}(?:\.\d{3,}|,\d{4,})(?![\d.])",  # a lone one: half of a pair whose other half stands elsewhere
    r"\b(?:lat|lon|lng|latitude|longitude|breite|länge|bredde|lengde)\b[:=\s]*[-+−]?\d{1,3}(?:[.,]\d+)?",
)
_PATTERNS = tuple(re.compile(p) for p in _AS_WRITTEN) + tuple(re.compile(p, re.IGNORECASE) for p in _IN_ANY_CASE)


def scrubbed(text: str) -> str:
    """Text without positions in figures; each is replaced by GAP. Never raises; text without any comes back unchanged."""
    for pattern in _PATTERNS:
        text = pattern.sub(GAP, text)
    return re.sub(rf"{re.escape(GAP)}(?:[\s,;/]*{re.escape(GAP)})+", GAP, text)

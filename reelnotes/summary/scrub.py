"""Positions typed into free text, taken out.

A title or a note is the angler's own word and is published as written, but for what gives a place
away in figures: coordinates in any common notation, grid references, locators, and links. Words
stay: "by the old lighthouse" is for its writer to weigh, or to leave out with spot = "none".
What figures alone do not tell, like "47.61, 13.02", is a position where it lies in the trip's own region.

Links and codes go first, for they may hold any of the rest; then grids with their zone; then pairs whose
numbers have a hemisphere each, as wholes: "62 12.6 N 5 0.1 E" read number by number is "N 5 0.1" and two loose ends.
"""

import re
import unicodedata
from itertools import pairwise

from reelnotes.summary.region import Region, geohash_place
from reelnotes.summary.spoken import spoken_positions

GAP = "[place left out]"

_NORTH = r"(?:[NSns](?![^\W\d_])|(?i:north|south|nord|s[uøö]r|s[uy]d|norte)\b)"
_EAST = r"(?:[EWØOVew](?![^\W\d_])|(?i:east|west|[oø]st|vest|este|oeste)\b)"
_HEMISPHERE = r"(?:(?:[NSEWØOV]|north|south|east|west|nord|s[uøö]r|s[uy]d|[oø]st|vest|norte|sur|este|oeste)\b)"
_BEFORE = rf"(?:(?<!\w){_HEMISPHERE}\s*)?"
_DEGREES = r"(?:[°º˚]|deg(?:rees?)?\b|grad\b)"
_PRIME = r"['′’´]"
_LABEL = r"(?:lat|lon|lng|latitude|longitude|breddegrad|lengdegrad)"
_OR_A_LENGTH = r"(?:breite|länge|bredde|lengde)"  # words that name a coordinate and a fish's length alike

# A number with one of these behind it is a measure. Single letters for west and north are none of them.
_UNIT = (
    r"(?:mm|cm|m|km|in|inch|inches|ft|feet|yd|g|kg|lbs?|oz|kn|kts?|knots|mph|km/h|kmh|m/s|rpm|hPa|mbar|bar|[kMG]?Hz"
    r"|[km]?V|[km]?A|m?Ah|k?Wh|min|h|hours?|l|ml|dl|litres?|liters?|pt|ms|(?-i:s))(?![^\W_])|[°º˚]\s?[CF]\b|%"
)
_NO_MEASURE = rf"(?![\d]|[.,]\d)(?!\s*(?:{_UNIT}))"

# An angle beside its hemisphere, in any notation: 62.2105, 62 12.626, 62°12'37.6", 62d12m37s, 6212.626, 621237.6.
_MARK = (
    r"\s*(?:[°º˚*:'′’´\"″”-]{1,2}|(?i:deg(?:rees?)?|grader?|min(?:utes?|utter)?|sec(?:onds?)?|sekunder)\b|[dms](?![^\W\d_]))?"
    r"[,.]?\s*"
)
_ANGLE = rf"[-+−]?\d{{1,9}}(?:[.,]\d+)?(?:{_MARK}(?<!\d)\d{{1,2}}(?:[.,]\d+)?){{0,2}}{_MARK}"
_BETWEEN = rf"[\s,;:/|&()\[\]-]*(?:(?i:and|og|och|und|y)\s+)?(?:(?i:{_LABEL}|long)\b[.:=\s]*)?"
_WAYS = ((_NORTH, _EAST), (_EAST, _NORTH))
_PAIRS = (
    *(rf"(?<![\w.,])({_ANGLE}){one}\.?{_BETWEEN}({_ANGLE}){other}" for one, other in _WAYS),
    *(rf"(?<!\w){one}[.:\s]*({_ANGLE}){_BETWEEN}{other}[.:\s]*({_ANGLE})" for one, other in _WAYS),
)

_OLC = "[23456789CFGHJMPQRVWX]"
_CODES = (
    r"\b[a-z][a-z0-9+.-]{1,20}://\S+",  # any link: maps put places into them
    r"\bwww\.\S+",
    r"\b(?:[a-z0-9-]+\.)+[a-z]{2,}/\S+",
    r"\bgeo:\S+",
    r"///\s?[^\s./]+\.[^\s./]+\.[^\s./]+",  # three-word addresses
    rf"\b(?:{_OLC}{{4}}\s)?{_OLC}{{4,8}}\+{_OLC}{{2,7}}\b",  # open location codes
    rf"\b(?=\d*[a-z]){_OLC}{{8}}\s?\+(?:\s?{_OLC}{{2,7}}\b|(?!\w))",  # the same ending at its plus, or torn there
    rf"\b{_OLC}{{2,6}}0{{2,6}}\+(?!\w)",  # the same for a wider box
    r"\bgeo\s?hash(?:es)?\b[\s:=]*(?=\w*\d)[0-9b-hjkmnp-z]{3,12}\b",  # said to be one; others by the trip's region
)

_E, _N = r"(?:\s?m?\s?E)?", r"(?:\s?m?\s?N\b)?"  # behind metres of a grid
_GRIDS = (
    r"\b\d{1,2}\s?[C-HJ-NP-X]\s?[A-HJ-NP-Z]{2}\s?\d{2,5}\s?\d{2,5}\b",  # military grid
    r"\b\d{1,2}[c-hj-np-x][a-hj-np-z]{2}\d{4,10}\b",
    r"\b\d{1,2}\s?[C-HJ-NP-X]\s+\d{5,7}(?:\.\d+)?\s*(?:m?E)?\s*,?\s*\d{6,8}(?:\.\d+)?\s*(?:m?N)?\b",  # UTM
    rf"\b(?:\d{{1,2}}\s?[C-HJ-NP-X]?[\s,;:]+)?\d{{5,7}}(?:\.\d+)?{_E}[\s,;/]+\d{{7,8}}(?:\.\d+)?{_N}(?!\d)",
    rf"\b\d{{7}}(?:\.\d+)?{_N}[\s,;/]+\d{{6}}(?:\.\d+)?{_E}(?!\d)",  # northing first
    rf"\b(?:E\s?)?\d{{3}}[\s.,]\d{{3}}{_E}[\s,;/]+(?:N\s?)?\d[\s.,]\d{{3}}[\s.,]\d{{3}}{_N}(?!\d)",  # in groups of three
    r"\b[HJNOST][A-HJ-Z]\s?(?:\d{6}|\d{8}|\d{10}|\d{3,5}\s\d{3,5})\b",  # national grids of two letters
    r"[$!][A-Z]{2,5}[A-Z0-9]{0,3},\S*,\S*",  # a whole sentence of a receiver
)
# Capitals decide here: "4.5 s" is a time and "4.5 S" may be a latitude.
_AS_WRITTEN = (
    r"\b[NSEWØOV]\s*\d{2,3}\s+\d{2}(?:[.,:\s]\d+)*['′’]?",
    r"\b[NSEWØOV]\s*\d{1,3}(?:\s+|:)\d{1,2}[.,]\d+['′’]?",
    r"\b\d{1,3}\s+\d{1,2}[.,]\d{1,5}\s*['′’]?\s*[NSEWØOV]\b",
    r"(?<![\w:])\d{1,3}[-:]\d{1,2}(?:[.,]\d{1,5}|[-:]\d{1,2}(?:[.,]\d+)?)\s*[NSEWØOV]\b",
    r"\b\d{1,3}\s\d{1,2}\s\d{1,2}(?:[.,]\d+)?\s*[NSEWØOV]\b",
    r"\b\d{3,5}[.,]\d{2,}\s*,?\s*[NSEW]\b",  # NMEA
    r"\b(?:\d{4}|\d{6})(?:[.,]\d+)?[NS]\b|\b(?:\d{5}|\d{7})(?:[.,]\d+)?[EW]\b",
    r"\b\d{4}[.,]\d{2,}[\s,;/]+\d{5}[.,]\d{2,}\b",
    r"\b\d{1,3}[.,]\d+\s?[NSEW]\b",
    r"\b\d{1,3}[.,]\d{3,}\s?[ØOV]\b",
)

_NUMBER = r"[-+−]?\d{1,3}[.,]\d{3,}"  # three decimals of a degree are a hundred metres
_FILLER = r"(?:\s|[^\w\s]|\b(?:and|og|och|und|y|lat|lon|lng|latitude|longitude|[NSEWnsew])\b){0,16}"
_MINUTES = rf"\d{{1,3}}\s*{_DEGREES}\s*\d{{1,2}}(?:[.,]\d+)?\s*{_PRIME}?"
_SECONDS = r"(?:\s*\d{1,2}(?:[.,]\d+)?(?!\d|\s*[°º˚])\s*(?:[\"″”]|''|s\b|sec\b)?)?"
_IN_ANY_CASE = (
    r"\b[A-R]{2}\d{2}(?!(?:mm|cm|km|kg|lb|kn|ft|in|am|pm|ah|hp)\b)[A-X]{2}(?:\d{2}(?:[A-X]{2})?)?\b",  # Maidenhead locators
    r"(?<!\w)[+\-−]\d{2,7}(?:[.,]\d+)?[+\-−]\d{3,8}(?:[.,]\d+)?(?:[+\-−]\d+(?:\.\d+)?)?(?:CRS\w+)?/?(?!\d)",  # ISO 6709
    rf"\b{_LABEL}\b[.:=\s]*{_BEFORE}[-+−]?\d{{1,3}}(?:[.,]\d+)?(?:\s*[°º˚'′’:\s]\s*\d{{1,2}}(?:[.,]\d+)?){{0,2}}{_NO_MEASURE}",
    rf"\b{_OR_A_LENGTH}\b[.:=\s]*[-+−]?\d{{1,3}}[.,]\d{{2,}}{_NO_MEASURE}",
    # Degrees with minutes, where something tells them from a course and the next number: 59°54, 59° 54.5', 59° 54' 30" N.
    rf"{_BEFORE}[-+−]?\d{{1,3}}[°º˚]\d{{1,2}}(?:[.,]\d+)?\s*{_PRIME}?{_SECONDS}(?:\s*{_HEMISPHERE})?",
    rf"{_BEFORE}[-+−]?\d{{1,3}}\s*{_DEGREES}\s*\d{{1,2}}(?:[.,]\d{{2,}}|(?:[.,]\d+)?\s*{_PRIME})\s*{_PRIME}?{_SECONDS}(?:\s*{_HEMISPHERE})?",
    rf"{_MINUTES}{_FILLER}{_MINUTES}",
    rf"(?<!\w){_HEMISPHERE}\s*{_MINUTES}{_SECONDS}",
    rf"{_MINUTES}(?:m(?!\w)|min\b)?{_SECONDS}\s*{_HEMISPHERE}",
    r"\b\d{1,3}d\s?\d{1,2}(?:[.,]\d+)?[m'′](?:\s?\d{1,2}(?:[.,]\d+)?s)?",
    rf"[-+−]?\d{{1,3}}(?:[.,]\d+)?\s*{_DEGREES}\s*{_HEMISPHERE}",
    rf"(?<!\w){_HEMISPHERE}\s*[-+−]?\d{{1,3}}[.,]\d{{2,}}\s*{_DEGREES}",
    r"\b\d{1,3}\s\d{1,2}[.,]\d{2,}[\s,;/]+\d{1,3}\s\d{1,2}[.,]\d{2,}",  # degrees and minutes, and nothing else
    rf"\blong(?:itude)?\b[.:=\s]*\d{{1,3}}\s+\d{{1,2}}[.,]\d+{_NO_MEASURE}",
    r"(?:\d{1,3}\s+\d{1,2}\s?['′’]\s?\d{1,2}(?:[.,]\d+)?\s?(?:[\"″”]|'')[\s,;/NSEW]*){2}",  # primes, and no degree sign
    rf"{_NUMBER}{_FILLER}{_NUMBER}",  # decimal pairs
    # A lone one: half of a pair whose other half stands elsewhere.
    rf"[-+−]?(?<![\d.,])\d{{1,3}}(?:\.\d{{3,}}|,\d{{4,}}){_NO_MEASURE}",
)

_LINKS = tuple(re.compile(pattern, re.IGNORECASE) for pattern in _CODES)
_ALL = (
    *(re.compile(pattern) for pattern in _GRIDS),
    *(re.compile(pattern) for pattern in _PAIRS),
    *(re.compile(pattern) for pattern in _AS_WRITTEN),
    *(re.compile(pattern, re.IGNORECASE) for pattern in _IN_ANY_CASE),
)


# Two numbers that may be a place of the trip's region: degrees, or degrees and minutes, with nothing to say so.
_PLAIN = (
    re.compile(r"(?<![\w.])[-+−]?(?P<degrees>\d{1,3})[.,](?P<decimals>\d+)(?!\w|\.\d)"),
    re.compile(r"(?<![\w.])[-+−]?(?P<degrees>\d{1,3})\s?[\s:°º˚-]\s?(?P<minutes>[0-5]?\d[.,]\d+)(?!\w|\.\d)"),
)
_APART = re.compile(rf"{_PRIME}?[°º˚]?[\s,;:/|&()\[\]]*(?:(?:and|og|och|und|y|long|{_LABEL})\b[\s.:=]*)*", re.IGNORECASE)
_PRICE_BEFORE = re.compile(r"(?:[$€£¥]|\b(?:kr|nok|sek|dkk|eur|usd|gbp|chf))\.?\s?$", re.IGNORECASE)
_MEASURE_BEHIND = re.compile(rf"\s*(?:{_UNIT}|[$€£¥]|(?:kr|nok|sek|dkk|eur|usd|gbp|chf)\b)", re.IGNORECASE)
_MAYBE_GEOHASH = re.compile(r"(?<![\w.@#/+-])(?!\d+\b)[0-9b-hjkmnp-z]{5,12}(?![\w+])", re.IGNORECASE)
_A_MEASURE = re.compile(rf"\d+(?:{_UNIT}|st|nd|rd|th)", re.IGNORECASE)
_WORDLIKE = 6  # letters of a geohash without a figure in it: shorter ones are words ("perch")


def scrubbed(text: str, region: Region | None = None) -> str:
    """Text without positions in figures; each is replaced by GAP. Never raises; text without any comes back unchanged.

    region   of the trip: with it, what is a position only there goes too
    """
    # Marks that nobody sees come along with what is copied from a page, and a raised dot or a star is a decimal sign to some.
    plain = "".join(letter for letter in text if unicodedata.category(letter) != "Cf")
    plain = re.sub(r"(?<=\d)[·*](?=\d)", ".", plain)
    left = _without_positions(plain, region)
    return text if left == plain else left


def _without_positions(text: str, region: Region | None) -> str:
    for pattern in _LINKS:
        text = pattern.sub(_gap, text)
    text = _without_spans(text, spoken_positions(text, region))
    for pattern in _ALL:
        text = pattern.sub(_gap, text)
    if region is not None:
        text = _without_spans(text, _plain_pairs(text, region))
        text = _MAYBE_GEOHASH.sub(lambda found: GAP if _is_geohash(found[0], region) else found[0], text)
    return re.sub(rf"{re.escape(GAP)}(?:[\s,;/]*{re.escape(GAP)})+", GAP, text)


def _gap(found: re.Match[str]) -> str:
    """GAP, and what ends the sentence or stands before the next word; a pair of coarse angles as it is."""
    if found.groups() and not any(map(_fine, found.groups())):
        return found[0]
    return GAP + found[0][len(found[0].rstrip(" \t\r\n\u00a0.,;:!?)]")) :]


def _fine(angle: str) -> bool:
    """True for an angle told more finely than in tenths of a degree: "wind N 5, later E 4.5" is weather."""
    numbers = re.findall(r"(\d+)(?:[.,](\d+))?", angle)
    return len(numbers) > 1 or any(len(whole) >= 4 or len(decimals) >= 2 for whole, decimals in numbers)


def _plain_pairs(text: str, region: Region) -> list[tuple[int, int]]:
    """Where two neighbouring numbers are a place of the region, one of them told to a hundredth of a degree or finer."""
    found = []
    for one, other in (pair for pattern in _PLAIN for pair in pairwise(pattern.finditer(text))):
        (a, a_fine), (b, b_fine) = _degrees(one), _degrees(other)
        priced = _PRICE_BEFORE.search(text[max(0, one.start() - 6) : one.start()])
        if (
            (a_fine or b_fine)
            and _APART.fullmatch(text, one.end(), other.start())
            and not (priced or _MEASURE_BEHIND.match(text, other.end()))
            and region.holds_either_way(a, b)
        ):
            found.append((one.start(), other.end() + text.startswith(("°", "º", "˚"), other.end())))
    return found


def _degrees(number: re.Match[str]) -> tuple[float, bool]:
    """(the angle, whether it is told finely enough to be a position)."""
    said = number.groupdict()
    if said.get("minutes"):
        value, fine = float(said["degrees"]) + float(said["minutes"].replace(",", ".")) / 60.0, True
    else:
        value, fine = float(f"{said['degrees']}.{said['decimals']}"), len(said["decimals"]) > 1
    return (-value if number[0][0] in "-−" else value), fine


def _is_geohash(word: str, region: Region) -> bool:
    place = geohash_place(word)
    if place is None or _A_MEASURE.fullmatch(word) or not (len(word) >= _WORDLIKE or re.search(r"\d", word)):
        return False
    return region.holds(*place)


def _without_spans(text: str, spans: list[tuple[int, int]]) -> str:
    """GAP for each span; for one that touches another, a single one for both."""
    kept, done = [], 0
    for start, end in sorted(spans):
        if start >= done:
            kept += [text[done:start], GAP]
        done = max(done, end)
    return "".join(kept) + text[done:]

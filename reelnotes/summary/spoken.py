"""Positions in words: "forty-seven degrees thirty-six minutes north", in the languages that the catch log is read in.

A text is turned into one letter a word - n for a word of number, d for "degrees", h for a side of the sky - and what a
position looks like is said in those letters, once for all languages. Figures count too: "62 degrees and 12 minutes north".
"""

import re
from dataclasses import dataclass

from reelnotes.summary.region import Region

# Words of number from 0 on; then the tens from 20 on; and how a language makes 47 of them: with what between, which first.
_NUMBERS = {
    "en": (
        "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
        "eighteen nineteen",
        "twenty thirty forty fifty sixty seventy eighty ninety",
        (),
    ),
    "no": (
        "null en to tre fire fem seks sju åtte ni ti elleve tolv tretten fjorten femten seksten sytten atten nitten",
        "tjue tretti førti femti seksti sytti åtti nitti",
        ("{ten}{unit}", "{unit}og{ten}"),
    ),
    "older no": (
        "null en to tre fire fem seks syv åtte ni ti elleve tolv tretten fjorten femten seksten sytten atten nitten",
        "tyve tredve førti femti seksti sytti åtti nitti",
        ("{ten}{unit}", "{unit}og{ten}"),
    ),
    "da": (
        "nul en to tre fire fem seks syv otte ni ti elleve tolv tretten fjorten femten seksten sytten atten nitten",
        "tyve tredive fyrre halvtreds treds halvfjerds firs halvfems",
        ("{unit}og{ten}",),
    ),
    "sv": (
        "noll ett två tre fyra fem sex sju åtta nio tio elva tolv tretton fjorton femton sexton sjutton arton nitton",
        "tjugo trettio fyrtio femtio sextio sjuttio åttio nittio",
        ("{ten}{unit}",),
    ),
    "de": (
        "null ein zwei drei vier fünf sechs sieben acht neun zehn elf zwölf dreizehn vierzehn fünfzehn sechzehn siebzehn "
        "achtzehn neunzehn",
        "zwanzig dreißig vierzig fünfzig sechzig siebzig achtzig neunzig",
        ("{unit}und{ten}",),
    ),
    "es": (
        "cero uno dos tres cuatro cinco seis siete ocho nueve diez once doce trece catorce quince dieciséis diecisiete "
        "dieciocho diecinueve",
        "veinte treinta cuarenta cincuenta sesenta setenta ochenta noventa",
        ("veinti{unit}",),
    ),
}
_MORE_NUMBERS = {
    "oh": 0, "nought": 0, "eins": 1, "zwo": 2, "ett": 1, "et": 1, "un": 1, "veintiún": 21,
    "hundred": 100, "hundre": 100, "hundrede": 100, "hundra": 100, "hundert": 100, "einhundert": 100, "cien": 100, "ciento": 100,
}  # fmt: skip

_WORDS = {
    "p": "point decimal dot komma coma punto punkt",
    "d": "degree degrees deg grad grader graden grado grados ° º ˚",
    "m": "minute minutes min mins minutt minutter minut minuter minuten minuto minutos ′ ' ’",
    "s": 'second seconds sec secs sekund sekunder sekunde sekunden segundo segundos ″ " ”',
    "h": "north south east west nord sør sør søder sør syd süd ost øst öst vest väst norte sur este oeste "
    "northern southern eastern western nördlich nördliche nördlicher südlich südliche südlicher östlich östliche östlicher "
    "westlich westliche westlicher nordlig sydlig sørlig østlig vestlig nordre",
    "l": "latitude longitude lat lon lng breddegrad lengdegrad længdegrad breitengrad längengrad latitud",
    "b": "breite länge bredde lengde længde bredd längd longitud latitude longitude latitud",
    "c": "and og och und y of de a - – —",
    "w": "wind breeze vind viento",
    ",": ", ; /",
    "x": "half halb halv halvt medio media quarter",  # "forty-seven and a half degrees"
}


def _spellings(word: str) -> set[str]:
    """A word, and as people type it without the keys for its letters."""
    spelt_out = word.replace("ä", "ae").replace("ö", "oe").replace("ü", "ue").replace("ß", "ss").replace("ø", "oe")
    return {word, _keyless(word), spelt_out, spelt_out.replace("å", "aa")}


def _keyless(word: str) -> str:
    return word.translate(str.maketrans("øåäöüáéíóúñ", "oaaouaeioun")).replace("ß", "ss")


def _numbers() -> dict[str, int]:
    values: dict[str, int] = dict(_MORE_NUMBERS)
    for units, tens, joins in _NUMBERS.values():
        small, large = units.split(), tens.split()
        values |= {word: n for n, word in enumerate(small)} | {word: 10 * n for n, word in enumerate(large, 2)}
        for join in joins:
            for n, ten in enumerate(large, 2):
                values |= {join.format(ten=ten, unit=unit): 10 * n + k for k, unit in enumerate(small[1:10], 1)}
                if "ten" not in join:
                    break  # of its twenties only
    return {spelt: n for word, n in values.items() for spelt in _spellings(word)}


NUMBERS = _numbers()
_KINDS = {spelt: kind for kind, words in _WORDS.items() for word in words.split() for spelt in _spellings(word)}
_KINDS |= dict.fromkeys(("latitude", "longitude", "latitud"), "l")  # these name no length of a fish
_TOKEN = re.compile(r"\d+(?:[.,]\d+)?|[^\W\d_]+|[^\w\s]")

_N = r"(?:[fg]|n(?:c{0,2}n){0,4})(?:c{0,2}x)?"  # a number in figures or in words
_V = rf"{_N}(?:p{_N})?"
_ANGLE = rf"{_V}d[c,]{{0,2}}{_V}m(?:[c,]{{0,2}}{_V}s)?"
_SIDE = r",?[cl]{0,2}h(?!w)[clb]{0,2}"
_CERTAIN = re.compile(
    "|".join(
        (
            rf"{_ANGLE}{_SIDE}(?:[c,]{{0,2}}{_ANGLE}{_SIDE})?",
            rf"hc?{_ANGLE}(?:[c,]{{0,2}}hc?{_ANGLE})?",
            rf"{_ANGLE}[c,]{{0,2}}{_ANGLE}",
            rf"{_V}dc{{0,2}}(?:{_N}p{_N}m|gm|{_V}mc{{0,2}}{_V}s)",
            rf"{_V}dh(?!w)[lb]?",
            rf"{_N}p{_N}h(?!w)[lb]?",
            rf"l[c,]?{_V}d(?:,?{_V}m|c{{0,2}}{_V}m?)?",
            rf"l[c,]?{_N}p{_N}",
        )
    )
)
# Positions only where the trip was: two numbers with decimals, an angle without its side.
_PERHAPS = (re.compile(rf"({_N}p{_N}|g)d?[c,l]{{0,2}}({_N}p{_N}|g)d?"), re.compile(rf"({_V}dc{{0,2}}{_V}m)"))


@dataclass(frozen=True, slots=True)
class _Word:
    kind: str
    text: str
    start: int
    end: int


def spoken_positions(text: str, region: Region | None = None) -> list[tuple[int, int]]:
    """Where (start, end) the text tells positions in words. Never raises."""
    words = [_Word(_kind(m[0]), m[0].casefold(), m.start(), m.end()) for m in _TOKEN.finditer(text)]
    kinds = "".join(word.kind for word in words)
    if not re.search("[dmp]", kinds):
        return []
    found = [m.span() for m in _CERTAIN.finditer(kinds)]
    if region is not None:
        for pattern in _PERHAPS:
            found += [m.span() for m in pattern.finditer(kinds) if _in_region(words, m, region)]
    # Figures and signs without any word are the business of those patterns that know figures.
    said = [(a, b) for a, b in found if any(w.text[0].isalpha() for w in words[a:b] if w.kind in "ndmsp")]
    return [(words[a].start, words[b - 1].end) for a, b in said]


def _kind(written: str) -> str:
    word = written.casefold()
    if word[0].isdecimal():
        return "f" if word.isdecimal() else "g"
    if len(written) == 1 and written in "NSEWØOV":
        return "h"
    if word not in NUMBERS and word not in _KINDS:
        word = _keyless(word)
    return "n" if word in NUMBERS else _KINDS.get(word, "_")


def _in_region(words: list[_Word], found: re.Match[str], region: Region) -> bool:
    parts = [words[a:b] for a, b in (found.span(i) for i in range(1, found.re.groups + 1))]
    if len(parts) == 1:
        return region.holds_angle(_angle(parts[0]))
    (a, a_decimals), (b, b_decimals) = map(_number, parts)
    return max(a_decimals, b_decimals) > 1 and region.holds_either_way(a, b)


def _angle(words: list[_Word]) -> float:
    """Degrees of an angle in degrees and minutes."""
    total, begun = 0.0, 0
    for i, word in enumerate(words):
        if word.kind in "dm":
            total += _number(words[begun:i])[0] / (60.0 if word.kind == "m" else 1.0)
            begun = i + 1
    return total


def _number(words: list[_Word]) -> tuple[float, int]:
    """(the number, how many decimals it has): "forty-seven point six one", "47 point 61", "47.61"."""
    value, decimals = 0.0, None
    for word in words:
        if word.kind == "p":
            decimals = ""
        elif decimals is not None and word.kind in "fgn":
            decimals = _with_digits(decimals, word)
        elif word.kind == "g":
            return float(word.text.replace(",", ".")), len(re.split("[.,]", word.text)[1])
        elif word.kind in "fn":
            value = max(value, 1.0) * 100.0 if _whole(word) == 100 else value + _whole(word)
    return (float(f"{value:.0f}.{decimals}"), len(decimals)) if decimals else (value, 0)


def _with_digits(told: str, word: _Word) -> str:
    """Decimals as they are spoken: "six one", "sixty-one" and "61" are all 61, "oh two" is 02."""
    joins = word.kind == "n" and 0 < _whole(word) < 10 and re.search("[2-9]0$", told)
    return told[:-1] + str(_whole(word)) if joins else told + (word.text if word.kind == "f" else str(_whole(word)))


def _whole(word: _Word) -> int:
    if word.kind == "n":
        return NUMBERS[word.text if word.text in NUMBERS else _keyless(word.text)]
    return int(word.text) if word.kind == "f" else int(re.split("[.,]", word.text)[0])

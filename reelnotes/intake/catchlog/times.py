"""Times as text -> what was written: date, clock, zone and precision. Nothing is filled in here."""

import datetime as dt
import re
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

from reelnotes.intake.catchlog import vocabulary
from reelnotes.intake.catchlog.words import index, split

ABOUT_STEP_S = 300.0  # "about a quarter to seven": to five minutes, as people round
_DAY_S = 86_400.0

_CLOCK = re.compile(
    r"(?<![\d:.,])(?P<h>\d{1,2})(?:[:.hH](?P<m>[0-5]\d)(?:[:.](?P<s>[0-5]\d|60)(?P<f>[.,]\d{1,9})?)?)?\s*(?P<half>[ap]\.?\s?m\b\.?)?(?![\d:])",
    re.IGNORECASE,
)
_ZONE = re.compile(r"(?:(?<=[\d\s])(?P<z>[zZ])|(?P<sign>[+−-])(?P<zh>\d{2}):?(?P<zm>[0-5]\d)?)$")
_YMD = re.compile(r"(?<!\d)(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})(?!\d)")
_XXY = re.compile(r"(?<!\d)(\d{1,2})([-/.])(\d{1,2})[-/.](\d{4}|\d{2})(?!\d)")
_COMPACT = re.compile(r"^(\d{4})(\d{2})(\d{2})(?:[Tt ]?(\d{2})(\d{2})(\d{2})?)?")
_NAMED = re.compile(
    r"(?:(?P<d1>\d{1,2})\.?\s*(?:de\s+)?(?P<mon1>[^\W\d_]{3,10})|(?P<mon2>[^\W\d_]{3,10})\.?\s+(?P<d2>\d{1,2})(?:st|nd|rd|th)?)"
    r"\.?,?\s*(?:de\s+)?(?P<y>\d{4})",
    re.IGNORECASE,
)

# Zone abbreviations that mean one offset only, in hours.
_ABBREVIATIONS = {
    "utc": 0,
    "gmt": 0,
    "wet": 0,
    "west": 1,
    "cet": 1,
    "cest": 2,
    "mez": 1,
    "mesz": 2,
    "eet": 2,
    "eest": 3,
    "nst": -3.5,
    "ndt": -2.5,
    "ast": -4,
    "adt": -3,
    "est": -5,
    "edt": -4,
    "cdt": -5,
    "mst": -7,
    "mdt": -6,
    "pst": -8,
    "pdt": -7,
    "akst": -9,
    "akdt": -8,
    "nzst": 12,
    "nzdt": 13,
    "aest": 10,
    "aedt": 11,
    "awst": 8,
}


@dataclass(frozen=True, slots=True)
class Written:
    """A time as written.

    clock_s   seconds of the day, 0 <= clock_s <= 86400 (24:00 is the day's end)
    step_s    precision: 60 for ``06:42``, 1 for ``06:42:10``, 3600 for ``6 am``
    date      None where none was written
    swapped   the date if day and month are the other way round, None where that cannot be
    order     "day" or "month" where the date shows which of them comes first, '' where it does not
    offset_s  east of UTC, None where no zone was written
    """

    clock_s: float
    step_s: float
    date: dt.date | None = None
    swapped: dt.date | None = None
    order: str = ""
    offset_s: float | None = None


def read_time(text: str, date_text: str = "") -> Written:
    """One row's time cell, with its date cell if there is one -> Written. Raises ValueError with a sentence for the user."""
    bad = ValueError(f"'{text}' is no time" if text else "the time is missing")
    rest = text.strip()
    if not rest and not date_text:
        raise bad
    date, swapped, rest = _take_date(rest, text)
    if date is None and date_text:
        date, swapped, more = _take_date(date_text.strip(), date_text)
        if date is None:
            raise ValueError(f"'{date_text}' is no date")
        rest = rest or more
    rest, about = _without_words(rest)
    rest, offset = _take_zone(rest)
    clock, step = _take_clock(rest, bad)
    return Written(clock, max(step, ABOUT_STEP_S) if about else step, date, swapped, _order(f"{text} {date_text}"), offset)


def zone_in_header(header: str) -> float | None:
    """The offset in seconds that a header's words give the whole column: ``time (UTC)`` -> 0; None without."""
    if re.search(r"\blocal\b|lokal", header, re.IGNORECASE):
        return None
    for word in re.findall(r"[a-z]+", header.casefold()):
        if word in _ABBREVIATIONS and word not in ("est", "ast", "west"):  # also plain words of some language
            return _ABBREVIATIONS[word] * 3600.0
    return None


def month_first(rows: list[Written], trip_date: dt.date | None, zone: ZoneInfo) -> tuple[bool, bool]:
    """Whether 5/9/2026 is May 9th in this log, and whether that had to be guessed: (month first, guessed).

    Settled by the dates that read one way only, then by the trip's date, then by the habit of the
    water's country (month first in the United States and Canada's zones).
    """
    open_rows = [row for row in rows if row.date and row.swapped]
    if not open_rows:
        return False, False
    days, months = (sum(row.order == order for row in rows) for order in ("day", "month"))
    if days == months and trip_date:
        days = sum(abs((row.date - trip_date).days) <= 1 for row in open_rows if row.date)
        months = sum(abs((row.swapped - trip_date).days) <= 1 for row in open_rows if row.swapped)
    if days != months:
        return months > days, False
    return zone.key.startswith(("America/", "US/", "Pacific/Honolulu")), True


@lru_cache(maxsize=1)
def _months() -> dict[str, str]:
    return index({str(number): words for number, words in vocabulary.MONTHS.items()})


def _take_date(rest: str, whole: str) -> tuple[dt.date | None, dt.date | None, str]:
    """(date, the date with day and month swapped, what is left of the text). Raises ValueError for a day not in the calendar."""
    for pattern, reader in ((_YMD, _from_ymd), (_XXY, _from_xxy), (_COMPACT, _from_ymd), (_NAMED, _from_named)):
        match = pattern.search(rest)
        if not match or (pattern is _NAMED and _month_of(match) is None):
            continue
        try:
            date, swapped = reader(match)
        except ValueError as error:
            raise ValueError(f"'{whole}' is no date in the calendar") from error
        left = rest[: match.start()] + " " + rest[match.end() :]
        if pattern is _COMPACT and match[4]:
            left = f"{match[4]}:{match[5]}" + (f":{match[6]}" if match[6] else "") + rest[match.end() :]
        return date, swapped, re.sub(r"^[\sT,]+", "", left, flags=re.IGNORECASE).strip(" ,")
    return None, None, rest


def _from_ymd(match: re.Match[str]) -> tuple[dt.date, None]:
    return dt.date(int(match[1]), int(match[2]), int(match[3])), None


def _from_xxy(match: re.Match[str]) -> tuple[dt.date, dt.date | None]:
    a, b, year = int(match[1]), int(match[3]), int(match[4])
    year += 0 if year > 99 else 2000 if year < 80 else 1900
    if b > 12:
        return dt.date(year, a, b), None
    # With dots the day comes first everywhere; with strokes it depends on the country.
    swapped = dt.date(year, a, b) if a <= 12 and a != b and match[2] != "." else None
    return dt.date(year, b, a), swapped


def _order(text: str) -> str:
    """ "day" or "month" where a date with strokes shows which of them comes first, '' elsewhere."""
    match = _XXY.search(text)
    if not match or match[2] == "." or _YMD.search(text):
        return ""
    return "month" if int(match[3]) > 12 else "day" if int(match[1]) > 12 else ""


def _month_of(match: re.Match[str]) -> int | None:
    found = _months().get((match["mon1"] or match["mon2"]).casefold())
    return int(found) if found else None


def _from_named(match: re.Match[str]) -> tuple[dt.date, None]:
    month = _month_of(match)
    assert month is not None
    return dt.date(int(match["y"]), month, int(match["d1"] or match["d2"])), None


def _without_words(text: str) -> tuple[str, bool]:
    """The text without words for "o'clock"; and whether it says "about"."""
    rest, about = re.sub(r"\bo['’]clock\b", "", text, flags=re.IGNORECASE).strip(), False
    if rest[:1] in "~≈" and rest:
        rest, about = rest[1:].strip(), True
    while match := re.match(r"([^\W\d_]+)\.?\s+(?=.*\d)|([^\W\d_]+)\.(?=\d)", rest):
        word = (match[1] or match[2]).casefold()
        if word in split(vocabulary.ABOUT):
            about = True
        elif word not in split(vocabulary.O_CLOCK):
            break
        rest = rest[match.end() :].strip()
    rest = re.sub(r"(?<=\d)\s*(uhr|hrs|hours|h)\.?$", "", rest, flags=re.IGNORECASE)
    return rest, about


def _take_zone(text: str) -> tuple[str, float | None]:
    if match := re.search(r"(?<=[\d\s])([A-Za-z]{3,4})$", text):
        hours = _ABBREVIATIONS.get(match[1].casefold())
        if hours is not None:
            return text[: match.start()].strip(), hours * 3600.0
    match = _ZONE.search(text)
    if not match or ":" not in text[: match.start()]:
        return text, None
    if match["z"]:
        return text[: match.start()].strip(), 0.0
    seconds = int(match["zh"]) * 3600.0 + int(match["zm"] or 0) * 60.0
    if seconds > 15 * 3600:
        raise ValueError(f"'{text}' has no possible time zone")
    return text[: match.start()].strip(), seconds if match["sign"] == "+" else -seconds


def _take_clock(text: str, bad: ValueError) -> tuple[float, float]:
    """(seconds of the day, precision in seconds)."""
    if re.fullmatch(r"([01]\d|2[0-3])[0-5]\d", text):  # 0642
        return int(text[:2]) * 3600.0 + int(text[2:]) * 60.0, 60.0
    match = _CLOCK.fullmatch(text.strip())
    if not match or (match["m"] is None and match["half"] is None):
        raise bad
    hour, minute, second = int(match["h"]), int(match["m"] or 0), int(match["s"] or 0)
    fraction = float("0" + match["f"].replace(",", ".")) if match["f"] else 0.0
    if match["half"] and hour <= 12:
        if hour == 0 and match["half"][0] in "pP":
            raise bad
        hour = hour % 12 + (12 if match["half"][0] in "pP" else 0)
    clock = hour * 3600.0 + minute * 60.0 + second + fraction
    if hour > 24 or clock > _DAY_S:
        raise bad
    return clock, 1.0 if match["s"] else 60.0 if match["m"] else 3600.0

"""What a clip's text metadata says: creation stamp, place, maker. Text in, numbers out; no file is opened here.

Metadata comes as ffmpeg's flat dictionaries: ``creation_time`` (the 1904-epoch field of the movie header,
already turned into text), ``com.apple.quicktime.*`` keys, Matroska tags, and so on.
"""

import datetime as dt
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from reelnotes.records.clips import Location

# "No time" as cameras write it: the zero of the ISO base media epoch (1904, reference TIM-22) and of POSIX.
_NO_TIME = (dt.datetime(1904, 1, 1), dt.datetime(1970, 1, 1))
_POSIX_ZERO = dt.datetime(1970, 1, 1)

_STAMP = re.compile(
    r"^\s*(?:UTC\s+)?(\d{4})[-:/.](\d{1,2})[-:/.](\d{1,2})[T\s]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d+))?)?"
    r"\s*(Z|UTC|[+-]\d{2}(?::?\d{2})?)?\s*$",
    re.IGNORECASE,
)
_NAME_STAMP = re.compile(r"(?<!\d)(19\d\d|20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)[-_ T.]{0,3}(\d\d)[-_.h]?(\d\d)[-_.m]?(\d\d)(?!\d)")


@dataclass(frozen=True, slots=True)
class Stamp:
    """A creation stamp.

    seconds   the digits read as if UTC (POSIX seconds); with ``is_utc``, the instant itself
    step_s    resolution of the written time
    is_utc    True when the text gave a UTC offset of its own, other than the bare Z that every ISO base
              media header gets whatever the camera's clock was set to (QuickTime File Format: the field
              carries no zone, and local time is common practice; reference TIM-22)
    """

    seconds: float
    step_s: float
    is_utc: bool = False
    source: str = "metadata"


def read_stamp(text: str) -> Stamp | None:
    """A stamp's text -> Stamp; None for text that is no date with a time, or is an epoch's zero ("not set")."""
    found = _STAMP.match(text)
    if not found:
        return None
    year, month, day, hour, minute = (int(found[i]) for i in range(1, 6))
    try:
        # A leap second's 60 is folded onto 59, as POSIX clocks do.
        moment = dt.datetime(year, month, day, hour, minute, min(59, int(found[6] or 0)))
    except ValueError:
        return None
    if moment in _NO_TIME:
        return None
    digits = (found[7] or "").rstrip("0")
    fraction = float(f"0.{digits}") if digits else 0.0
    step_s = 60.0 if found[6] is None else 1.0 if not digits else 10.0 ** -min(len(digits), 6)
    zone = (found[8] or "").upper()
    offset_s = 0
    if zone[:1] in ("+", "-"):
        plain = zone[1:].replace(":", "").ljust(4, "0")
        offset_s = (int(plain[:2]) * 3600 + int(plain[2:]) * 60) * (-1 if zone[0] == "-" else 1)
    seconds = (moment - _POSIX_ZERO).total_seconds() + fraction - offset_s
    return Stamp(seconds, step_s, is_utc=zone[:1] in ("+", "-"))


def stamp_in_name(name: str) -> Stamp | None:
    """The date and time that a file's name spells out (``20260509_062210.mov``), or None.

    Such digits come from the camera's own clock, in local time as a rule; nothing says so for sure.
    """
    found = _NAME_STAMP.search(name)
    if not found:
        return None
    try:
        moment = dt.datetime(*(int(part) for part in found.groups()))  # type: ignore[arg-type]
    except ValueError:
        return None
    return Stamp((moment - _POSIX_ZERO).total_seconds(), 1.0, source="file name")


# With a UTC offset first: where a phone writes both, this one says what it means.
_STAMP_KEYS = ("com.apple.quicktime.creationdate", "creation_time", "date_recorded", "date", "icrd", "idit")


def creation_stamp(tables: Iterable[Mapping[str, str]], file_name: str = "") -> Stamp | None:
    """The creation stamp from metadata tables (container first, then streams), else from the file's name."""
    lowered = [{key.lower(): value for key, value in table.items()} for table in tables]
    for key in _STAMP_KEYS:
        for table in lowered:
            stamp = read_stamp(table.get(key, ""))
            if stamp:
                return stamp
    return stamp_in_name(file_name)


_ISO_6709 = re.compile(r"^\s*([+-])(\d+(?:\.\d*)?)([+-])(\d+(?:\.\d*)?)(?:([+-]\d+(?:\.\d*)?))?(CRS[^/]*)?/?\s*$")


def read_location(text: str) -> Location | None:
    """An ISO 6709 string -> Location; None when it is no such string or no place on Earth.

    The digits before the decimal point choose the form (reference ISO-01): 2 for a latitude (3 for a
    longitude) are degrees, 4 (5) degrees and minutes, 6 (7) degrees, minutes and seconds. A string whose
    digits are minutes but whose *form* says degrees cannot be told from a true one, and is read as written.
    """
    found = _ISO_6709.match(text)
    if not found:
        return None
    lat, lon = _angle(found[2], 2, 90.0), _angle(found[4], 3, 180.0)
    if lat is None or lon is None:
        return None
    lat, lon = (-lat if found[1] == "-" else lat), (-lon if found[3] == "-" else lon)
    if lat == 0.0 and lon == 0.0:
        return None  # a receiver without a fix writes zeros; nobody fishes there
    return Location(lat, lon, float(found[5]) if found[5] else None)


def _angle(digits: str, degree_digits: int, limit: float) -> float | None:
    whole = len(digits.partition(".")[0])
    extra = whole - degree_digits
    if extra not in (0, 2, 4):
        return None
    degrees = float(digits[: degree_digits + (len(digits) if extra == 0 else 0)])
    if extra == 2:
        minutes, seconds = float(digits[degree_digits:]), 0.0
    elif extra == 4:
        minutes, seconds = float(digits[degree_digits : degree_digits + 2]), float(digits[degree_digits + 2 :])
    else:
        minutes = seconds = 0.0
    if minutes >= 60.0 or seconds >= 60.0:
        return None
    value = degrees + minutes / 60.0 + seconds / 3600.0
    return value if value <= limit else None


_LOCATION_KEYS = ("com.apple.quicktime.location.iso6709", "location", "location-eng", "xyz")
_MAKE_KEYS = ("com.apple.quicktime.make", "com.android.manufacturer", "make", "manufacturer")
_MODEL_KEYS = ("com.apple.quicktime.model", "com.android.model", "model")


def location(tables: Iterable[Mapping[str, str]]) -> Location | None:
    """The first readable ISO 6709 place in the tables, or None."""
    return next((place for text in _values(tables, _LOCATION_KEYS) if (place := read_location(text))), None)


def make_and_model(tables: Iterable[Mapping[str, str]]) -> tuple[str, str]:
    """(make, model) as written, '' where not told."""
    kept = list(tables)
    return next(_values(kept, _MAKE_KEYS), ""), next(_values(kept, _MODEL_KEYS), "")


# Names that every muxer writes say nothing about the device.
_EVERYBODYS_HANDLER = re.compile(r"^\W*(?:core media |apple |gpac |iso )?(?:video|sound|audio|data|media) ?handle", re.IGNORECASE)


def device_hint(tables: Iterable[Mapping[str, str]]) -> str:
    """Whatever else names the device: a comment or title-like tag, the encoder, a handler of its own making."""
    kept = list(tables)
    comment = next(_values(kept, ("comment", "device", "camera", "artist")), "")
    if comment:
        return comment[:80]
    handler = next((h for h in _values(kept, ("handler_name",)) if not _EVERYBODYS_HANDLER.match(h)), "")
    encoder = next((e for e in _values(kept, ("encoder", "software")) if not e.startswith(("Lav", "x264", "x265"))), "")
    return (handler or encoder)[:80]


def _values(tables: Iterable[Mapping[str, str]], keys: tuple[str, ...]) -> Iterator[str]:
    lowered = [{key.lower(): value.strip() for key, value in table.items()} for table in tables]
    return iter([table[key] for key in keys for table in lowered if table.get(key)])

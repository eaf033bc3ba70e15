"""Numbers and times as people read them."""

import datetime as dt
from collections.abc import Iterable

from reelnotes.records.instants import to_datetime
from reelnotes.records.record import TripRecord
from reelnotes.records.units import FOOT_M, INCH_MM, OUNCE_KG, knots

THIN = "\u202f"  # narrow no-break space between a number and its unit


class Words:
    """Formats in one trip's units and zone."""

    def __init__(self, record: TripRecord) -> None:
        self._zone = record.zone
        self._imperial = record.units == "imperial"
        self._date = record.date

    def clock(self, t_utc_s: float, seconds: bool = False) -> str:
        """Local time of day, ``06:42``; a day other than the trip's own is named, ``Sun 00:12``.

        An instant is rounded to the second, as wherever seconds are told, and read as from a clock's face: it
        is 06:42 until it is 06:43. In the night that summer time ends an hour comes twice: its second
        passing is marked, ``02:06*``.
        """
        t = to_datetime(round(t_utc_s)).astimezone(self._zone)
        text = t.strftime("%H:%M:%S" if seconds else "%H:%M") + ("*" if t.fold else "")
        return text if self._date is None or t.date() == self._date else f"{t:%a} {text}"

    def length(self, mm: float) -> str:
        """``63.5 cm`` or ``25.0 in``."""
        return f"{mm / INCH_MM:.1f}{THIN}in" if self._imperial else f"{mm / 10:.1f}{THIN}cm"

    def interval(self, low_mm: float, high_mm: float) -> str:
        """``62.9 to 64.1 cm``."""
        unit, per = ("in", INCH_MM) if self._imperial else ("cm", 10.0)
        return f"{low_mm / per:.1f} to {high_mm / per:.1f}{THIN}{unit}"

    def weight(self, kg: float) -> str:
        """``3.20 kg`` or ``7 lb 1 oz``."""
        if not self._imperial:
            return f"{kg:.2f}{THIN}kg"
        pounds, ounces = divmod(round(kg / OUNCE_KG), 16)
        return f"{pounds}{THIN}lb {ounces}{THIN}oz"

    def depth(self, m: float) -> str:
        """``12.5 m`` or ``41 ft``; for depths, setbacks and tide heights."""
        return f"{m / FOOT_M:.0f}{THIN}ft" if self._imperial else f"{m:.1f}{THIN}m"

    def height(self, m: float) -> str:
        """A tide's height: ``0.42 m`` or ``1.4 ft``."""
        return f"{m / FOOT_M:.1f}{THIN}ft" if self._imperial else f"{m:.2f}{THIN}m"

    def distance(self, m: float) -> str:
        """``320 m``, ``4.2 km``, or miles and yards' worth in ``0.2 mi``."""
        if self._imperial:
            return f"{m / (5280 * FOOT_M):.1f}{THIN}mi"
        return f"{m:.0f}{THIN}m" if m < 1000 else f"{m / 1000:.1f}{THIN}km"


def speed(mps: float) -> str:
    """Speed over ground in knots, ``2.4 kn``: on the water in any unit system."""
    return f"{knots(mps):.1f}{THIN}kn"


def duration(s: float) -> str:
    """``48 s``, ``12 min``, ``3 h 05 min``."""
    if s < 90:
        return f"{s:.0f}{THIN}s"
    minutes = round(s / 60)
    return f"{minutes}{THIN}min" if minutes < 60 else f"{minutes // 60}{THIN}h {minutes % 60:02d}{THIN}min"


def clock_error(s: float) -> str:
    """The size of a clock's error: ``0.31 s``, ``42.0 s``, ``12 min 5 s``, ``3 h 0 min 12 s``, ``2 days 4 h``."""
    s = abs(s)
    if s < 100:
        return f"{s:.2f}{THIN}s" if s < 10 else f"{s:.1f}{THIN}s"
    total = round(s)
    days, hours, minutes, rest = total // 86400, total // 3600 % 24, total // 60 % 60, total % 60
    if days:
        return f"{days} day{'s' if days > 1 else ''} {hours}{THIN}h {minutes}{THIN}min"
    if hours:
        return f"{hours}{THIN}h {minutes}{THIN}min {rest}{THIN}s"
    return f"{minutes}{THIN}min {rest}{THIN}s"


def doubt(sigma_s: float) -> str:
    """Half a 95 % interval of time, two figures: ``12 ms``, ``0.4 s``, ``12 s``, ``5 min``."""
    half = 1.959964 * sigma_s
    if half < 0.1:
        return f"{max(half * 1000, 0.1):.2g}{THIN}ms"
    if half < 100:
        return f"{float(f'{half:.2g}'):g}{THIN}s"
    return f"{half / 60:.0f}{THIN}min"


def good_to(sigmas_s: Iterable[float | None]) -> str:
    """How well the times of some clips are known, ``±0.86 s``: as well as the worst of them, 95 %; '' when none tells."""
    known = [sigma for sigma in sigmas_s if sigma is not None]
    return f"±{doubt(max(known))}" if known else ""


def long_date(day: dt.date) -> str:
    """``Saturday 9 May 2026``."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def count(n: int, one: str, many: str = "") -> str:
    """``1 clip``, ``3 clips``."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def listed(parts: list[str]) -> str:
    """``a, b and c``."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}" if parts else ""

"""Rational frame rates and SMPTE ST 12-1 timecode.

Frame numbers are exact integers; rates are :class:`fractions.Fraction` (30000/1001, never 29.97).
Timecode is only a label for a frame number. Drop-frame code (29.97 and 59.94) skips *numbers*, never
pictures: ;00 and ;01 (;00 to ;03 at 59.94) at every minute that is not a multiple of ten
(SMPTE ST 12-1; reference values TIM-12 to TIM-21).
"""

import re
from fractions import Fraction

_TIMECODE = re.compile(r"^\s*(\d{1,2})[:;.](\d{2})[:;.](\d{2})([:;.,])(\d{2,3})\s*$")


def nominal(rate: Fraction) -> int:
    """The whole number of frame labels a second: 30 for 30000/1001, 25 for 25, 24 for 24000/1001."""
    return max(1, round(rate))


def is_drop_frame(rate: Fraction) -> bool:
    """True for the rates whose timecode is customarily drop-frame: 30000/1001 and its multiples of 30."""
    return rate.denominator == 1001 and nominal(rate) % 30 == 0


def frames_to_timecode(frame: int, rate: Fraction, drop: bool | None = None) -> str:
    """Frame number (>= 0) -> timecode ``hh:mm:ss:ff``, or ``hh:mm:ss;ff`` when drop-frame.

    ``drop`` None means "as is customary for the rate". Hours wrap at 24. Raises ValueError for a
    negative frame or for drop-frame at a rate that has none.
    """
    if frame < 0:
        raise ValueError(f"no timecode for frame {frame}")
    drop = is_drop_frame(rate) if drop is None else drop
    if drop and not is_drop_frame(rate):
        raise ValueError(f"drop-frame timecode does not exist at {rate} frames a second")
    n = nominal(rate)
    if drop:
        skipped = 2 * n // 30
        per_minute, per_ten = n * 60 - skipped, (n * 60 - skipped) * 10 + skipped
        tens, rest = divmod(frame, per_ten)
        # The first minute of each ten keeps all its labels; each later one has `skipped` fewer.
        minutes = 0 if rest < n * 60 else 1 + (rest - n * 60) // per_minute
        frame += skipped * (9 * tens + minutes)
    total_s, ff = divmod(frame, n)
    hh, mm, ss = total_s // 3600 % 24, total_s // 60 % 60, total_s % 60
    return f"{hh:02d}:{mm:02d}:{ss:02d}{';' if drop else ':'}{ff:02d}"


def timecode_to_frames(text: str, rate: Fraction) -> int:
    """Timecode -> frame number; ``;`` or ``,`` before the frames means drop-frame.

    Raises ValueError for text that is no timecode, for a label past the rate, for a label that
    drop-frame code skips, and for drop-frame at a rate that has none.
    """
    m = _TIMECODE.match(text)
    if not m:
        raise ValueError(f"'{text}' is no timecode (hh:mm:ss:ff)")
    hh, mm, ss, ff = int(m[1]), int(m[2]), int(m[3]), int(m[5])
    n, drop = nominal(rate), m[4] in ";,"
    if mm > 59 or ss > 59 or ff >= n:
        raise ValueError(f"'{text}' is out of range at {rate} frames a second")
    frame = ((hh * 60 + mm) * 60 + ss) * n + ff
    if not drop:
        return frame
    if not is_drop_frame(rate):
        raise ValueError(f"drop-frame timecode does not exist at {rate} frames a second")
    skipped, minutes = 2 * n // 30, hh * 60 + mm
    if ff < skipped and ss == 0 and mm % 10:
        raise ValueError(f"'{text}' is a label that drop-frame code skips")
    return frame - skipped * (minutes - minutes // 10)


def seconds_to_frame(t_s: float, rate: Fraction) -> int:
    """The frame on screen ``t_s`` seconds after the first one (the last frame that has begun), >= 0 for t >= 0."""
    # A hair of slack, or 1/3 s at 30 frames a second would land on frame 9.
    return int((Fraction(t_s) * rate + Fraction(1, 10**6)).__floor__())


def frame_to_seconds(frame: int, rate: Fraction) -> float:
    """Seconds from the first frame to the start of ``frame``."""
    return float(frame / rate)

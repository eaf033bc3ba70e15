"""Logged events: a list of things that happened, each with its source and its imprecision.

The catch log is one source; a later one may be spoken notes. So an event knows where it came from
and how late or coarse its time may be.
"""

from dataclasses import dataclass

EVENT_KINDS = ("strike", "hooked", "landed", "lost", "released", "bait check", "rig change", "sighting", "note")


@dataclass(frozen=True, slots=True)
class LogEvent:
    """One logged thing.

    kind          one of EVENT_KINDS
    time_utc_s    the logged instant
    step_s        resolution of the written time: 60 for ``06:42``, 1 for ``06:42:10``; the event
                  was written somewhere in [time, time + step)
    late_s        notes are written after the fact: the event itself is up to about this much earlier
    source        ``log/catches.csv line 4``
    kept          True kept, False released, None not said
    """

    kind: str
    time_utc_s: float
    step_s: float
    source: str
    late_s: float = 120.0
    species: str = ""
    length_mm: float | None = None
    weight_kg: float | None = None
    kept: bool | None = None
    bait: str = ""
    rig: str = ""
    depth_m: float | None = None
    setback_m: float | None = None
    rod: str = ""
    note: str = ""
    extra: tuple[tuple[str, str], ...] = ()  # further columns, as written

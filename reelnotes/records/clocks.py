"""Clues about the cameras' clocks, and what was solved from them.

The model. A *run* is a stretch of recordings of one camera over which its clock went on without
being set or losing its date. Within run r a recording whose stamp says ``stamp_s`` began at

    start_utc_s = stamp_s + offset_s[r] + drift_ppm[r] * 1e-6 * (start_utc_s - reference_utc_s[r])

up to the stamp's own roughness (resolution, start delay). A chapter starts ``lead_s`` after its
recording. A clue is one measurement of that: of one recording's start (absolute), or of the
difference of two recordings' starts (relative).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Clue:
    """One measurement about when a recording began.

    kind        "stamp" | "trusted" | "sound" | "filmed clock" | "engine" | "log" | "human" | "turns" | ...
    clip        the clip that it speaks of: value_s is that *clip's* first frame
    other       None: ``value_s`` is the clip's start in UTC (POSIX seconds).
                A clip: ``value_s`` is start(clip) - start(other), in seconds.
    sigma_s     standard uncertainty of value_s
    confidence  0..1: how surely it is no false match
    words       one short sentence for the user: what was seen or heard, and how well
    slope_ppm   for sound: how much faster the clip's media clock runs than the other's, if measured
    slope_sigma_ppm
    at_s        for an absolute clue: seconds from the clip's first frame to where it was measured
    """

    kind: str
    clip: str
    value_s: float
    sigma_s: float
    confidence: float = 1.0
    other: str | None = None
    words: str = ""
    slope_ppm: float | None = None
    slope_sigma_ppm: float | None = None
    at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class ClipTime:
    """When a clip was filmed.

    placed            "utc" | "relative" | "none"
    start_utc_s       first frame's start, None unless placed is "utc"
    sigma_s           its standard uncertainty (of the relative start when placed is "relative")
    offset_s          add to the camera's own stamp to get start_utc_s; None when there is no stamp
    group             clips with the same group number are placed against each other
    relative_start_s  start on the group's own time line (first clip of the group = 0)
    clock_from        what settled it, a few words: "filmed clock + sound"
    """

    clip: str
    placed: str
    start_utc_s: float | None = None
    sigma_s: float | None = None
    offset_s: float | None = None
    group: int = 0
    relative_start_s: float | None = None
    clock_from: str = ""


@dataclass(frozen=True, slots=True)
class ClockRun:
    """One camera's clock over one run, as solved. ``first``/``last``: its first and last clip."""

    camera: str
    run: int
    first: str
    last: str
    placed: str
    offset_s: float | None
    sigma_s: float | None
    drift_ppm: float | None
    drift_sigma_ppm: float | None
    reading: str  # "UTC", "local time written as UTC", "date reset", "unknown"
    marks: str  # "start" | "end" | "unknown"
    used: tuple[str, ...] = ()  # words of the clues used
    dropped: tuple[str, ...] = ()  # words of the clues rejected, with why


@dataclass(frozen=True, slots=True)
class Clocks:
    """All clocks of a trip: clip name -> ClipTime, the runs, and clips set aside (name -> reason)."""

    clips: dict[str, ClipTime]
    runs: tuple[ClockRun, ...] = ()
    set_aside: dict[str, str] | None = None
    conflicts: tuple[str, ...] = ()  # sentences: the human's word against the rest, and the like

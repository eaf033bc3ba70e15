"""Recordings, and the clock runs that they fall into.

A *recording* is one press of the button: a clip, or its chapters taken together. A *run* is a stretch of one
camera's recordings over which its clock went on undisturbed. A run ends where the stamps go back (the
battery was pulled and the date began again, or somebody set the clock), for no camera films two
recordings at once.
"""

import datetime as dt
import itertools
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from reelnotes.records.clips import Camera, Clip

OVERLAP_SLACK_S = 3.0  # truncated stamps, start delays and written durations leave this much doubt
_NAME_TIME = re.compile(r"(?<!\d)(20\d\d)[-_]?(\d\d)[-_]?(\d\d)[-_T ]?(\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?!\d{3})")


@dataclass(frozen=True, slots=True)
class Recording:
    """One continuous take.

    clips           its chapters in order (one clip as a rule)
    stamp_s         the stamp of the take's first chapter, or None
    duration_s      of all chapters together, by the camera's own count
    end_span_s      what lies between the take's start and the stamp, should stamps mark the end
    name_s          date and time that the file's name spells, read as if UTC, or None
    """

    camera: str
    key: str
    clips: tuple[Clip, ...]
    stamp_s: float | None
    stamp_step_s: float
    duration_s: float
    end_span_s: float
    name_s: float | None = None

    @property
    def first(self) -> str:
        """Name of the first clip: the recording's own name in messages."""
        return self.clips[0].name


@dataclass(frozen=True, slots=True)
class Run:
    """One undisturbed stretch of one camera's clock: the camera, a number from 1, and its recordings in order."""

    camera: str
    number: int
    recordings: tuple[Recording, ...]

    @property
    def stamped(self) -> bool:
        """False for a recording that carries no stamp, and so stands alone."""
        return self.recordings[0].stamp_s is not None


def recordings_of(cameras: Sequence[Camera], clips: Sequence[Clip]) -> dict[str, list[Recording]]:
    """Usable clips -> the recordings of each camera, in file order (stamp order when file names tell no order)."""
    names = list(dict.fromkeys([camera.name for camera in cameras] + [clip.camera for clip in clips]))
    found: dict[str, list[Recording]] = {}
    for name in names:
        takes: dict[str, list[Clip]] = {}
        for clip in clips:
            if clip.usable and clip.camera == name:
                takes.setdefault(clip.recording or clip.name, []).append(clip)
        if takes:
            found[name] = _in_order([_recording(name, key, take) for key, take in takes.items()])
    return found


def _recording(camera: str, key: str, take: list[Clip]) -> Recording:
    chapters = tuple(sorted(take, key=lambda clip: (clip.lead_s, clip.chapter)))
    first, last = chapters[0], chapters[-1]
    total = last.lead_s + last.duration_s
    own_stamps = first.stamp_s is not None and any(
        c.stamp_s is not None and abs(c.stamp_s - first.stamp_s) > OVERLAP_SLACK_S for c in chapters[1:]
    )
    stamp = first.stamp_s
    if stamp is not None and own_stamps:
        stamp -= first.lead_s  # the first chapter at hand may not be the first that was filmed
    return Recording(
        camera=camera,
        key=key,
        clips=chapters,
        stamp_s=stamp,
        stamp_step_s=first.stamp_step_s,
        duration_s=total,
        end_span_s=first.lead_s + first.duration_s if own_stamps else total,
        name_s=time_in_name(first.path.name) if first.chapter <= 1 else None,
    )


def time_in_name(name: str) -> float | None:
    """``20260509_062210.mov`` -> its digits read as if UTC (POSIX seconds); None when the name spells no time."""
    match = _NAME_TIME.search(name)
    if match is None:
        return None
    try:
        year, month, day, hour, minute, second = (int(part) for part in match.groups())
        return dt.datetime(year, month, day, hour, minute, second, tzinfo=dt.UTC).timestamp()
    except ValueError:
        return None


def overlaps(earlier: Recording, later: Recording, marks: str) -> bool:
    """Would ``later`` begin before ``earlier`` ended, if stamps mark the "start" or the "end"?"""
    if earlier.stamp_s is None or later.stamp_s is None:
        return False
    if marks == "end":
        return later.stamp_s - later.end_span_s < earlier.stamp_s - OVERLAP_SLACK_S
    return later.stamp_s < earlier.stamp_s + earlier.duration_s - OVERLAP_SLACK_S


def _breaks(recordings: Sequence[Recording], marks: Iterable[str]) -> list[int]:
    """Places where the clock went back whichever of the meanings holds."""
    wanted = tuple(marks)
    return [i + 1 for i, (a, b) in enumerate(itertools.pairwise(recordings)) if all(overlaps(a, b, mark) for mark in wanted)]


def _in_order(recordings: list[Recording]) -> list[Recording]:
    """File order, unless that order makes no sense in time and the stamps' own order does (renamed files)."""
    breaks = len(_breaks(recordings, ("start", "end")))
    if breaks > max(2, len(recordings) // 4) and all(r.stamp_s is not None for r in recordings):
        by_stamp = sorted(recordings, key=lambda r: r.stamp_s or 0.0)
        if not _breaks(by_stamp, ("start", "end")):
            return by_stamp
    return recordings


def runs_of(recordings: Sequence[Recording], marks: str = "unknown", extra_breaks: Iterable[str] = ()) -> list[Run]:
    """Cut one camera's recordings into runs.

    marks         "start", "end", or "unknown": then only what neither meaning explains is a break
    extra_breaks  names of first clips that other clues showed to begin a new run

    A recording without a stamp is a run of its own.
    """
    wanted = ("start", "end") if marks == "unknown" else (marks,)
    forced = set(extra_breaks)
    runs: list[list[Recording]] = []
    previous: Recording | None = None
    for recording in recordings:
        if recording.stamp_s is None:
            runs.append([recording])
            continue
        fresh = previous is None or recording.first in forced
        if previous is not None and not fresh:
            fresh = all(overlaps(previous, recording, mark) for mark in wanted)
        if fresh:
            runs.append([])
        elif runs[-1][0].stamp_s is None:  # an unstamped recording came between: go on with the run before it
            home = next(run for run in reversed(runs) if run[0].stamp_s is not None)
            home.append(recording)
            previous = recording
            continue
        runs[-1].append(recording)
        previous = recording
    return [Run(run[0].camera, number, tuple(run)) for number, run in enumerate(runs, 1)]


def renumbered(runs: Sequence[Run]) -> list[Run]:
    """Runs numbered from 1 within each camera, in the order given."""
    count: dict[str, int] = {}
    out = []
    for run in runs:
        count[run.camera] = count.get(run.camera, 0) + 1
        out.append(replace(run, number=count[run.camera]))
    return out

"""The human's word: an offset for a camera, or "this frame of this clip is this time"."""

from collections.abc import Sequence

from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue
from reelnotes.records.instants import from_datetime, iso_utc
from reelnotes.records.problems import Problem
from reelnotes.records.settings import TimeMark


def mark_clues(marks: Sequence[TimeMark], clips: Sequence[Clip], zone: object = None) -> tuple[list[Clue], list[Problem]]:
    """Each ``[[time_mark]]`` as an absolute clue about its clip's first frame.

    A mark that names no clip of the trip, or an ambiguous one, becomes a Problem. A time without an offset is local
    time in ``zone`` (a tzinfo).
    """
    clues: list[Clue] = []
    problems: list[Problem] = []
    for number, mark in enumerate(marks, 1):
        where = f"trip.toml, time_mark {number}, key clip"
        hits = [c for c in clips if c.usable and _same(c.name, mark.clip)]
        if len(hits) != 1:
            what = f"'{mark.clip}' names no usable clip" if not hits else f"'{mark.clip}' could be any of {len(hits)} clips"
            problems.append(Problem(where, what, "the mark was left out", "write the clip's path in the trip folder"))
            continue
        clip = hits[0]
        at_s = mark.at_s if mark.at_s is not None else (mark.frame or 0) / float(clip.rate)
        time = mark.time if mark.time.tzinfo is not None else mark.time.replace(tzinfo=zone)  # type: ignore[arg-type]
        utc_s = from_datetime(time)
        words = f"your mark: {at_s:.2f} s into {clip.name} it was {iso_utc(utc_s)} (± {mark.sigma_s:g} s)"
        clues.append(Clue("human", clip.name, utc_s - at_s, mark.sigma_s, 1.0, None, words, at_s=at_s))
    return clues, problems


def _same(name: str, wanted: str) -> bool:
    """The shorter path is the tail of the longer one."""
    a, b = name.split("/"), wanted.replace("\\", "/").split("/")
    n = min(len(a), len(b))
    return a[-n:] == b[-n:]

"""Chaptered recordings: a camera splits one continuous take over several files; here they are joined again.

Files are joined only when name, stamp and format agree, and the stamps can be believed:

* the *name* says which chapter of which recording a file is (``DECK0009_02``: a number within a numbered
  recording; ``AB020123``: a number before it), or at least counts on from the one before (``CLIP0007``, ``CLIP0008``);
* the *stamps* are equal (each file repeats the recording's), or follow on: each is the one before plus its length;
* size, rate, codec and sound are the same.

Equal stamps prove nothing on a camera that stamps unrelated recordings alike (a clock that stands still), and where
names only count on, two takes begun within a second of each other look just like chapters. Then the earlier file must
also have been *full*: as long as the other full ones here, or up against a file system's limit.
"""

import collections
import itertools
import posixpath
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from reelnotes.records.clips import Clip
from reelnotes.records.problems import Problem

# Cameras close a file just below what a signed or unsigned 32-bit length or FAT32 can hold (2 and 4 GiB).
_FILE_LIMITS_BYTES = (2**31, 4_000_000_000, 2**32, 8_000_000_000, 2**33, 12 * 10**9, 16 * 10**9)
_FULL_LENGTH_SLACK_S = 1.5  # a chapter is closed at a key frame, so full ones differ by up to a group of pictures
_FULL_SIZE_SLACK = 0.02

_SUFFIXED = re.compile(r"^(?P<take>.*\d)[-_ .](?P<chapter>\d{1,3})$")
_DAY = re.compile(r"(?<!\d)(?:19|20)\d\d[-_.]?\d\d[-_.]?\d\d$")
_PREFIXED = re.compile(r"^(?P<letters>[A-Za-z])[A-Za-z]{0,3}(?P<chapter>\d{2})(?P<take>\d{4})$")
_PREFIXED_FIRST = re.compile(r"^(?P<letters>[A-Za-z])[A-Za-z]{3}(?P<take>\d{4})$")
_COUNTED = re.compile(r"^(?P<stem>.*?)(?P<number>\d{3,9})$")


@dataclass(frozen=True, slots=True)
class _Place:
    """A file's place by its name: the recording it says it belongs to, and its chapter number in it."""

    take: tuple[str, ...]
    chapter: int
    explicit: bool  # the name tells chapter and recording apart, rather than merely counting on


def join_chapters(clips: Sequence[Clip]) -> tuple[tuple[Clip, ...], list[Problem]]:
    """The clips, in the same order, with recording, chapter, chapters and lead_s set; and what could not be joined.

    A file that is no chapter is a recording of its own (chapter 0). After a missing or unreadable chapter nothing
    tells how much is missing, so the later part becomes a recording of its own too; if its stamp is only a
    repetition of the recording's, the stamp is dropped, for it does not tell when *this* part began.
    """
    changed: dict[str, Clip] = {clip.name: replace(clip, recording=clip.name) for clip in clips}
    problems: list[Problem] = []
    by_home: dict[tuple[str, str], list[Clip]] = collections.defaultdict(list)
    for clip in clips:
        by_home[clip.camera, posixpath.dirname(clip.name)].append(clip)
    for members in by_home.values():
        habits = _Habits(members)
        takes = _takes(members)
        for take in takes:
            for part in _joined_runs(take, habits):
                changed |= {clip.name: clip for clip in _chaptered(part)}
        for take in takes:
            problems += _missing(take, habits, changed)
        usable = [clip for clip in members if clip.usable]
        for run in _counted_runs([clip for clip in usable if changed[clip.name].chapter == 0], habits):
            changed |= {clip.name: clip for clip in _chaptered(run)}
    return tuple(changed[clip.name] for clip in clips), problems


class _Habits:
    """What one camera's files show together: stamps that stand still, and how long or large its full chapters are."""

    def __init__(self, clips: Sequence[Clip]) -> None:
        usable = [clip for clip in clips if clip.usable]
        takes_of_stamp: dict[float, set[tuple[str, ...]]] = collections.defaultdict(set)
        for clip in usable:
            if clip.stamp_s is not None:
                place = _place(clip)
                takes_of_stamp[clip.stamp_s].add(place.take if place else (clip.name,))
        self._doubted = {stamp for stamp, takes in takes_of_stamp.items() if len(takes) > 1}
        self._clips = usable
        self.repeats_stamp = False  # set once a recording was joined by equal stamps

    def doubted(self, stamp_s: float) -> bool:
        """True when recordings of different names bear this stamp, so that it proves nothing."""
        return stamp_s in self._doubted

    def full(self, clip: Clip, following: Clip) -> bool:
        """True when ``clip`` was closed because it was full: just below a file limit, or as long as the other full ones."""
        if any(0.93 * limit <= clip.size_bytes <= limit for limit in _FILE_LIMITS_BYTES):
            return True
        if following.duration_s > clip.duration_s + _FULL_LENGTH_SLACK_S and following.size_bytes > clip.size_bytes * (
            1 + _FULL_SIZE_SLACK
        ):
            return False
        longer = [c for c in self._clips if _same_format(c, clip) and c.duration_s > clip.duration_s + _FULL_LENGTH_SLACK_S]
        others = [c for c in self._clips if c.name != clip.name and _same_format(c, clip)]
        as_long = [c for c in others if abs(c.duration_s - clip.duration_s) <= _FULL_LENGTH_SLACK_S]
        # The longest files of a camera that are all of one length were closed by the camera, not by a hand.
        return bool(as_long) and not longer and clip.duration_s >= 30.0


def _place(clip: Clip) -> _Place | None:
    stem = posixpath.splitext(posixpath.basename(clip.name))[0]
    if found := _SUFFIXED.match(stem):
        # 2026-05-09_001, _002: a day's recordings counted, not a recording's chapters.
        only_a_day = _DAY.search(found["take"]) is not None
        return _Place(("suffixed", found["take"].casefold()), int(found["chapter"]), explicit=not only_a_day)
    if found := _PREFIXED.match(stem):
        return _Place(("prefixed", found["letters"].casefold(), found["take"]), int(found["chapter"]), explicit=True)
    if found := _PREFIXED_FIRST.match(stem):  # some number only the later chapters: ABCD0123, AB010123, AB020123
        return _Place(("prefixed", found["letters"].casefold(), found["take"]), 0, explicit=True)
    return None


def _takes(clips: Sequence[Clip]) -> list[list[tuple[int, Clip]]]:
    """Files grouped by the recording that their names speak of, each in order of chapter; groups of one included."""
    groups: dict[tuple[str, ...], list[tuple[int, Clip]]] = collections.defaultdict(list)
    for clip in clips:
        if place := _place(clip):
            groups[place.take].append((place.chapter, clip))
    takes = [sorted(group, key=lambda pair: (pair[0], pair[1].name)) for group in groups.values()]
    return [take for take in takes if len({chapter for chapter, _ in take}) == len(take)]


def _joined_runs(take: list[tuple[int, Clip]], habits: _Habits) -> list[list[Clip]]:
    """Stretches of two or more chapters of one named recording that evidence joins."""
    runs: list[list[Clip]] = []
    for (before, earlier), (after, later) in itertools.pairwise(take):
        place = _place(earlier)
        if after != before + 1 or not _continues(earlier, later, habits, explicit=place is not None and place.explicit):
            continue
        if runs and runs[-1][-1].name == earlier.name:
            runs[-1].append(later)
        else:
            runs.append([earlier, later])
        habits.repeats_stamp |= earlier.stamp_s is not None and earlier.stamp_s == later.stamp_s
    return runs


def _continues(earlier: Clip, later: Clip, habits: _Habits, *, explicit: bool) -> bool:
    if not (earlier.usable and later.usable and _same_format(earlier, later)):
        return False
    if earlier.stamp_s is None or later.stamp_s is None:
        return explicit and earlier.stamp_s is later.stamp_s and habits.full(earlier, later)
    step_s = max(earlier.stamp_step_s, later.stamp_step_s)
    if abs(later.stamp_s - earlier.stamp_s) < 0.5 * step_s:
        # Two takes cannot begin at one time; unless the clock stands still, this is one recording's stamp repeated.
        believable = not habits.doubted(earlier.stamp_s) and earlier.duration_s > 2 * step_s
        return (explicit and believable) or habits.full(earlier, later)
    # Both stamps are rounded to a step, so a true sequence shows a gap within one step of the length: of the earlier
    # file if stamps mark the start, of the later one if they mark the end.
    gap_s, near_s = later.stamp_s - earlier.stamp_s, 1.05 * step_s
    by_starts = abs(gap_s - earlier.duration_s) <= near_s
    by_ends = abs(gap_s - later.duration_s) <= near_s
    # The pause between two takes whose stamps mark the start can look like the *later* length, but only if that is the longer.
    surely = by_starts or (by_ends and later.duration_s <= earlier.duration_s + near_s)
    return (explicit and surely) or ((by_starts or by_ends) and habits.full(earlier, later))


def _same_format(a: Clip, b: Clip) -> bool:
    def form(clip: Clip) -> tuple[object, ...]:
        rate = None if clip.variable_rate else clip.rate
        sound = (clip.audio.sample_rate_hz, clip.audio.channels, clip.audio.codec) if clip.audio else None
        return (clip.container, clip.codec, clip.width_px, clip.height_px, clip.rotation_deg, rate, sound, clip.make, clip.model)

    return form(a) == form(b)


def _counted_runs(clips: Sequence[Clip], habits: _Habits) -> list[list[Clip]]:
    """Stretches of files whose plain running numbers, stamps and fullness say that they are one take."""
    numbered: dict[str, list[tuple[int, Clip]]] = collections.defaultdict(list)
    for clip in clips:
        stem = posixpath.splitext(posixpath.basename(clip.name))[0]
        if found := _COUNTED.match(stem):
            numbered[found["stem"].casefold()].append((int(found["number"]), clip))
    runs: list[list[Clip]] = []
    for group in numbered.values():
        group.sort(key=lambda pair: (pair[0], pair[1].name))
        for (before, earlier), (after, later) in itertools.pairwise(group):
            if after != before + 1 or not _continues(earlier, later, habits, explicit=False):
                continue
            if runs and runs[-1][-1].name == earlier.name:
                runs[-1].append(later)
            else:
                runs.append([earlier, later])
    return runs


def _chaptered(run: Sequence[Clip]) -> list[Clip]:
    lead_s, chapters = 0.0, []
    for number, clip in enumerate(run, 1):
        chapters.append(replace(clip, recording=run[0].name, chapter=number, chapters=len(run), lead_s=lead_s))
        lead_s += clip.duration_s
    return chapters


def _missing(take: list[tuple[int, Clip]], habits: _Habits, changed: dict[str, Clip]) -> list[Problem]:
    """Problems for the holes in a named recording; drops stamps that repeat the recording's (see join_chapters)."""
    problems = []
    there = {chapter: clip for chapter, clip in take if clip.usable}
    if not there:
        return []
    stamps = collections.Counter(clip.stamp_s for clip in there.values())
    one_stamp = (
        len(there) > 1
        and len(stamps) == 1
        and None not in stamps
        and not habits.doubted(next(iter(there.values())).stamp_s or 0.0)
    )
    if not (one_stamp or habits.repeats_stamp):
        return []
    for chapter in sorted(there):
        if chapter <= 1 or chapter - 1 in there or chapter - 1 < 1:
            continue
        clip = there[chapter]
        first = changed[clip.name].recording
        what = f"chapter {chapter - 1} of this recording is missing or cannot be read"
        done = "this part is treated as a recording of its own, and its stamp, which repeats the recording's start, is not used"
        problems.append(Problem(clip.name, what, done, "", serious=False))
        for name, other in list(changed.items()):
            if name == clip.name or (other.recording == first and other.chapter > 0):
                changed[name] = replace(other, stamp_s=None, stamp_from="")
    return problems

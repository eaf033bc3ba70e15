"""Shots while the edit is being made, and the rule that no instant is shown twice.

All cameras film the same day, so two clips may hold one instant. A shot therefore occupies a stretch
of the common time line, and what it occupies is closed to every other shot. Between two cameras whose
clocks are only roughly tied a guard is left, for their stretches may lie closer than they seem.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from reelnotes.records.cuts import Moment
from reelnotes.records.trip import PlacedClip

# Shots of one clip that are nearer than this become one: so short a jump reads as a fault.
JOIN_S = 2.0
# Guards between two cameras. The most is a compromise: clips whose absolute time is poor are often tied to
# each other far better than that (by sound), and a wide guard would throw good footage away.
LARGEST_GUARD_S = 1.5
LEAST_GUARD_S = 0.08


@dataclass(slots=True, eq=False)
class Shot:
    """A stretch of one clip, in seconds from its first frame, and the moments that it was made for.

    ``leads``: it opens the edit, whenever it was filmed.
    """

    placed: PlacedClip
    start_s: float
    end_s: float
    moments: list[Moment] = field(default_factory=list)
    leads: bool = False

    @property
    def length_s(self) -> float:
        """Length in seconds of the clip's own time."""
        return self.end_s - self.start_s


class Reel:
    """The shots chosen so far. It keeps their stretches apart and knows their total length."""

    def __init__(self) -> None:
        self.shots: list[Shot] = []

    @property
    def length_s(self) -> float:
        """Running time of all shots together."""
        return math.fsum(shot.length_s for shot in self.shots)

    def add(self, placed: PlacedClip, start_s: float, end_s: float, *, least_s: float, moment: Moment | None = None) -> float:
        """Show ``start_s .. end_s`` of a clip as far as it is free; returns the seconds won.

        What touches a shot of the same clip lengthens that shot. A part that stands alone is taken only
        when it can be made ``least_s`` long.
        """
        won = 0.0
        for low, high in list(self._free(placed, start_s, end_s)):
            won += self._add_part(placed, low, high, least_s, moment)
        if won == 0.0 and moment is not None:
            self._credit(placed, start_s, end_s, moment)
        return won

    def grow(self, shot: Shot, before_s: float, after_s: float) -> float:
        """Lengthen a shot on either side as far as its clip and its neighbours allow; returns the seconds won.

        A shot that comes within JOIN_S of another one of its clip joins it.
        """
        low, high = self._room(shot.placed, shot.start_s, shot.end_s, but=shot)
        start, end = max(low, shot.start_s - max(0.0, before_s)), min(high, shot.end_s + max(0.0, after_s))
        total = self.length_s
        shot.start_s, shot.end_s = min(start, shot.start_s), max(end, shot.end_s)
        self._join(shot)
        return self.length_s - total

    def swap(self, shot: Shot, placed: PlacedClip, start_s: float) -> None:
        """Show the same stretch from another clip that holds it."""
        shot.placed, shot.start_s, shot.end_s = placed, start_s, start_s + shot.length_s
        self._join(shot)

    def gaps(self, placed: PlacedClip) -> list[tuple[float, float]]:
        """The free stretches of a clip."""
        return list(self._free(placed, 0.0, placed.clip.duration_s))

    def in_story_order(self) -> list[Shot]:
        """Shots as they happened; what has no place on the UTC line stands where its moments say, else at the end."""
        return sorted(self.shots, key=lambda s: (not s.leads, _story_time(s), s.placed.clip.name, s.start_s))

    def _add_part(self, placed: PlacedClip, low: float, high: float, least_s: float, moment: Moment | None) -> float:
        part = Shot(placed, low, high)
        own = [s for s in self.shots if s.placed is placed and s.start_s - JOIN_S <= high and low <= s.end_s + JOIN_S]
        touching = next((s for s in own if self._bridge_is_free(s, part)), None)
        if touching is not None:
            total = self.length_s
            touching.start_s, touching.end_s = min(touching.start_s, low), max(touching.end_s, high)
            if moment is not None:
                touching.moments.append(moment)
            self._join(touching)
            return self.length_s - total
        if high - low < least_s:
            room_low, room_high = self._room(placed, low, high)
            if room_high - room_low < least_s:
                return 0.0
            low = min(max(room_low, (low + high - least_s) / 2.0), room_high - least_s)
            high = low + least_s
        self.shots.append(Shot(placed, low, high, [moment] if moment is not None else []))
        self._join(self.shots[-1])
        return high - low

    def _credit(self, placed: PlacedClip, start_s: float, end_s: float, moment: Moment) -> None:
        """The moment is on screen already, perhaps from another camera: let that shot say so."""
        for shot in self.shots:
            shift = offset_s(placed, shot.placed)
            if shift is None:
                continue
            common = min(shot.end_s, end_s + shift) - max(shot.start_s, start_s + shift)
            if common > 0.5 * (end_s - start_s):
                shot.moments.append(moment)
                return

    def _join(self, shot: Shot) -> None:
        for other in [s for s in self.shots if s is not shot and s.placed is shot.placed]:
            gap = max(other.start_s - shot.end_s, shot.start_s - other.end_s)
            low, high = min(shot.start_s, other.start_s), max(shot.end_s, other.end_s)
            if gap > JOIN_S or (gap > 0 and not self._bridge_is_free(shot, other)):
                continue
            shot.start_s, shot.end_s = low, high
            shot.moments.extend(other.moments)
            self.shots.remove(other)

    def _bridge_is_free(self, a: Shot, b: Shot) -> bool:
        low, high = min(a.end_s, b.end_s), max(a.start_s, b.start_s)
        closed = [span for s in self.shots if s not in (a, b) for span in _closed_by(s, a.placed)]
        return all(end <= low or start >= high for start, end in closed)

    def _closed(self, placed: PlacedClip, but: Shot | None = None) -> list[tuple[float, float]]:
        return sorted(span for s in self.shots if s is not but for span in _closed_by(s, placed))

    def _free(self, placed: PlacedClip, start_s: float, end_s: float) -> Iterator[tuple[float, float]]:
        """What is not yet closed of a stretch, cut to the clip."""
        at, end_s = max(0.0, start_s), min(placed.clip.duration_s, end_s)
        for low, high in self._closed(placed):
            if low >= end_s:
                break
            if low > at:
                yield at, low
            at = max(at, high)
        if end_s - at > 1e-6:
            yield at, end_s

    def _room(self, placed: PlacedClip, start_s: float, end_s: float, but: Shot | None = None) -> tuple[float, float]:
        """How far a stretch could reach on both sides."""
        closed = self._closed(placed, but)
        low = max([0.0, *(high for _, high in closed if high <= start_s + 1e-9)])
        high = min([placed.clip.duration_s, *(low_ for low_, _ in closed if low_ >= end_s - 1e-9)])
        return min(low, start_s), max(high, end_s)


def offset_s(placed: PlacedClip, other: PlacedClip) -> float | None:
    """Add to a time in ``placed`` to get the same instant in ``other``; None when the two are not tied."""
    if placed is other:
        return 0.0
    a, b = placed.time, other.time
    if a.start_utc_s is not None and b.start_utc_s is not None:
        return a.start_utc_s - b.start_utc_s
    same_group = a.group == b.group and "none" not in (a.placed, b.placed)
    if same_group and a.relative_start_s is not None and b.relative_start_s is not None:
        return a.relative_start_s - b.relative_start_s
    if placed.clip.recording and placed.clip.recording == other.clip.recording and placed.clip.camera == other.clip.camera:
        return placed.clip.lead_s - other.clip.lead_s
    return None


def guard_s(placed: PlacedClip, other: PlacedClip) -> float:
    """How far apart shots of two clips must stay on the time line: two standard uncertainties of their clocks."""
    if placed.clip.camera == other.clip.camera:
        return 0.0  # one clock: whatever its error, the clips of one camera never overlap
    return min(LARGEST_GUARD_S, max(LEAST_GUARD_S, 2.0 * math.hypot(placed.time.sigma_s or 0.0, other.time.sigma_s or 0.0)))


def _closed_by(shot: Shot, placed: PlacedClip) -> list[tuple[float, float]]:
    """The stretch of a clip, in its own time, that a shot closes."""
    shift = offset_s(shot.placed, placed)
    if shift is None:
        return []
    guard = 0.0 if shot.placed is placed else guard_s(shot.placed, placed)
    return [(shot.start_s + shift - guard, shot.end_s + shift + guard)]


def _story_time(shot: Shot) -> float:
    start = shot.placed.time.start_utc_s
    if start is not None:
        return start + shot.start_s
    return min((m.order_s for m in shot.moments), default=math.inf)

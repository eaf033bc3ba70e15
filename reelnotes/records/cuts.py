"""Moments and the edit list."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Moment:
    """Something worth showing: a span in one clip's own time, what it is, and how much it matters.

    kind       an event kind, or "something happened", "rigging", "ashore", "the fish on the board"
    start_s, end_s   seconds from the clip's first frame, inside the clip
    core_s     (start, end) inside the span that must not be cut away
    weight     0..1, how much the story needs it
    reasons    why, a few short phrases
    order_s    the place in the story: UTC seconds where known, else the clip's order
    chance     0..1, how likely the core holds what the moment is about (a note is late and coarse, so several
               moments may share one event, each with its part of the probability)
    """

    kind: str
    clip: str
    start_s: float
    end_s: float
    core_s: tuple[float, float]
    weight: float
    reasons: tuple[str, ...]
    order_s: float
    catch: str = ""
    event: str = ""
    chance: float = 1.0


@dataclass(frozen=True, slots=True)
class Cut:
    """One shot of the edit list. Frames count from 0 in the clip; out_frame is exclusive.

    rate             the clip's rational rate: what the frame numbers count
    in_tc, out_tc    source timecode (from the clip's start timecode, else from 0)
    record_in_frame  frames of the edit's rate from the edit's start; record_out_frame exclusive
    record_in_tc     the same as timecode (the edit starts at 01:00:00:00, as is the trade's habit)
    """

    number: int
    clip: str
    in_frame: int
    out_frame: int
    rate: Fraction
    in_tc: str
    out_tc: str
    record_in_frame: int
    record_out_frame: int
    record_in_tc: str
    record_out_tc: str
    why: str
    kind: str
    catch: str = ""

    @property
    def frames(self) -> int:
        """Length in frames of the clip's rate."""
        return self.out_frame - self.in_frame


@dataclass(frozen=True, slots=True)
class EditList:
    """The story: shots in record order without holes, at one rational edit rate."""

    title: str
    rate: Fraction
    start_frame: int  # record start, in frames of the edit rate
    cuts: tuple[Cut, ...]
    wanted_s: float | None = None

    @property
    def length_s(self) -> float:
        """Running time in seconds of the edit's rate."""
        return float((self.cuts[-1].record_out_frame - self.start_frame) / self.rate) if self.cuts else 0.0

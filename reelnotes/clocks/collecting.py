"""Gathering the clues that need clips to be opened, each clip once a kind, one clip at a time."""

import logging
from collections.abc import Callable, Sequence

from reelnotes.clocks.clues.filmed_clock import filmed_clock_clues
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue
from reelnotes.records.problems import UnreadableError

log = logging.getLogger(__name__)

Progress = Callable[[float, str], None]


def filmed_clocks(clips: Sequence[Clip], progress: Progress | None = None) -> list[Clue]:
    """Filmed clocks in all usable clips. A clip that cannot be opened has none."""
    clues: list[Clue] = []
    for number, clip in enumerate(clips):
        if not clip.usable:
            continue
        if progress is not None:
            progress(number / len(clips), f"looking for a filmed clock in {clip.name}")
        try:
            clues += filmed_clock_clues(clip)
        except UnreadableError as fault:
            log.warning("%s", fault)
    return clues


def part(progress: Progress | None, first: float, last: float) -> Progress | None:
    """A progress that fills only a part of another."""
    if progress is None:
        return None
    whole = progress

    def fill(share: float, what: str) -> None:
        whole(first + (last - first) * share, what)

    return fill

"""Gathering the clues that need clips to be opened, each clip once a kind, one clip at a time."""

import logging
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from reelnotes.clocks.audio_features import AudioFeatures
from reelnotes.clocks.clues.engine_noise import engine_clue
from reelnotes.clocks.clues.filmed_clock import filmed_clock_clues
from reelnotes.records.clips import Clip
from reelnotes.records.clocks import Clue
from reelnotes.records.problems import UnreadableError

log = logging.getLogger(__name__)

Progress = Callable[[float, str], None]
Floats = NDArray[np.float64]


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


def engine_ear(
    clips: Sequence[Clip], heard: Mapping[str, AudioFeatures], speed_at: Callable[[Floats], Floats]
) -> Callable[[dict[str, float], tuple[float, float]], list[Clue]]:
    """The engine clue as the solution asks for it: for one group at a time, each camera of the group listened to alone."""
    by_name = {clip.name: clip for clip in clips}

    def listen(line: dict[str, float], window: tuple[float, float]) -> list[Clue]:
        clues = []
        for camera in dict.fromkeys(by_name[name].camera for name in line):
            mine = {name: at for name, at in line.items() if by_name[name].camera == camera}
            match = engine_clue([by_name[name] for name in mine], mine, speed_at, window, heard)
            if match is not None:
                clues.append(match.clue)
        return clues

    return listen


def part(progress: Progress | None, first: float, last: float) -> Progress | None:
    """A progress that fills only a part of another."""
    if progress is None:
        return None
    whole = progress

    def fill(share: float, what: str) -> None:
        whole(first + (last - first) * share, what)

    return fill

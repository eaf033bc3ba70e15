"""The clips in which a catch was measured: they tell of it as well as those that hold its landing."""

from collections.abc import Iterable
from dataclasses import replace

from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import LineUp


def with_measuring_clips(lineup: LineUp, lengths: Iterable[FishLength]) -> LineUp:
    """The line-up with the clips in which a length is tied to a catch among that catch's clips, after those that show it.

    A refused length counts too: its fish, or its bare board, was filmed for that catch.
    """
    filmed: dict[str, list[str]] = {}
    for length in sorted(lengths, key=lambda fish: (fish.clip, fish.start_s)):
        if length.catch:
            filmed.setdefault(length.catch, []).append(length.clip)
    catches = tuple(replace(c, clips=tuple(dict.fromkeys((*c.clips, *filmed.get(c.id, ()))))) for c in lineup.catches)
    return replace(lineup, catches=catches)

"""What a signal may say: the one interface behind which every source of moments stands.

A *signal* is a function ``(scene) -> Evidence``. It may do two things:

* claim that something is to be seen: an event whose instant it knows as a probability over time
  (:class:`EventClaim`), or a span of one clip (:class:`SpanClaim`);
* tell how eventful each clip is over its own time (:class:`Liveliness`), which invents nothing, but
  says where inside a claimed window the event most likely lies.

The log, the board, sound, and later picture or speech are each one file with one such function.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reelnotes.records.lengths import FishLength
from reelnotes.records.trip import LineUp

GRID_S = 0.5


@dataclass(frozen=True, slots=True)
class Scene:
    """What signals look at. ``progress`` takes (share 0..1, what is being done)."""

    lineup: LineUp
    lengths: tuple[FishLength, ...] = ()
    progress: Callable[[float, str], None] | None = None


Density = tuple[float, NDArray[np.float64]]  # instant of the first cell (POSIX seconds); probability of each GRID_S cell


@dataclass(frozen=True, slots=True)
class Lag:
    """A claimed event came before the event of that id, by a log-normal time: its median, and the sigma of its logarithm."""

    event: str
    median_s: float
    spread: float


@dataclass(frozen=True, slots=True, eq=False)
class EventClaim:
    """Something happened, at an instant known as a probability.

    event, catch   ids in the line-up, or ''; an implied event, which no row names, has an id of its own
    start_utc_s    instant of the first grid cell; cells are GRID_S long
    chance         probability of each cell; sums to 1
    lags           the claim was inferred from these events: when all evidence has sharpened them, it is inferred anew
    """

    kind: str
    weight: float
    words: str
    start_utc_s: float
    chance: NDArray[np.float64]
    event: str = ""
    catch: str = ""
    lags: tuple[Lag, ...] = ()


@dataclass(frozen=True, slots=True)
class SpanClaim:
    """A span of one clip (seconds from its first frame) that is worth showing for what it is."""

    kind: str
    weight: float
    words: str
    clip: str
    start_s: float
    end_s: float
    catch: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Liveliness:
    """How eventful a clip is over its own time: a likelihood ratio (> 0) for every GRID_S, against its ordinary stretches.

    1 says nothing either way; 10 says that an event of the log is ten times likelier here than in an ordinary half second.
    """

    clip: str
    ratio: NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that one signal found."""

    events: tuple[EventClaim, ...] = ()
    spans: tuple[SpanClaim, ...] = ()
    liveliness: tuple[Liveliness, ...] = field(default_factory=tuple)


Signal = Callable[[Scene], Evidence]

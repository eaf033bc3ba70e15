"""The trip as it is told: plain texts, ready to print, and the few figures that pictures need.

Made by :mod:`story` from the record at its privacy. Whatever is not here cannot be published.
"""

from dataclasses import dataclass, field

from reelnotes.summary.privacy import Published


@dataclass(frozen=True, slots=True)
class Fact:
    """A label and what stands beside it."""

    label: str
    value: str


@dataclass(frozen=True)
class ToldFish:
    """One fish. ``share`` is its instant on the trip's time line, 0..1, or None.

    length, interval   "63.5 cm" and "62.9 to 64.1 cm", '' when not measured; ``doubt`` says why it is to be checked
    fate               "kept" | "released" | "lost" | "landed"
    """

    id: str
    outcome: str
    species: str
    time: str
    fate: str
    length: str = ""
    interval: str = ""
    measure: str = ""
    doubt: str = ""
    logged: str = ""
    facts: tuple[Fact, ...] = ()
    note: str = ""
    picture: str = ""  # a data URI, '' for none
    share: float | None = None
    length_mm: float | None = None  # measured, else logged
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class ToldLeg:
    """One leg. ``detail`` holds distance and speed where they may be told."""

    number: int
    kind: str
    time: str
    duration: str
    detail: str


@dataclass(frozen=True, slots=True)
class ToldCamera:
    """One clock run of one camera: how far off it was, how well that is known, what settled it."""

    name: str
    clips: str
    sentence: str
    used: tuple[str, ...] = ()
    dropped: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch in a lane, in per cent of the time line. ``doubt`` is half a 95 % interval, when wide enough to see."""

    start: float
    width: float
    kind: str
    words: str
    doubt: float = 0.0


@dataclass(frozen=True, slots=True)
class Lane:
    """One row of the coverage picture: a name, a remark at its right end, and its bars."""

    name: str
    remark: str
    bars: tuple[Bar, ...]
    y: int


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on the time line, in per cent. ``minor`` labels are left out on narrow screens."""

    at: float
    label: str
    kind: str = ""
    minor: bool = False
    anchor: str = "middle"
    words: str = ""


@dataclass(frozen=True, slots=True)
class Lanes:
    """The coverage picture: lanes, event marks above them, a time axis below, and the same in words."""

    title: str
    words: str
    lanes: tuple[Lane, ...]
    events: tuple[Tick, ...]
    axis: tuple[Tick, ...]
    height: int
    top: int
    bottom: int
    kinds: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line of the sketch: a leg's kind, or "track", and the points of an SVG polyline."""

    kind: str
    points: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A fish on the sketch, in its units."""

    x: float
    y: float
    label: str
    kind: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Sketch:
    """The track drawn to scale. ``bar`` is the scale bar's length in units, ``bar_words`` what it stands for."""

    strokes: tuple[Stroke, ...]
    marks: tuple[Mark, ...]
    width: int
    height: int
    bar: float
    bar_words: str


@dataclass(frozen=True)
class Story:
    """Everything that the writers of ``post/`` get."""

    title: str
    date: str
    lead: str
    facts: tuple[Fact, ...]
    fish: tuple[ToldFish, ...]
    legs: tuple[ToldLeg, ...]
    leg_totals: tuple[Fact, ...]
    cameras: tuple[ToldCamera, ...]
    lanes: Lanes | None
    relative_lanes: tuple[Lanes, ...]
    sketch: Sketch | None
    tide: tuple[Fact, ...]
    limits: tuple[str, ...]
    cautions: tuple[str, ...]
    remarks: tuple[str, ...]
    clock_words: str
    version: str
    published: Published = field(repr=False)

    @property
    def best(self) -> ToldFish | None:
        """The longest landed fish, by its measured length where there is one, else by its logged one; else the first landed."""
        landed = [f for f in self.fish if f.outcome == "landed"]
        return max(landed, key=lambda f: f.length_mm or 0.0, default=None)

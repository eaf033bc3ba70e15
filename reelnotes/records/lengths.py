"""Measured fish."""

from dataclasses import dataclass
from pathlib import Path

VERDICTS = ("measured", "check", "refused")


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One line of a length's error budget (JCGM 100:2008): its standard uncertainty, and the correction
    that was applied for it, both in millimetres; ``shared``: common to all frames, so not averaged down."""

    name: str
    u_mm: float
    correction_mm: float = 0.0
    shared: bool = True
    words: str = ""


@dataclass(frozen=True, slots=True)
class FishLength:
    """The length of one fish in one clip, or why there is none.

    start_s, end_s   where in the clip the fish lies on the board (seconds from its first frame)
    total_length_mm  nose to the tip of the longer lobe, natural tail, straight, along the board
    fork_length_mm   nose to the end of the middle rays; None where that is not seen, and then the reason says so
    low_mm, high_mm  95 % interval of the total length; None when refused
    reason           why it is no plain "measured", has no fork length, or differs from the log; "" else
    measure          the convention in words
    evidence         the picture, relative to the output folder, or None
    """

    clip: str
    start_s: float
    end_s: float
    verdict: str
    reason: str = ""
    board: str = ""
    total_length_mm: float | None = None
    fork_length_mm: float | None = None
    u_mm: float | None = None
    low_mm: float | None = None
    high_mm: float | None = None
    u_fork_mm: float | None = None
    frames_used: int = 0
    measure: str = "total length, natural tail, straight along the board"
    lens_from: str = ""  # "given" | "calibrated" | "solved from the board" | ...
    reprojection_rms_px: float | None = None
    budget: tuple[BudgetLine, ...] = ()
    catch: str = ""
    evidence: Path | None = None

"""How far the scale of a posed frame may be trusted: what its own print says, beyond the covariance.

Thousands of pieces of print shrink a covariance to nothing, but their errors are not independent: what a lens law leaves
out, a rolling shutter, a board that is not flat, move neighbours together. So the misfit is taken in stretches along
the board: the mean misfit of a stretch is what such errors leave in a reading there, however many pieces lie in it.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from reelnotes.measure.lens_model import Floats
from reelnotes.measure.posed import PosedFrame

# Nobody's print, lens law and flatness are better than this, relative (common practice, no source): 0.3 mm in 600.
FLOOR = 5e-4
_STRETCHES = 12  # of the board's length that is in sight
_LEAST = 5  # pieces of print that make a stretch
# Where blur spreads an edge, light and compression move it by some share of the residual: a quarter (no source).
_BLUR_SHARE = 0.25


def doubted(frames: Sequence[PosedFrame], length_mm: float) -> tuple[PosedFrame, ...]:
    """The frames with scale_sigma widened by their stretches' misfit, their blur, and never under FLOOR.

    length_mm: of the board; the misfit counts against two thirds of it, as the length of what is measured.
    """
    return tuple(replace(f, scale_sigma=_sigma(f, length_mm * 2.0 / 3.0)) for f in frames)


def _sigma(frame: PosedFrame, over_mm: float) -> float:
    misfit, mm_per_px = stretch_misfit(frame)
    # A length is the difference of two readings, each off by its own stretch's misfit.
    local = np.sqrt(2.0) * misfit / over_mm
    blur = np.sqrt(2.0) * _BLUR_SHARE * frame.rms_px * mm_per_px / over_mm
    return float(np.sqrt(frame.scale_sigma**2 + local**2 + blur**2 + FLOOR**2))


def stretch_misfit(frame: PosedFrame) -> tuple[float, float]:
    """(misfit, mm per px): standard deviation of the stretches' median misfit along x (mm), and the size of a pixel there.

    Only print that tells where it is along x counts; (0, 0) when too little of it is seen to say.
    """
    seen = frame.observations
    if seen is None or len(seen) < 3 * _LEAST:
        return 0.0, 0.0
    along: Floats = frame.board_to_px(seen.board_mm + np.array([1.0, 0.0])) - frame.board_to_px(seen.board_mm)
    size = np.linalg.norm(along, axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        unit = along / size[:, None]
    told = np.einsum("ni,nij,nj->n", unit, seen.weight, unit) / np.maximum(np.linalg.eigvalsh(seen.weight)[:, 1], 1e-12)
    off = np.einsum("ni,ni->n", seen.px - frame.board_to_px(seen.board_mm), unit) / size
    # Pieces beyond three residuals are strays, not misfit.
    near = np.isfinite(off) & (told > 0.5) & (np.abs(off) * size < 3.0 * max(frame.rms_px, 0.1))
    if near.sum() < 3 * _LEAST:
        return 0.0, 0.0
    x, off, size = seen.board_mm[near, 0], off[near], size[near]
    place = np.minimum((x - x.min()) / max(float(np.ptp(x)), 1e-9) * _STRETCHES, _STRETCHES - 1).astype(int)
    medians = [float(np.median(off[place == k])) for k in range(_STRETCHES) if (place == k).sum() >= _LEAST]
    misfit = float(np.std(medians, ddof=1)) if len(medians) > 2 else 0.0
    return misfit, float(1.0 / np.median(size))

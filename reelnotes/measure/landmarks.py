"""Tail tip, fork and nose in a picture of the board's plane: where their outlines appear, before any correction for height."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import grey_closing
from scipy.special import erf

from reelnotes.measure.board_model import Raster
from reelnotes.measure.tip_fit import TipLaw, fit_law

_ABOUT_MM = 3.5  # to either side of the tip: rows that are asked how wide its lobe is
_DEEPEST = 0.22  # of the length; yellowtail snapper, TL = 9.96 + 1.20 FL, have 0.18 (Garcia et al. 2003; reference FLT-04)
# Judgement, no source: between the rays of a tail the board's own colour may show; such gaps are no broader than this share of
# the tail's breadth, nor does a tail's edge run more steeply than that between neighbouring rows.
_GAP_MM, _GAP = 3.0, 0.08
_ROUGH_MM, _STEEP = 1.0, 4.0
NEEDLE_MM = 0.75  # a lobe ends where it is still this wide: what lies beyond, neither eye nor camera sees

Share = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Tail:
    """The tail's end as it appears on the board's plane, millimetres.

    tip_x, tip_y    the longer lobe's tip, where it is still 0.75 mm wide
    fork_x, fork_y  the end of the middle rays
    tip_fit_mm      root mean square misfit of the lobe's width against its model
    notched         True for a forked tail, False for a straight or rounded one
    fork_seen       False where the tail's edge is torn about the fork: what looks like its end may be a gap
    span_mm         across the tail, lobe to lobe, from low_y to high_y
    lopsided        how much farther one lobe reaches than the other, as a share of the span
    """

    tip_x: float
    tip_y: float
    fork_x: float
    fork_y: float
    tip_fit_mm: float
    notched: bool
    span_mm: float
    lopsided: float
    low_y: float
    high_y: float
    fork_seen: bool = True


def find_tail(share: Share, raster: Raster, blur_px: float) -> Tail | None:
    """Tail tip and fork from the share of fish in a window around the tail's end.

    share    (h, w); rows run across the fish, columns along it, the tail's end to the right
    blur_px  standard deviation of the picture's blur, in raster pixels
    None when the window shows no tail's end.
    """
    edge = trailing_edge(share)
    rows = np.flatnonzero(np.isfinite(edge))
    if len(rows) < 3:
        return None
    tip_row = int(rows[np.argmax(edge[rows])])
    length_px = max(float(raster.x_mm(edge[tip_row])), 60.0) * raster.px_per_mm
    # Farther in, the middle of the tail is not to be seen, dark fish on dark board say: no fork is so deep.
    whole = _without_gaps(edge, rows[edge[rows] > edge[tip_row] - _DEEPEST * length_px], raster.px_per_mm)
    fork_row, fork_u, notched = _fork(edge, whole, tip_row, raster.px_per_mm)
    fork_seen = _in_one_line(edge, whole, fork_row, fork_u, raster.px_per_mm)
    upper, lower = _lobe_rows(edge, rows, tip_row, fork_row, notched)
    # Along a broad end the faint shade of many rows would add up to a needle: only the rows about the tip are asked.
    about = max(4, round(max(_ABOUT_MM * raster.px_per_mm, 3.0 * blur_px)))
    upper, lower = max(upper, tip_row - about), min(lower, tip_row + about)
    fit = _fit_tip(share[upper : lower + 1], edge[tip_row], raster.px_per_mm, blur_px)
    if fit is None:
        return None
    tip_u, misfit = fit
    # The tail's breadth is taken a sixteenth of the length before its end: of a forked tail, from lobe to lobe.
    end = rows[edge[rows] > edge[tip_row] - 0.06 * length_px]
    span = float(end[-1] - end[0] + 1)
    halves = [edge[part].max() for part in (end[end <= fork_row], end[end >= fork_row]) if len(part)]
    lopsided = abs(halves[0] - halves[-1]) / span
    tip, fork, low, high = raster.to_mm(np.array([[tip_u, tip_row], [fork_u, fork_row], [fork_u, end[-1]], [fork_u, end[0]]]))
    return Tail(
        tip[0], tip[1], fork[0], fork[1], misfit, notched, span / raster.px_per_mm, lopsided, low[1], high[1],
        fork_seen,
    )  # fmt: skip


def edge_fades(share: Share) -> float:
    """Columns over which the rear edge fades from a share of 0.8 to 0.2: the median over the rows that reach farthest."""
    firm, half, faint = (trailing_edge(share, level) for level in (0.8, 0.5, 0.2))
    rows = np.isfinite(firm) & np.isfinite(faint) & np.isfinite(half)
    rows &= np.where(rows, half, 0.0) > np.nanmax(half, initial=0.0) - 0.25 * share.shape[1]
    return float(np.median((faint - firm)[rows])) if rows.any() else 0.0


def trailing_edge(share: Share, level: float = 0.5) -> NDArray[np.float64]:
    """For each row the column of the last crossing from fish (share over ``level``) to board; NaN where there is none."""
    w = share.shape[1]
    edge = np.full(len(share), np.nan)
    over = share >= level
    last = w - 1 - over[:, ::-1].argmax(axis=1)
    rows = np.flatnonzero((last < w - 1) & over.any(axis=1))
    u = last[rows]
    inside, beyond = share[rows, u].astype(np.float64), share[rows, u + 1].astype(np.float64)
    edge[rows] = u + (inside - level) / np.maximum(inside - beyond, 1e-6)
    return edge


def _fork(edge: NDArray[np.float64], rows: NDArray[np.intp], tip_row: int, px_per_mm: float) -> tuple[int, float, bool]:
    """The end of the middle rays: the bottom of the notch between the lobes, or the middle of a straight edge."""
    top, bottom = int(rows[0]), int(rows[-1])
    filled = np.interp(np.arange(len(edge)), rows, edge[rows])
    best = (0.0, (top + bottom) // 2)
    # The notch: the row with the greatest drop below the lower of the two lobes beside it.
    left_max = np.maximum.accumulate(filled[top : bottom + 1])
    right_max = np.maximum.accumulate(filled[top : bottom + 1][::-1])[::-1]
    drop = np.minimum(left_max, right_max) - filled[top : bottom + 1]
    k = int(np.argmax(drop))
    best = (float(drop[k]), top + k)
    notched = best[0] > max(2.5, 0.12 * (bottom - top))
    if notched:
        near = slice(max(best[1] - 1, top), min(best[1] + 2, bottom + 1))
        return best[1], float(np.mean(filled[near])), True
    # No notch: the edge at the middle of the tail's breadth, over the rows whose edge lies near the tail's end.
    end = rows[edge[rows] > edge[tip_row] - 0.25 * max(bottom - top, 4)]
    middle = round((end[0] + end[-1]) / 2)
    near = slice(max(middle - 2, top), min(middle + 3, bottom + 1))
    return middle, float(np.median(filled[near])), False


def _gap_rows(rows: NDArray[np.intp], px_per_mm: float) -> int:
    """How many rows a gap between rays may take."""
    return max(round(_GAP_MM * px_per_mm), round(_GAP * float(rows[-1] - rows[0] + 1)), 2)


def _without_gaps(edge: NDArray[np.float64], rows: NDArray[np.intp], px_per_mm: float) -> NDArray[np.intp]:
    """The rows less those whose edge falls back in a narrow gap: between two rays the tail may look like the board.

    A closing (Serra 1982) fills gaps, and the bottom of a notch too, by as much as its sides rise over half a gap: so
    much a row may fall back.
    """
    gap = _gap_rows(rows, px_per_mm)
    filled = np.interp(np.arange(rows[0], rows[-1] + 1), rows, edge[rows])
    closed = grey_closing(filled, size=(2 * (gap // 2) + 1,), mode="nearest")
    apart = np.pad(closed, gap, mode="edge")
    rise = np.maximum(0.5 * (apart[2 * gap :] + apart[: -2 * gap]) - closed, 0.0)
    return rows[(filled > closed - rise - _ROUGH_MM * px_per_mm)[rows - rows[0]]]


def _in_one_line(edge: NDArray[np.float64], rows: NDArray[np.intp], fork_row: int, fork_u: float, px_per_mm: float) -> bool:
    """Whether the tail's edge runs on from row to row about the fork, up to halfway to the lower of the lobes beside it."""
    at = int(np.searchsorted(rows, fork_row))
    lobes = [float(edge[part].max()) for part in (rows[: at + 1], rows[at:]) if len(part)]
    half = fork_u + max(0.5 * (min(lobes) - fork_u), _ROUGH_MM * px_per_mm)
    gap = _gap_rows(rows, px_per_mm)
    for side in (rows[at:], rows[: at + 1][::-1]):
        before, before_u = fork_row, fork_u
        for row in side:
            step = abs(int(row) - before)
            if step > gap or abs(edge[row] - before_u) > max(_GAP_MM * px_per_mm, _STEEP * step):
                return False
            before, before_u = int(row), float(edge[row])
            if before_u > half:
                break
    return True


def _lobe_rows(edge: NDArray[np.float64], rows: NDArray[np.intp], tip_row: int, fork_row: int, notched: bool) -> tuple[int, int]:
    """First and last row that belong to the lobe with the tip, with a little board on either side."""
    spare = 3
    top, bottom = max(int(rows[0]) - spare, 0), min(int(rows[-1]) + spare, len(edge) - 1)
    if not notched:
        return top, bottom
    return (top, fork_row) if tip_row < fork_row else (fork_row, bottom)


def _fit_tip(share: Share, edge_u: float, px_per_mm: float, blur_px: float) -> tuple[float, float] | None:
    """Column where the lobe is NEEDLE_MM wide: its width is taken as a (u0 - u)^p, blurred along u, and fitted.

    share: of fish, on the rows of one lobe. The power p is 1 for a wedge, near 1/2 for a round end, small for one cut
    straight: one law for all tails. Returns (column, misfit in mm) or None when there is too little to fit.
    """
    width_mm = share.sum(axis=0) / px_per_mm
    reach = max(5.0, 6.0 * px_per_mm, 4.0 * blur_px)
    first = max(int(edge_u - reach), 0)
    last = min(int(np.ceil(edge_u + max(4.0, 3 * blur_px))), len(width_mm) - 1)
    while last > edge_u + 2 and width_mm[last] == 0.0:
        last -= 1  # what was cut away beyond the tail says nothing
    if last - first < 6:
        return None
    u, seen = np.arange(first, last + 1), width_mm[first : last + 1].astype(np.float64)
    law = TipLaw(u, blur_px)
    scale = max(float(np.max(seen)), 0.5)
    start = np.array([edge_u + 1.0, scale / reach**0.7, 0.7])
    low = np.array([edge_u - 4 * blur_px - 2, 1e-3, 0.08])
    high = np.array([edge_u + max(6.0, 3 * px_per_mm, 4 * blur_px), 10 * scale, 2.5])
    spread = 0.05 * scale + 0.03 * seen  # small widths matter most: they lie nearest to the tip
    found = fit_law(seen, spread, law, start, low, high)
    end, size, power = found
    back = (NEEDLE_MM / size) ** (1.0 / power)
    tip = end - min(back, reach / 2)  # a law that puts the tip far inside the lobe has not been fitted to a tip
    return float(tip), float(np.sqrt(np.mean((law.widths(found) - seen) ** 2)))


def edge_blur(sigma_px: float, u: NDArray[np.float64]) -> NDArray[np.float64]:
    """A unit step blurred by a Gaussian: 1 far left, 1/2 at 0, 0 far right."""
    return 0.5 * (1.0 - erf(u / (np.sqrt(2.0) * sigma_px)))

"""Whether a tail has more lobes than tails have: then something of its colour, a blotch of blood say, hangs on to it.

A tail ends in two lobes with one notch between them, or in one edge without. A third piece that reaches as far is none of it.
"""

import cv2
import numpy as np
from scipy.signal import find_peaks

from reelnotes.measure.joined import disc
from reelnotes.measure.outline import Outline
from reelnotes.measure.stack import Mask
from reelnotes.measure.tail import TailView

THIRD_LOBE = "the tail's end has a third lobe: a stain may be joined to it"
# All judgement, no source. Between the rays of a tail the board may show, and a fin may be torn by so much:
_RAYS_MM, _SPECK_MM, _TORN_MM, _TORN = 3.0, 1.0, 3.0, 0.01  # the last as a share of the length
_TAIL = 0.2  # of the length: farther in is no tail
_CLEAR = 3.0  # of ``Outline.score``: a tail that stands out less may seem torn where it has the board's colour


def third_lobe(view: TailView, outline: Outline, mask: Mask) -> bool:
    """Whether the end of a tail, seen clearly, has three lobes or more. mask: the fish's piece, on the outline's raster."""
    tip_mm = view.tail.tip_x
    edge_mm = _edge(view, tip_mm)
    if len(edge_mm) < 3:
        return False
    ground = np.full(1, edge_mm.min() - _TAIL * tip_mm)
    _, found = find_peaks(np.concatenate([ground, edge_mm, ground]), prominence=max(_TORN_MM, _TORN * tip_mm))
    if len(found["prominences"]) < 3:
        return False
    columns = np.flatnonzero(mask.any(axis=0))
    behind = slice(int(columns[-1] - 0.15 * len(columns)), int(columns[-1]) + 1)
    seen = outline.score[:, behind][mask[:, behind]]
    return bool(len(seen) and np.median(seen) > _CLEAR)


def _edge(view: TailView, tip_mm: float) -> np.ndarray:
    """How far back each row of the tail reaches, mm along the board, gaps between the rays closed."""
    raster = view.stack.raster
    scale = raster.px_per_mm
    whole = cv2.morphologyEx((view.share > 0.5).astype(np.uint8), cv2.MORPH_CLOSE, disc(_RAYS_MM * scale))
    whole = cv2.morphologyEx(whole, cv2.MORPH_OPEN, disc(_SPECK_MM * scale))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(whole, connectivity=8)
    if count < 2:
        return np.zeros(0)
    tail = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    rows = np.flatnonzero(tail.any(axis=1))
    last = tail.shape[1] - 1 - np.argmax(tail[rows][:, ::-1], axis=1)
    reach = np.asarray(raster.to_mm(np.stack([last, rows], axis=-1).astype(float))[:, 0])
    near = reach > reach.max() - _TAIL * tip_mm
    return np.asarray(np.interp(np.arange(rows[near][0], rows[near][-1] + 1), rows[near], reach[near]))

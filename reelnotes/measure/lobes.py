"""Whether a tail's lobes are a tail's: else something of about its colour, a blotch of blood say, hangs on to it.

A tail ends in two lobes with one notch between them, or in one edge without; a third piece that reaches as far is none of it.
Where one lobe reaches well beyond the other, what is beyond has the colour of the rest.
"""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.signal import find_peaks

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.masks import disc
from reelnotes.measure.outline import Outline
from reelnotes.measure.stack import Mask, greatest
from reelnotes.measure.tail import TailView
from reelnotes.measure.tip_colour import hue_apart
from reelnotes.measure.two_toned import two_toned

THIRD_LOBE = "the tail's end has a third lobe: a stain may be joined to it"
OTHER_LOBE = "the longer lobe ends in another colour: a stain may be joined to it"
OTHER_END = "the tail changes colour across all its breadth before it ends: a shadow, a leaf or a stain may lie on behind it"
# All judgement, no source. Between the rays of a tail the board may show, and a fin may be torn by so much:
_RAYS_MM, _SPECK_MM, _TORN_MM, _TORN = 3.0, 1.0, 3.0, 0.01  # the last as a share of the length
_LETTER_MM, _BESIDE_INK_MM, _INK = 8.0, 2.0, 8.0  # half a gap that a word makes; about each stroke; levels beside the paper's
_TAIL = 0.2  # of the length: farther in is no tail
_CLEAR = 3.0  # of ``Outline.score``: a tail that stands out less may seem torn where it has the board's colour
# On 115 clips of drawn fish, rightly measured, lobes that reach this much farther (of the tail's breadth) have ends within 2
# units (a and b of CIELAB) of the rest; blotches drawn on to a lobe were 12 to 18 away.
_LONGER, _OTHER_COLOUR = 0.12, 7.0
_BEHIND_MM, _BARE = 4.0, 0.05  # about a lobe, and share of fish: the board that it lies on
_LEAST_PX, _REST = 6, (0.02, 0.1)  # what it is held against: so much before the shorter lobe's end, as shares of the length


def odd_lobes(view: TailView, outline: Outline, mask: Mask, model: BoardModel) -> str:
    """What about a tail's lobes casts doubt on its tip; "" for nothing. mask: the fish's piece, on the outline's raster."""
    if third_lobe(view, outline, mask, model):
        return THIRD_LOBE
    if longer_lobe_stands_out(view) > _OTHER_COLOUR:
        return OTHER_LOBE
    return OTHER_END if two_toned(view) else ""


def longer_lobe_stands_out(view: TailView) -> float:
    """How far the hue of what one lobe has beyond the other lies from the tail's (``hue_apart``, in CIELAB units of a and b); 0
    where they reach about as far."""
    raster, tail = view.stack.raster, view.tail
    if tail.lopsided < _LONGER:
        return 0.0
    shorter_mm = tail.tip_x - tail.lopsided * tail.span_mm
    columns = np.stack([np.arange(raster.width_px, dtype=float), np.zeros(raster.width_px)], axis=-1)
    x_mm = np.broadcast_to(raster.to_mm(columns)[:, 0], view.share.shape)
    firm = view.share > 0.8
    beyond = firm & (x_mm > shorter_mm)
    rest = firm & (x_mm < shorter_mm - _REST[0] * tail.tip_x) & (x_mm > shorter_mm - _REST[1] * tail.tip_x)
    if min(beyond.sum(), rest.sum()) < _LEAST_PX:
        return 0.0
    lab = cv2.cvtColor((np.clip(view.stack.image, 0.0, 255.0) / 255.0).astype(np.float32), cv2.COLOR_BGR2LAB)
    near = cv2.dilate(beyond.astype(np.uint8), disc(_BEHIND_MM * raster.px_per_mm)) > 0
    board = near & (view.share < _BARE) & view.stack.seen
    own, here = np.median(lab[rest], axis=0), np.median(lab[beyond], axis=0)
    # Cameras code hue at half the resolution: a thin lobe takes on some of the board's.
    bleeds = np.median(lab[board], axis=0) - own if board.sum() >= _LEAST_PX else np.zeros(3)
    share = float(np.clip((here - own)[1:] @ bleeds[1:] / max(float(bleeds[1:] @ bleeds[1:]), 1e-9), 0.0, 1.0))
    return min(hue_apart(own, here), float(np.hypot(*(here - own - share * bleeds)[1:])))


def third_lobe(view: TailView, outline: Outline, mask: Mask, model: BoardModel) -> bool:
    """Whether the end of a tail, seen clearly, has three lobes or more."""
    tip_mm = view.tail.tip_x
    edge_mm = _edge(view, tip_mm, model)
    if len(edge_mm) < 3:
        return False
    # Of two peaks of the same height, in whole pixels, neither would be seen to stand on the other's slope.
    edge_mm = edge_mm + 1e-6 * np.arange(len(edge_mm))
    ground = np.full(1, edge_mm.min() - _TAIL * tip_mm)
    _, found = find_peaks(np.concatenate([ground, edge_mm, ground]), prominence=max(_TORN_MM, _TORN * tip_mm))
    if len(found["prominences"]) < 3:
        return False
    columns = np.flatnonzero(mask.any(axis=0))
    behind = slice(int(columns[-1] - 0.15 * len(columns)), int(columns[-1]) + 1)
    seen = outline.score[:, behind][mask[:, behind]]
    return bool(len(seen) and np.median(seen) > _CLEAR)


def _edge(view: TailView, tip_mm: float, model: BoardModel) -> np.ndarray:
    """How far back each row of the tail reaches, mm along the board, gaps between the rays closed, and those over letters and
    ticks: between strokes of the print fish and board are hard to tell, and a word under a tail would notch it."""
    raster = view.stack.raster
    scale = raster.px_per_mm
    fish = (view.share > 0.5).astype(np.uint8)
    rays, words = (cv2.morphologyEx(fish, cv2.MORPH_CLOSE, disc(mm * scale)) > 0 for mm in (_RAYS_MM, _LETTER_MM))
    whole = cv2.morphologyEx((rays | (words & _strokes(model, raster))).astype(np.uint8), cv2.MORPH_OPEN, disc(_SPECK_MM * scale))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(whole, connectivity=8)
    if count < 2:
        return np.zeros(0)
    tail = labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    rows = np.flatnonzero(tail.any(axis=1))
    last = tail.shape[1] - 1 - np.argmax(tail[rows][:, ::-1], axis=1)
    reach = np.asarray(raster.to_mm(np.stack([last, rows], axis=-1).astype(float))[:, 0])
    near = reach > reach.max() - _TAIL * tip_mm
    return np.asarray(np.interp(np.arange(rows[near][0], rows[near][-1] + 1), rows[near], reach[near]))


def _strokes(model: BoardModel, raster: Raster) -> NDArray[np.bool_]:
    """(h, w) True where the empty board's picture has strokes of print, and close beside them."""
    picture = model.picture_on(raster).astype(np.float32)
    around = cv2.GaussianBlur(picture, (0, 0), _LETTER_MM / 2 * raster.px_per_mm)
    ink = (greatest(np.abs(picture - around)) > _INK).astype(np.uint8)
    return cv2.dilate(ink, disc(_BESIDE_INK_MM * raster.px_per_mm)) > 0

"""The tail's end, close up: a fine window around it, matched anew, measured on all frames and on parts of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_match import colour_doubt, expect
from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.landmarks import Tail, edge_fades, find_tail, trailing_edge
from reelnotes.measure.matte import mixed, share_of_fish
from reelnotes.measure.outline import Outline
from reelnotes.measure.own_shade import Settled, Sight, settled
from reelnotes.measure.posed import PosedFrame
from reelnotes.measure.rectify import redrawn
from reelnotes.measure.stack import Mask, Picture, Stack, greatest, part_of, stack_frames, summed
from reelnotes.measure.tip_colour import TipColour, board_in_shade, tip_colour, without_pale
from reelnotes.measure.tip_contrast import faintness, levels_apart

_GROUPS = 4
_COLOUR_REACH_PX = 6.0  # how far a fish's colour is carried
_SURELY_FISH, _HALF_TONE, _LEAST_OWN = 0.8, 0.2, 0.02  # judgement, no source, as is the next
_PAST_BEST = 2  # blurs one after the other that fit worse than one before them: more blur fits no better
_THIN_MM = 2.5  # no broader than this, a tail lobe may pass for its own shade
_FLAT_MM, _BESIDE_FORK_MM = 4.0, 25.0  # about the fork, along the board and across
_STRAIGHT_MM, _PATCH_MM = 0.5, 12.0  # as even as an edge of the print, and over so much of it at least
_STEEP_PRINT = 6.0  # levels a millimetre: an edge between two inks that differ by some 15, blurred by a millimetre
_DIM = 8.0  # levels; where the empty board is darker, the picture over it is noise
_REACH_MM, _CUT_SHORT_MM = 20.0, 2.0  # of the window beyond the piece; a tip so near its end is where it cuts the tail
_ABOUT_TIP = 0.01  # of the length
_SIDE_MM = (1.0, 2.5)  # from an edge, where its two sides are compared
_NO_STEP = 20.0  # levels: 13 and less where a tail was cut through, 34 and more where it ends (judgement, no source)
_NO_BOARD = 0.7  # of the tail's distance from the board: 0.85 and more where it was cut through, 0.64 at most in its shade
_LEAST_BLUR_PX = 0.4  # of a frame: no camera is sharper
_PARED, _PARED_DOUBT = 0.04, 0.2  # of the length, that a shadow joined to a tail adds; how much of that stays in doubt: judgement


@dataclass(frozen=True, eq=False)
class TailView:
    """The tail in close-up.

    tail     from all frames, settled between a reading that allows for the fish's own shade and one that does not
    tip_doubt_mm, fork_doubt_mm   how far the fish's own shade leaves them open (``own_shade``)
    shade_mm how far beyond the tip its shade seems tail, and was taken off
    parts    the same from interleaved parts of the frames, for the scatter
    share    (h, w) share of fish on ``stack.raster``
    blur_mm  standard deviation of the picture's blur, measured on the print where there is some
    soft_mm  over how much the tail's rear edge fades, from four fifths fish to one fifth
    colour   how its tip differs from the tail
    cut      share of the rows about the tip that end where something was taken off (``covered``) and the picture goes on alike
    faint    0..1: how little the tip stands out from the board (``tip_contrast``); 0 at a quick look
    """

    tail: Tail
    tip_doubt_mm: float
    fork_doubt_mm: float
    shade_mm: float
    parts: tuple[Tail, ...]
    share: NDArray[np.float32]
    stack: Stack
    blur_mm: float
    soft_mm: float
    colour: TipColour
    cut: float = 0.0
    faint: float = 0.0


def view_tail(
    frames: Sequence[PosedFrame], model: BoardModel, coarse: Raster, outline: Outline, mask: Mask, native_px_per_mm: float,
    *, covered: Mask | None = None, in_parts: bool = True,
) -> TailView | None:  # fmt: skip
    """Look closely at the end of the piece ``mask`` (on the raster ``coarse``); None when it has no tail's end there, or the fish
    goes on beyond the window: then the piece is but a part of it.

    covered   where a hand lies: what is seen there is no fish
    in_parts  False leaves out the scatter: a quick look
    """
    raster = _window(coarse, mask, native_px_per_mm)
    fish = redrawn(mask.astype(np.float32), coarse, raster, border_goes_on=True) > 0.5
    whole = stack_frames(frames, raster)
    picture, blur_px, gain = _expected(whole, model, outline, coarse, fish)
    board, off = model.on_board(raster), np.zeros(fish.shape, bool)
    if covered is not None and covered.any():
        off = redrawn(covered.astype(np.float32), coarse, raster, border_goes_on=True) >= 0.5
        board &= ~off
    doubt = colour_doubt(outline.match, model.picture_on(raster))
    light = (whole.image / np.maximum(picture, _DIM)).astype(np.float32)
    whole = replace(whole, image=_beyond(whole.image, picture, doubt))
    core = _core(fish, raster.px_per_mm)
    mix = mixed(whole.image, picture, fish, core, _COLOUR_REACH_PX)
    both, bare = (_of_the_fish(mix.share(shaded=shaded), fish, whole.seen & board) for shaded in (True, False))
    share = _without_shade(both, whole.image, picture, blur_px, raster.px_per_mm)
    blur_mm = max(blur_px / raster.px_per_mm, _LEAST_BLUR_PX / native_px_per_mm)
    sight = Sight(light, raster, blur_px, blur_mm)
    made = settled(share, bare, sight, closely=in_parts)
    if made is None:
        return None
    colour, pale = tip_colour(share, whole.image, picture, gain, raster, made.tail), None
    nearer = _out_of_shade(share, bare, whole.image, colour, made, sight, closely=in_parts) if colour.in_shade else None
    if nearer is not None:
        pale, (made, share) = colour, nearer
        colour = tip_colour(share, whole.image, picture, gain, raster, made.tail)
    if made.tail.tip_x + made.shade_mm > raster.x_mm(raster.width_px) - _CUT_SHORT_MM:
        return None
    tail = made.tail
    if _along_print(share, picture, made.seems, raster):
        tail = replace(tail, fork_seen=False)
    parts = []
    for part in range(min(_GROUPS, len(frames)) if in_parts else 0):
        image, seen = part_of(whole, part, _GROUPS)
        image = _beyond(image, picture, doubt)
        part_share = share_of_fish(image, picture, fish, core, _COLOUR_REACH_PX)
        part_share = _of_the_fish(part_share, fish, seen & board)
        part_share = _without_shade(part_share, image, picture, blur_px, raster.px_per_mm)
        found = find_tail(part_share if pale is None else _pared(part_share, image, pale), raster, blur_px)
        if found is not None:
            parts.append(found)
    return TailView(
        tail, made.tip_doubt_mm, made.fork_doubt_mm, made.shade_mm, tuple(parts), share, whole, blur_px / raster.px_per_mm,
        edge_fades(both) / raster.px_per_mm, colour, _cut(share, off, tail, whole, picture),
        faintness(share, whole, tail) if in_parts else 0.0,
    )  # fmt: skip


def _out_of_shade(
    share: NDArray[np.float32], bare: NDArray[np.float32], image: Picture, colour: TipColour, made: Settled, sight: Sight,
    *, closely: bool,
) -> tuple[Settled, NDArray[np.float32]] | None:  # fmt: skip
    """The tail's end, and the share of fish, without the shadow that its tip seems to be; None where that leaves no tail, or ends
    it far from there."""
    share = _pared(share, image, colour)
    nearer = settled(share, _pared(bare, image, colour), sight, closely=closely)
    if nearer is None or nearer.tail.tip_x < (1.0 - _PARED) * made.tail.tip_x:
        return None
    doubt = np.hypot(nearer.tip_doubt_mm, _PARED_DOUBT * (made.tail.tip_x - nearer.tail.tip_x))
    return replace(nearer, tip_doubt_mm=float(doubt)), share


def _cut(share: NDArray[np.float32], off: Mask, tail: Tail, whole: Stack, picture: Picture) -> float:
    """Share of the rows about the tip in which the tail ends within two millimetres of what was taken off, and the picture has no
    edge there: what was taken off may be tail.

    Where dark tail meets dark board the edge is faint. There the picture goes on alike only if what lies beyond is about as far
    from the empty board, ``picture``, as the tail itself.
    """
    scale = whole.raster.px_per_mm
    edge, near_px = trailing_edge(share), _ABOUT_TIP * tail.tip_x * scale
    with np.errstate(invalid="ignore"):
        rows = np.flatnonzero(np.abs(edge - whole.raster.column(tail.tip_x)) < near_px)
    reach = max(1, round(2.0 * scale))
    met = []
    for row in rows:
        u, seen = float(edge[row]), whole.image[row]
        inside = seen[max(int(u - _SIDE_MM[1] * scale), 0) : int(u - _SIDE_MM[0] * scale) + 1]
        behind = slice(int(u + _SIDE_MM[0] * scale), int(u + _SIDE_MM[1] * scale) + 1)
        alike = True
        if len(inside) and len(seen[behind]):
            tail_is, beyond, board = (colours.mean(axis=0) for colours in (inside, seen[behind], picture[row, behind]))
            no_board = levels_apart(beyond, board) > _NO_BOARD * levels_apart(tail_is, board)
            alike = no_board and levels_apart(tail_is, beyond) < _NO_STEP
        met.append(bool(off[row, int(u) : int(u) + reach + 1].any() and alike))
    return float(np.mean(met)) if met else 0.0


def _beyond(image: Picture, expected: Picture, doubt: NDArray[np.float32]) -> Picture:
    """The picture with what the inks' doubt explains taken off its difference from the expected."""
    off = image - expected
    size = np.sqrt(summed(off**2) / 3.0)
    left = np.clip(1.0 - doubt / np.maximum(size, 1e-3), 0.0, 1.0)
    return (expected + off * left[..., None]).astype(np.float32)


def _window(coarse: Raster, mask: Mask, native_px_per_mm: float) -> Raster:
    v, u = np.nonzero(mask)
    mm = coarse.to_mm(np.stack([u, v], axis=-1))
    low, high = mm[:, 0].min(), mm[:, 0].max()
    start = high - max(0.28 * (high - low), 30.0)
    rows = mm[mm[:, 0] > start, 1]
    scale = float(np.clip(1.6 * native_px_per_mm, 1.0, 5.0))
    top, bottom = rows.max() + 12.0, rows.min() - 12.0
    return Raster(scale, start, top, int((high + _REACH_MM - start) * scale), int((top - bottom) * scale))


def _expected(whole: Stack, model: BoardModel, outline: Outline, coarse: Raster, fish: Mask) -> tuple[Picture, float, Picture]:
    """The empty board in the window, blurred as the frames are, its light corrected from the board around the tail; that blur's
    standard deviation in pixels; and the light before it was corrected."""
    raster = whole.raster
    light = redrawn(outline.match.gain, coarse, raster, border_goes_on=True)
    sharp = expect(outline.match, model.picture_on(raster), light)
    around = cv2.dilate(fish.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=max(1, round(3 * raster.px_per_mm))) == 0
    board = around & whole.seen & model.on_board(raster)
    best, blur_px, worse = None, 0.7 * raster.px_per_mm, 0
    for sigma in np.array([0.4, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2, 2.8, 3.6]) * max(1.0, raster.px_per_mm / 2):
        trial = cv2.GaussianBlur(sharp, (0, 0), float(sigma))
        trial = trial + _light_left(whole.image - trial, board, 10 * raster.px_per_mm)
        off = (summed(np.abs(whole.image - trial)) / 3.0)[board]
        misfit = float(np.mean(np.minimum(off, 25.0))) if len(off) else 0.0
        worse += 1
        if best is None or misfit < best[0]:
            best, blur_px, worse = (misfit, trial), float(sigma), 0
        if worse == _PAST_BEST:
            break
    assert best is not None
    return best[1].astype(np.float32), blur_px, light


def _light_left(off: Picture, where: Mask, sigma_px: float) -> Picture:
    """What is left of uneven light, smoothed from the board around the fish; stains and drops weigh little."""
    weight = np.where(where, 1.0 / (1.0 + (greatest(np.abs(off)) / 15.0) ** 4), 0.0).astype(np.float32)
    h, w = weight.shape
    step = max(1, int(sigma_px / 4))  # what is smooth over sigma needs few pixels, and large blurs are dear
    size = (max(4, w // step), max(4, h // step))
    small = cv2.resize(np.dstack([off * weight[..., None], weight]), size, interpolation=cv2.INTER_AREA)
    smooth = cv2.resize(cv2.GaussianBlur(small, (0, 0), sigma_px / step), (w, h), interpolation=cv2.INTER_LINEAR)
    return (smooth[..., :3] / (smooth[..., 3:] + 0.02)).astype(np.float32)


def _without_shade(
    share: NDArray[np.float32], image: Picture, expected: Picture, blur_px: float, px_per_mm: float
) -> NDArray[np.float32]:
    """The share without what only looks like a mix of fish and board: board in the fish's shade.

    Along an edge the share falls within the picture's blur. Farther than that from what is fish beyond doubt, a half share
    that the board under less light explains just as well is shade (a dark fish's colour and dark board are too alike for
    ``matte`` to tell them pixel by pixel).
    """
    sure = cv2.morphologyEx((share > _SURELY_FISH).astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    off = cv2.distanceTransform(1 - sure, cv2.DIST_L2, 5)
    shade = board_in_shade(image, expected) & (share < _SURELY_FISH)
    # A thin lobe never shows its own colour in a blurred picture: only what is broader can be told to be shade.
    size = max(2 * round(1.2 * blur_px) + 1, round(_THIN_MM * px_per_mm))
    broad = cv2.morphologyEx((shade & (share > 0.05)).astype(np.uint8), cv2.MORPH_OPEN, np.ones((size, size), np.uint8)) > 0
    return np.where(broad & (off > 2.5 * blur_px + 1.0), 0.0, share).astype(np.float32)


def _pared(share: NDArray[np.float32], image: Picture, colour: TipColour) -> NDArray[np.float32]:
    """The share without what is as pale as the tip, nor what then stands apart and is nowhere surely fish: a stain, say, that is
    not quite so pale."""
    share = without_pale(share, image, colour)
    _, labels = cv2.connectedComponents((share > _HALF_TONE).astype(np.uint8), connectivity=8)
    whole = np.bincount(labels.ravel())
    faint = np.bincount(labels[share > _SURELY_FISH], minlength=len(whole)) < _LEAST_OWN * whole
    faint[0] = False
    around = cv2.dilate(faint[labels].astype(np.uint8), np.ones((3, 3), np.uint8), iterations=3) > 0
    return np.where(around & (share < _SURELY_FISH), 0.0, share).astype(np.float32)


def _along_print(share: NDArray[np.float32], picture: Picture, tail: Tail, raster: Raster) -> bool:
    """Whether the tail's edge about the fork runs along an edge of the print: then it may be a patch of the board whose light
    or colour is not what was expected, between the lobes, and hide the fork."""
    edge = trailing_edge(share)
    u, row = raster.to_px(np.array([[tail.fork_x, tail.fork_y]]))[0]
    with np.errstate(invalid="ignore"):
        near = np.abs(edge - u) < _FLAT_MM * raster.px_per_mm
    near &= np.abs(np.arange(len(edge)) - row) < _BESIDE_FORK_MM * raster.px_per_mm
    rows = np.flatnonzero(near)
    slope = cv2.Sobel(cv2.GaussianBlur(picture, (0, 0), 0.5 * raster.px_per_mm), cv2.CV_32F, 1, 0, scale=0.125)
    steep = np.abs(slope).max(axis=-1) * raster.px_per_mm > _STEEP_PRINT
    at = edge[rows][steep[rows, np.clip(np.round(edge[rows]).astype(int), 0, steep.shape[1] - 1)]]
    straight = np.abs(at - np.median(at)) < _STRAIGHT_MM * raster.px_per_mm if len(at) else at
    return float(straight.sum()) > _PATCH_MM * raster.px_per_mm


def _core(fish: Mask, px_per_mm: float) -> Mask:
    """What lies a millimetre and a half inside the coarse outline: it is fish, and not its own shade on the board."""
    size = 2 * max(1, round(1.5 * px_per_mm)) + 1
    return cv2.erode(fish.astype(np.uint8), np.ones((size, size), np.uint8), borderValue=1) > 0


def _of_the_fish(share: NDArray[np.float32], fish: Mask, where: Mask) -> NDArray[np.float32]:
    """The share of fish in the pieces that hang together with the coarse outline."""
    share = np.where(where, share, 0.0).astype(np.float32, copy=False)
    # Slivers along the print, thinner than any part of a fish that counts, must not carry the outline on.
    closed = cv2.morphologyEx((share > 0.4).astype(np.uint8), cv2.MORPH_CLOSE, np.ones((5, 5), np.uint8))
    solid = cv2.morphologyEx(closed, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    _, labels = cv2.connectedComponents(solid, connectivity=8)
    whole = np.bincount(labels.ravel())
    within = np.bincount(labels[fish], minlength=len(whole))
    keep = (within > 0.5 * whole) & (within >= 12)  # what lies mostly inside the coarse outline; a bright gap may part it
    keep[0] = False
    near = cv2.dilate(keep[labels].astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return np.where(near, share, 0.0).astype(np.float32)

"""The board's print found again in a frame, piece by piece: where is each small patch of the picture, and how surely?

The frame is drawn square on with the pose believed so far. Each patch of the picture that holds print is searched
nearby (normalised correlation), then placed to a fraction of a pixel (Lucas and Kanade 1981, with gain and offset of the
light free). What a patch can tell is its structure tensor: a number fixes both directions, a line only across itself.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.posed import Observations
from reelnotes.measure.rectify import warp

_FLOOR_PX = 0.1  # no patch is trusted better than this, in raster pixels: resampling, compression, printing, rolling shutter
_AT_REST_PX = 0.005  # a patch that moves by less is in its place
_EDGE_ON = 0.01  # a circle on the board seen narrower than this, width to length, tells no place: judgement, no source
# Neighbouring pixels share blur and coding error (about 6 count as one), and neighbouring patches overlap by half (each pixel is
# in four of them): n pixels of a patch count as n / 24.
_CORRELATED = 24.0
# Grey levels of print (standard deviation) of which a camera's noise and coding lose half: a faint grid that is not seen again
# says little against a board whose bars and squares are. Judgement, no source.
_LOST = 12.0


@dataclass(frozen=True, eq=False)
class Template:
    """The picture on a raster, cut into n patches of w x w pixels that hold print.

    centre    (n, 2) raster pixels of the patch centres
    patch     (n, w, w) float32 grey
    views     (n, 3, w * w) float32: the same about its mean, and its slopes along x and along y
    energy    (n,) sum of squares of the first
    pull      (n, 2) sums of products of the first with each slope
    tensor    (n, 2, 2) sums of products of the slopes
    inverse   (n, 2, 2) the tensor's inverse; an edge's free direction is kept at rest
    worth     (n,) how much it says, 0..1, whether a frame shows the patch or not
    """

    raster: Raster
    half: int
    centre: NDArray[np.int64]
    patch: NDArray[np.float32]
    views: NDArray[np.float32]
    energy: NDArray[np.float32]
    pull: NDArray[np.float32]
    tensor: Floats
    inverse: Floats
    worth: Floats


@lru_cache(maxsize=32)
def template(model: BoardModel, px_per_mm: float, blur_px: float) -> Template:
    """Cut the board's picture at one scale into overlapping patches, keeping those with print in them."""
    raster = Raster.over(model.board, px_per_mm)
    grey = cv2.GaussianBlur(model.grey(model.picture_on(raster)), (0, 0), blur_px).astype(np.float32)
    half = int(np.clip(min(raster.width_px, raster.height_px) // 9, 7, 14))
    step = max(half, int(np.sqrt(raster.width_px * raster.height_px / 420)))
    us = np.arange(half + 1, raster.width_px - half - 1, step)
    vs = np.unique(np.linspace(half + 1, raster.height_px - half - 2, max(2, round(raster.height_px / step))).astype(int))
    centre = np.array([(u, v) for v in vs for u in us])
    patch = _windows(grey, centre, half)
    # Print worth a search: a standard deviation of 3 grey levels.
    spread = patch.std(axis=1).astype(np.float64)
    keep = spread > 3.0
    centre, patch, spread = centre[keep], patch[keep], spread[keep]
    slopes = [cv2.Sobel(grey, cv2.CV_32F, *order, scale=1 / 8).astype(np.float32) for order in ((1, 0), (0, 1))]
    flat = patch - patch.mean(axis=1, keepdims=True)
    views = np.stack([flat, *(_windows(slope, centre, half) for slope in slopes)], axis=1)
    products = views @ views.transpose(0, 2, 1)
    tensor = products[:, 1:, 1:].astype(np.float64)
    # A little of the larger eigenvalue keeps an edge's free direction at rest.
    rest = 0.02 * np.trace(tensor, axis1=1, axis2=2) + 1e-6
    inverse = np.linalg.inv(tensor + rest[:, None, None] * np.eye(2))
    return Template(raster, half, centre, patch.reshape(-1, 2 * half + 1, 2 * half + 1), views,
                    np.maximum(products[:, 0, 0], 1e-6), products[:, 0, 1:], tensor, inverse,
                    spread**2 / (spread**2 + _LOST**2))  # fmt: skip


def _windows(picture: NDArray[np.float32], centre: NDArray[np.int64], half: int) -> NDArray[np.float32]:
    """(n, w * w) the picture around each centre; all of it must lie inside."""
    size = 2 * half + 1
    cut = np.lib.stride_tricks.sliding_window_view(picture, (size, size))[centre[:, 1] - half, centre[:, 0] - half]
    return np.asarray(cut.reshape(len(centre), size * size))


@dataclass(frozen=True, eq=False)
class Agreement:
    """What was compared and found: per patch its centre (mm), whether the frame reaches it, its correlation at the
    place found, how far that is from where it was expected (raster pixels), and what it has to say (see Template)."""

    mm: Floats
    seen: NDArray[np.bool_]
    ncc: Floats
    moved_px: Floats
    worth: Floats

    def share(self, of: NDArray[np.bool_], among: NDArray[np.bool_] | None = None) -> float:
        """What the patches ``of`` have to say, as a share of what those ``among`` (all) have; 0 where these say nothing."""
        whole = float(self.worth.sum() if among is None else self.worth[among].sum())
        return float(self.worth[of].sum()) / whole if whole > 0 else 0.0


def match(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, px_per_mm: float,
    *, search_px: int, blur_px: float = 1.0, min_ncc: float = 0.6,
) -> tuple[Observations, Agreement]:  # fmt: skip
    """Find the print of ``model`` in a BGR picture, near where a believed pose puts it."""
    tmpl = template(model, px_per_mm, blur_px)
    drawn, seen = warp(image, lens, R, t, tmpl.raster)
    frame = cv2.GaussianBlur(model.grey(drawn), (0, 0), blur_px).astype(np.float32)
    inside = _all_seen(tmpl, seen)
    start = _searched(tmpl, frame, inside, search_px) if search_px else np.zeros((len(tmpl.centre), 2))
    moved, ncc = _placed(tmpl, frame, inside, start)
    centre_mm = tmpl.raster.to_mm(tmpl.centre.astype(np.float64))
    agreement = Agreement(centre_mm, inside, ncc, np.linalg.norm(moved, axis=1), tmpl.worth)
    good = (ncc > min_ncc) & (np.linalg.norm(moved - start, axis=1) < 2.5)
    return _observed(tmpl, moved, ncc, good, lens, R, t), agreement


def _all_seen(tmpl: Template, seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(n,) whether a frame that reaches the raster's pixels ``seen`` shows all of a patch."""
    if seen.all():
        return np.ones(len(tmpl.centre), bool)
    covered = cv2.boxFilter(seen.astype(np.float32), -1, (2 * tmpl.half + 1,) * 2, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(covered[tmpl.centre[:, 1], tmpl.centre[:, 0]] > 0.999)


def _searched(tmpl: Template, frame: NDArray[np.float32], inside: NDArray[np.bool_], reach: int) -> Floats:
    """Whole-pixel displacement of the best correlation within ``reach``."""
    padded = cv2.copyMakeBorder(frame, reach, reach, reach, reach, cv2.BORDER_REPLICATE)
    best = np.zeros((len(tmpl.centre), 2))
    size = 2 * tmpl.half + 1 + 2 * reach
    for i, (u, v) in zip(np.flatnonzero(inside), (tmpl.centre[inside] - tmpl.half).tolist(), strict=True):
        scores = cv2.matchTemplate(padded[v : v + size, u : u + size], tmpl.patch[i], cv2.TM_CCOEFF_NORMED)
        best[i] = cv2.minMaxLoc(scores)[3]
    best[inside] -= reach
    return best


def _placed(
    tmpl: Template, frame: NDArray[np.float32], inside: NDArray[np.bool_], start: Floats, steps: int = 4
) -> tuple[Floats, Floats]:
    """Lucas-Kanade steps for the patches inside the frame: displacement (raster pixels) and correlation there, -1 outside."""
    d, ncc = start.copy(), np.full(len(start), -1.0)
    room = int(np.abs(start).max(initial=0.0)) + steps + 1  # no patch gets farther
    framed = cv2.copyMakeBorder(frame, room, room, room, room, cv2.BORDER_REPLICATE).astype(np.float32, copy=False)
    moving = np.flatnonzero(inside)
    for step in range(steps + 1):
        if not len(moving):
            break
        cut = _cut(framed, tmpl.centre[moving] + d[moving] + room, tmpl.half)
        cut -= cut.mean(axis=1, keepdims=True)
        products = (tmpl.views[moving] @ cut[:, :, None])[:, :, 0]
        energy = tmpl.energy[moving]
        ncc[moving] = products[:, 0] / np.sqrt(energy * np.maximum(np.einsum("nk,nk->n", cut, cut), 1e-6))
        if step == steps:
            break
        gain = np.maximum(products[:, 0] / energy, 1e-3)
        error = products[:, 1:] / gain[:, None] - tmpl.pull[moving]
        move = (tmpl.inverse[moving] @ error[:, :, None])[:, :, 0]
        d[moving] -= np.clip(move, -1.0, 1.0)
        moving = moving[np.abs(move).max(axis=1) > _AT_REST_PX]
    return d, ncc


def _cut(frame: NDArray[np.float32], at: Floats, half: int) -> NDArray[np.float32]:
    """(n, w * w) the frame around each place, (n, 2) in fractions of a pixel; all of it must lie inside."""
    size = 2 * half + 1
    cut = np.empty((len(at), size, size), np.float32)
    for window, place in zip(cut, at.tolist(), strict=True):
        cv2.getRectSubPix(frame, (size, size), place, window)
    return cut.reshape(len(at), size * size)


def _observed(
    tmpl: Template, moved: Floats, ncc: Floats, good: NDArray[np.bool_], lens: LensModel, R: Floats, t: Floats
) -> Observations:
    """Displacements on the raster -> pixels of the frame, with their weights carried along."""
    kept = np.flatnonzero(good)
    at = tmpl.centre[kept] + moved[kept]
    px = _seen_at(tmpl.raster, at, lens, R, t)
    du, dv = (_seen_at(tmpl.raster, at + e, lens, R, t) - px for e in ([0.25, 0.0], [0.0, 0.25]))
    forth = np.stack([du, dv], axis=-1) / 0.25  # raster pixel -> frame pixel
    broad = _face_on(forth)
    kept, px, back = kept[broad], px[broad], np.linalg.inv(forth[broad])
    c = np.clip(ncc[kept], 0.05, 0.995)
    variance = tmpl.energy[kept] / tmpl.views.shape[2] * (1 - c**2) / c**2
    info = tmpl.tensor[kept] / (_CORRELATED * variance)[:, None, None]
    values, vectors = np.linalg.eigh(info)
    values = 1.0 / (1.0 / np.maximum(values, 1e-6) + _FLOOR_PX**2)
    info = vectors @ (values[:, :, None] * vectors.transpose(0, 2, 1))
    weight = back.transpose(0, 2, 1) @ info @ back
    return Observations(tmpl.raster.to_mm(tmpl.centre[kept].astype(np.float64)), px, weight)


def _face_on(forth: Floats) -> NDArray[np.bool_]:
    """(n,) whether a patch is seen with any breadth: a pose that is far out may put it behind the camera, or edge-on, where no
    displacement on the board can be told from one in the picture."""
    size = np.einsum("nij,nij->n", forth, forth)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.isfinite(size) & (np.abs(np.linalg.det(forth)) > _EDGE_ON * size))


def _seen_at(raster: Raster, uv: Floats, lens: LensModel, R: Floats, t: Floats) -> Floats:
    mm = raster.to_mm(uv)
    return lens.project(np.concatenate([mm, np.zeros((len(mm), 1))], axis=1) @ R.T + t)

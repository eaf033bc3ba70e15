"""The board's print found again in a frame, piece by piece: where is each small patch of the picture, and how surely?

The frame is drawn square on with the pose believed so far. Each patch of the picture that holds print is searched
nearby (normalised correlation), then placed to a fraction of a pixel (Lucas and Kanade 1981, with gain and offset of the
light free). What a patch can tell is its structure tensor: a number fixes both directions, a line only across itself.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.lens_slopes import slopes
from reelnotes.measure.posed import Observations
from reelnotes.measure.rectify import warp

_FLOOR_PX = 0.1  # no patch is trusted better than this, in raster pixels: resampling, compression, printing, rolling shutter
_AT_REST_PX = 0.03  # a patch whose last step was shorter is in its place: each step is some tenth of the one before
_SETTLING, _UNLIKE = 2, 0.3  # a patch less like the print than this after so many steps will not find it
SAME_NCC = 0.6  # a patch agrees with the picture from this correlation on
_SURELY_SAME, _BESIDE_PX = 0.75, 2.0  # stricter, where it says that no search is needed; and within so many pixels: judgement
_CARRIED_PX = 1.0  # poses that put the print this near to each other draw it alike: judgement, no source
_EDGE_ON = 0.01  # a circle on the board seen narrower than this, width to length, tells no place: judgement, no source
# Neighbouring pixels share blur and coding error (about 6 count as one), and neighbouring patches overlap by half (each pixel is
# in four of them): n pixels of a patch count as n / 24.
_CORRELATED = 24.0
# Grey levels of print (standard deviation) of which a camera's noise and coding lose half: a faint grid that is not seen again
# says little against a board whose bars and squares are. Judgement, no source.
_LOST = 12.0

Pose = tuple[LensModel, Floats, Floats]  # lens, R, t


@dataclass(frozen=True, eq=False)
class Template:
    """The picture on a raster, cut into n patches of w x w pixels that hold print.

    centre    (n, 2) raster pixels of the patch centres
    patch     (n, w, w) float32 grey
    views     (n, 3, w * w) float32: grey about its mean, and its slopes along x and along y
    energy    (n,) sum of squares of the first
    pull      (n, 2) sums of products of the first with each slope
    tensor    (n, 2, 2) sums of products of the slopes
    inverse   (n, 2, 2) the tensor's inverse; an edge's free direction is kept at rest
    tells     (n, 2, 2) the tensor as a share of its greater eigenvalue: the unit matrix for a number, across only for a line
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
    tells: Floats
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
    # Print worth a search: a standard deviation of 3 grey levels.
    patch = _windows(grey, centre, half)
    spread = patch.std(axis=1).astype(np.float64)
    keep = spread > 3.0
    centre, patch, spread = centre[keep], patch[keep], spread[keep]
    pictures = [grey, *(cv2.Sobel(grey, cv2.CV_32F, *order, scale=1 / 8).astype(np.float32) for order in ((1, 0), (0, 1)))]
    views = np.stack([_windows(picture, centre, half) for picture in pictures], axis=1)
    views[:, 0] -= views[:, 0].mean(axis=1, keepdims=True)
    products = views @ views.transpose(0, 2, 1)
    tensor = products[:, 1:, 1:].astype(np.float64)
    # A little of the larger eigenvalue keeps an edge's free direction at rest.
    rest = 0.02 * np.trace(tensor, axis1=1, axis2=2) + 1e-6
    inverse = np.linalg.inv(tensor + rest[:, None, None] * np.eye(2))
    return Template(raster, half, centre, patch.reshape(-1, 2 * half + 1, 2 * half + 1), views,
                    np.maximum(products[:, 0, 0], 1e-6), products[:, 0, 1:], tensor, inverse,
                    tensor / np.maximum(np.linalg.eigvalsh(tensor)[:, 1], 1e-6)[:, None, None],
                    spread**2 / (spread**2 + _LOST**2))  # fmt: skip


def _windows(picture: NDArray[np.float32], centre: NDArray[np.int64], half: int) -> NDArray[np.float32]:
    """(n, w * w) the picture around each centre; all of it must lie inside."""
    size = 2 * half + 1
    around = np.lib.stride_tricks.sliding_window_view(picture, (size, size))
    return np.asarray(around[centre[:, 1] - half, centre[:, 0] - half].reshape(len(centre), size * size))


@dataclass(frozen=True, eq=False)
class Agreement:
    """What was compared and found: per patch its centre (mm), whether the frame reaches it, its correlation at the place found,
    how far along and down the raster that is from where it was expected (pixels of it), which of that it can tell and how much
    it has to say (both as in Template)."""

    mm: Floats
    seen: NDArray[np.bool_]
    ncc: Floats
    moved: Floats
    tells: Floats
    worth: Floats

    @property
    def moved_px(self) -> Floats:
        """(n,) how far from where it was expected, as far as the patch tells: a line found farther along itself is in place."""
        return np.asarray(np.sqrt(np.maximum(np.einsum("ni,nij,nj->n", self.moved, self.tells, self.moved), 0.0)))

    @property
    def agrees(self) -> NDArray[np.bool_]:
        """(n,) whether the picture is like the print, within a pixel of its place."""
        return np.asarray(self.seen & (self.ncc > SAME_NCC) & (self.moved_px < 1.0))

    def share(self, of: NDArray[np.bool_], among: NDArray[np.bool_] | None = None) -> float:
        """What the patches ``of`` have to say, as a share of what those ``among`` (all) have; 0 where these say nothing."""
        whole = float(self.worth.sum() if among is None else self.worth[among].sum())
        return float(self.worth[of].sum()) / whole if whole > 0 else 0.0


def match(
    image: NDArray[np.uint8], model: BoardModel, lens: LensModel, R: Floats, t: Floats, px_per_mm: float,
    *, search_px: int, blur_px: float = 1.0, min_ncc: float = 0.6, near: bool = False,
) -> tuple[Observations, Agreement]:  # fmt: skip
    """Find the print of ``model`` in a BGR picture, near where a believed pose puts it.

    near: the pose is likely right to a pixel or two. Where half of the print is found there without a search, the rest is hidden,
    and a search would find what is like it only.
    """
    tmpl = template(model, px_per_mm, blur_px)
    drawn, seen = warp(image, lens, R, t, tmpl.raster)
    frame = cv2.GaussianBlur(model.grey(drawn), (0, 0), blur_px).astype(np.float32)
    inside = _all_seen(tmpl, seen)
    start = np.zeros((len(tmpl.centre), 2))
    found = _placed(tmpl, frame, inside, start) if near or not search_px else None
    if found is None or (search_px and not _in_place(tmpl, inside, *found)):
        start = _searched(tmpl, frame, inside, search_px)
        found = _placed(tmpl, frame, inside, start)
    moved, ncc = found
    centre_mm = tmpl.raster.to_mm(tmpl.centre.astype(np.float64))
    good = (ncc > min_ncc) & (np.linalg.norm(moved - start, axis=1) < 2.5)
    return _observed(tmpl, moved, ncc, good, lens, R, t), Agreement(centre_mm, inside, ncc, moved, tmpl.tells, tmpl.worth)


def _in_place(tmpl: Template, inside: NDArray[np.bool_], moved: Floats, ncc: Floats) -> bool:
    """Whether half of the print in the frame is found where it was expected, or beside it."""
    here = inside & (ncc > _SURELY_SAME) & (np.abs(moved).max(axis=1) < _BESIDE_PX)
    return float(tmpl.worth[here].sum()) > 0.5 * float(tmpl.worth[inside].sum())


def carried(
    model: BoardModel, px_per_mm: float, agreement: Agreement, was: Pose, now: Pose, blur_px: float = 1.0
) -> Agreement | None:
    """What was found with one pose, as expected from another; None where the two differ by so much that it has to be looked for
    again. px_per_mm, blur_px: as it was looked for; a pose: lens, R and t."""
    raster = template(model, px_per_mm, blur_px).raster
    here, forth = _on_raster(raster, agreement.mm, *was)
    there, _ = _on_raster(raster, agreement.mm, *now)
    broad = _face_on(forth) & np.isfinite(here).all(axis=1) & np.isfinite(there).all(axis=1)
    if not broad[agreement.seen].all():
        return None
    by = np.zeros_like(here)
    by[broad] = (_inverted(forth[broad]) @ (there - here)[broad][:, :, None])[:, :, 0]
    if np.abs(by[agreement.seen]).max(initial=0.0) > _CARRIED_PX:
        return None
    return replace(agreement, moved=agreement.moved - by)


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
    """Lucas-Kanade steps for the patches inside the frame: displacement (raster pixels) and correlation there, -1 outside.

    start  (n, 2) whole pixels
    """
    d, ncc = start.copy(), np.full(len(start), -1.0)
    room = int(np.abs(start).max(initial=0.0)) + steps + 2  # no patch gets farther
    framed = cv2.copyMakeBorder(frame, room, room, room, room, cv2.BORDER_REPLICATE).astype(np.float32, copy=False)
    moving = np.flatnonzero(inside)
    for step in range(steps + 1):
        if not len(moving):
            break
        at = tmpl.centre[moving] + d[moving] + room
        cut = _cut(framed, at, tmpl.half) if step else _windows(framed, at.astype(np.int64), tmpl.half)
        cut -= cut.mean(axis=1, keepdims=True)
        products = np.matmul(tmpl.views[moving], cut[:, :, None])[:, :, 0]
        energy = tmpl.energy[moving]
        now = products[:, 0] / np.sqrt(energy * np.maximum(np.einsum("nk,nk->n", cut, cut), 1e-6))
        ncc[moving] = now
        if step == steps:
            break
        gain = np.maximum(products[:, 0] / energy, 1e-3)
        error = products[:, 1:] / gain[:, None] - tmpl.pull[moving]
        move = (tmpl.inverse[moving] @ error[:, :, None])[:, :, 0]
        d[moving] -= np.clip(move, -1.0, 1.0)
        going = np.abs(move).max(axis=1) > _AT_REST_PX
        if step >= _SETTLING:
            going &= now > _UNLIKE
        moving = moving[going]
    return d, ncc


def _cut(frame: NDArray[np.float32], at: Floats, half: int) -> NDArray[np.float32]:
    """(n, w * w) as :func:`_windows`, around places in fractions of a pixel, (n, 2)."""
    whole: NDArray[np.int64] = np.floor(at).astype(np.int64)
    part = (at - whole).astype(np.float32)
    across, down = part[:, :1], part[:, 1:]
    made = _windows(frame, whole, half) * ((1 - across) * (1 - down))
    for step, share in (((1, 0), across * (1 - down)), ((0, 1), (1 - across) * down), ((1, 1), across * down)):
        made += _windows(frame, whole + np.array(step), half) * share
    return made


def _observed(
    tmpl: Template, moved: Floats, ncc: Floats, good: NDArray[np.bool_], lens: LensModel, R: Floats, t: Floats
) -> Observations:
    """Displacements on the raster -> pixels of the frame, with their weights carried along."""
    kept = np.flatnonzero(good)
    px, forth = _on_raster(tmpl.raster, tmpl.raster.to_mm(tmpl.centre[kept] + moved[kept]), lens, R, t)
    broad = _face_on(forth) & np.isfinite(px).all(axis=1)
    kept, px, back = kept[broad], px[broad], _inverted(forth[broad])
    c = np.clip(ncc[kept], 0.05, 0.995)
    variance = tmpl.energy[kept] / tmpl.views.shape[2] * (1 - c**2) / c**2
    info = tmpl.tensor[kept] / (_CORRELATED * variance)[:, None, None] + 1e-6 * np.eye(2)
    info = info @ _inverted(np.eye(2) + _FLOOR_PX**2 * info)  # with the floor's variance added along both axes
    weight = back.transpose(0, 2, 1) @ info @ back
    return Observations(tmpl.raster.to_mm(tmpl.centre[kept].astype(np.float64)), px, weight)


def _on_raster(raster: Raster, mm: Floats, lens: LensModel, R: Floats, t: Floats) -> tuple[Floats, Floats]:
    """Frame pixels (n, 2) of board places, and those (n, 2, 2) that a pixel of the raster along and down spans there."""
    at = slopes(lens, R[:, :2] @ mm.T + t[:, None], radial=0)
    # One raster pixel along is 1 / px_per_mm along x, one down is as much along -y.
    return at.px.T, at.to_point.transpose(2, 1, 0) @ (R[:, :2] * (np.array([1.0, -1.0]) / raster.px_per_mm))


def _inverted(m: Floats) -> Floats:
    """(n, 2, 2) inverses, written out: many tiny matrices are dear one by one."""
    a, b, c, d = m[:, 0, 0], m[:, 0, 1], m[:, 1, 0], m[:, 1, 1]
    return np.stack([np.stack([d, -b], axis=-1), np.stack([-c, a], axis=-1)], axis=1) / (a * d - b * c)[:, None, None]


def _face_on(forth: Floats) -> NDArray[np.bool_]:
    """(n,) whether a patch is seen with any breadth: a pose that is far out may put it behind the camera, or edge-on, where no
    displacement on the board can be told from one in the picture."""
    size = np.einsum("nij,nij->n", forth, forth)
    with np.errstate(invalid="ignore"):
        turned = forth[:, 0, 0] * forth[:, 1, 1] - forth[:, 0, 1] * forth[:, 1, 0]
        return np.asarray(np.isfinite(size) & (np.abs(turned) > _EDGE_ON * size))

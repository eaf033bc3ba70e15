"""The fish's own shade at a broad end of its tail: where, in the dark rim beyond it, does the tail end?

A tail lies a few millimetres high, and the board behind it lies in its shade. Against a tail that is pale, or of the board's
hue, that strip passes for tail, and no pixel alone can tell: a grey rim may be either. The rim's course can. Going out along the
board, the light (the picture over the empty board's) is the tail's own; at one step, as sharp as the picture is, it becomes
the shade's; and from there it rises to the board's own light, over a way that is not known beforehand: the shade may be as sharp
as a cast shadow's or as soft as the sky's. A dark margin of the tail itself is the other way round: it ends as sharply as the
picture is, and sets in as it likes. All such courses on a grid are fitted (linear least squares for what is linear in
them), and the step's place is the mean of all, weighted by their likelihood. Where the shade is just as dark as the tail, or is
as sharp as a margin, many places are as likely, and the spread says so.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from reelnotes.measure.board_model import Raster
from reelnotes.measure.landmarks import Share, Tail, find_tail, trailing_edge
from reelnotes.measure.stack import Picture
from reelnotes.records.estimates import Estimate

Floats = NDArray[np.float64]
_NONE = Estimate(0.0, 0.0, "own shade: none")
# All judgement, no source, in millimetres unless said.
_OUT = np.arange(-7.0, 5.01, 0.5)  # places along a course, from inside the tail outwards
_STEPS = np.arange(-5.0, 0.51, 0.25)  # where the step may lie
_LIKELY = 1.5  # standard deviation of that beforehand: tails lie 1 to 4 mm high, and the sun is seldom low
_SOFTNESS, _REACH = (0.3, 1.0, 2.0, 4.0), (0.0, 1.0, 2.0, 3.0, 4.5)  # of the shade's outer edge, and how far out that lies
_BLURS = (1.0, 1.4)  # times the picture's blur as measured
_DARKEST = 0.6  # share of the light that shade takes at most: what is darker is a fish's dark margin
_ABOUT, _WIDELY, _NEAR = 6.0, 10.0, 3.0  # rows so far from the tip or the fork (or for its breadth), that end so little before it
_LEAST_BROAD, _BROAD = 7.0, 9.0  # between these an end passes from pointed to broad
_FLOOR, _ROWS_ALIKE = 0.02, 4.0  # of the light, by which courses differ anyhow; so many neighbouring rows tell the same
_INDEPENDENT = 0.25  # share of a course's samples that tell something of their own
_MARGIN_SOFT, _MARGIN = (0.5, 1.5, 3.0), (1.0, 2.0, 3.0, 4.5)  # of a tail's dark margin: its inner edge, and its breadth
_SLOPES_MM = 4.0  # over so much the tail's light may slope
_HOLDS = np.array([1e3, 0.03, 0.02, 0.3, 0.03, 0.5])  # prior spread of the unknowns (see _Kind), in shares of the light


@dataclass(frozen=True, eq=False)
class Sight:
    """What the tail's end is seen in.

    light    (h, w, 3) the picture over what the empty board would show
    blur_px  standard deviation of the picture's blur, in the raster's pixels
    blur_mm  the same in millimetres, never less than a camera's
    """

    light: Picture
    raster: Raster
    blur_px: float
    blur_mm: float


@dataclass(frozen=True, slots=True)
class Settled:
    """The tail, by how much (mm) its own shade leaves tip and fork open, and how far beyond the tip that shade seems tail.

    seems  the tail where shade is allowed for but not told from it by the course of the light
    """

    tail: Tail
    seems: Tail
    tip_doubt_mm: float
    fork_doubt_mm: float
    shade_mm: float


def settled(shaded: Share, bare: Share, sight: Sight, *, closely: bool) -> Settled | None:
    """The tail with its own shade taken off; None where there is no tail's end.

    shaded, bare  (h, w) share of fish when shade is allowed for, and when all that is darker than the board counts as fish
    closely       False leaves the step in the light alone: a quick look

    A pointed tip blurs into half-tones as shade does: it lies midway between the two readings. A broad end shows its own
    colour, and the first reading holds. There, and at the fork, the light along the board tells where the tail ends.
    """
    tail, other = (find_tail(share, sight.raster, sight.blur_px) for share in (shaded, bare))
    if tail is None:
        return None
    ends_broad = _broad(bare, other, sight.raster) if other is not None else 1.0
    tip, fork = tail.tip_x, tail.fork_x
    tip_apart, fork_apart = (0.5 * (other.tip_x - tip), 0.5 * (other.fork_x - fork)) if other is not None else (0.0, 0.0)
    at_tip, at_fork = _NONE, _NONE
    if closely:
        edge = trailing_edge(shaded)
        at_tip = _step_at((tip, tail.tip_y), edge, sight) if ends_broad > 0.0 else _NONE
        at_fork = _step_at((fork, tail.fork_y), edge, sight)
    shade_mm = -ends_broad * at_tip.value
    tip += (1.0 - ends_broad) * tip_apart - shade_mm
    tip_doubt, fork_doubt = np.hypot(tip_apart, ends_broad * at_tip.sigma), np.hypot(fork_apart, at_fork.sigma)
    return Settled(replace(tail, tip_x=tip, fork_x=fork + at_fork.value), tail, float(tip_doubt), float(fork_doubt), shade_mm)


def _broad(share: Share, tail: Tail, raster: Raster) -> float:
    """0 for a pointed end, 1 for one so broad near its tip that it shows its own colour, and its shade is a strip of its own."""
    near = _rows_near((tail.tip_x, tail.tip_y), trailing_edge(share), raster, _WIDELY)
    breadth = len(near) / raster.px_per_mm
    return float(np.clip((breadth - _LEAST_BROAD) / (_BROAD - _LEAST_BROAD), 0.0, 1.0))


def _rows_near(place: tuple[float, float], edge: Floats, raster: Raster, about_mm: float) -> NDArray[np.intp]:
    """The rows within ``about_mm`` of a place (x, y mm) whose trailing edge ends little before it, or beyond."""
    u, row = raster.to_px(np.array([place]))[0]
    with np.errstate(invalid="ignore"):
        near = edge > u - _NEAR * raster.px_per_mm
    return np.flatnonzero(near & (np.abs(np.arange(len(edge)) - row) <= about_mm * raster.px_per_mm))


def _step_at(place: tuple[float, float], edge: Floats, sight: Sight) -> Estimate:
    """How far behind its apparent trailing edge the tail truly ends (mm, none or negative) about a place x, y on the board.

    edge  (h,) column of each row's apparent trailing edge, NaN for none
    """
    near = _rows_near(place, edge, sight.raster, _ABOUT)
    if len(near) < 2:
        return _NONE
    light, columns = sight.light, np.arange(sight.light.shape[1])
    at = [edge[i] + _OUT * sight.raster.px_per_mm for i in near]
    courses = np.array([[np.interp(u, columns, light[i, :, c]) for c in range(3)] for i, u in zip(near, at, strict=True)])
    course = np.median(courses, axis=0)
    spread = 1.4826 * np.median(np.abs(courses - course), axis=0) / np.sqrt(max(len(near) / _ROWS_ALIKE, 1.0))
    return _step(course, np.hypot(_FLOOR, spread), sight.blur_mm)


def _step(course: Floats, spread: Floats, blur_mm: float) -> Estimate:
    """The step's place in one course (3, samples) of light, and its standard uncertainty."""
    seen = ((course - 1.0) / spread).ravel()
    places, misfits, before = [], [], []
    for kind in _kinds(round(blur_mm, 2)):
        found, misfit = _fitted(kind.terms / spread.ravel()[None, :, None], seen, kind.holds)
        may_be = (found[:, -1] >= 0.0) & (found[:, -1] <= _DARKEST) if kind.shade else np.ones(len(found), bool)
        places.append(kind.place[may_be])
        misfits.append(_INDEPENDENT * misfit[may_be])
        before.append(np.full(may_be.sum(), 1.0 / len(found)))  # each kind is as likely beforehand
    place, misfit = np.concatenate(places), np.concatenate(misfits)
    scale = max(1.0, float(misfit.min()) / (_INDEPENDENT * seen.size))  # where none fits, little speaks for the best
    weight = np.concatenate(before) * np.exp(-0.5 * (misfit - misfit.min()) / scale - 0.5 * (place / _LIKELY) ** 2)
    weight /= weight.sum()
    mean = float(weight @ place)
    return Estimate(min(mean, 0.0), float(np.sqrt(weight @ (place - mean) ** 2)), "own shade: course of the light")


def _fitted(terms: Floats, seen: Floats, holds: Floats) -> tuple[Floats, Floats]:
    """(courses, unknowns) least squares under a normal prior, and each course's sum of squares."""
    turned = terms.transpose(0, 2, 1)
    found = np.linalg.solve(turned @ terms + np.diag(holds**-2.0), turned @ seen[:, None])[..., 0]
    left = (terms @ found[..., None])[..., 0] - seen
    return np.asarray(found, np.float64), np.asarray((left**2).sum(axis=1) + ((found / holds) ** 2).sum(axis=1), np.float64)


@dataclass(frozen=True, eq=False)
class _Kind:
    """Courses of one kind: (courses, 3 * samples, unknowns) terms, (courses,) the step's place, (unknowns,) their prior spread.

    The unknowns, each for the three channels: the tail's light less the board's, its slope a millimetre, an error of the board's
    light; then how much the tail's margin differs, or how much each channel differs in the shade, and last the shade itself:
    shade has the board's hue, a margin any.
    """

    terms: Floats
    place: Floats
    holds: Floats
    shade: bool = False


@lru_cache(maxsize=4)
def _kinds(blur_mm: float) -> tuple[_Kind, ...]:
    """A tail without shade to be seen; one with a margin of its own; one with a strip of its shade behind it."""
    place, blur = (v[:, None] for v in np.array(list(product(_STEPS, _BLURS))).T)
    plain = _plain(place, blur * blur_mm)
    place, blur, soft, wide = (v[:, None] for v in np.array(list(product(_STEPS, _BLURS, _MARGIN_SOFT, _MARGIN))).T)
    tail = ndtr((place - _OUT) / (blur * blur_mm))
    margin = tail * ndtr((_OUT - place + wide) / np.hypot(soft, blur * blur_mm))
    edged = [*_plain(place, blur * blur_mm), *_channels(margin)]
    edged_place = place[:, 0]
    place, blur, soft, reach = (v[:, None] for v in np.array(list(product(_STEPS, _BLURS, _SOFTNESS, _REACH))).T)
    tail = ndtr((place - _OUT) / (blur * blur_mm))
    shade = -ndtr((place + reach - _OUT) / np.hypot(soft, blur * blur_mm)) * (1.0 - tail)
    shaded = [*_plain(place, blur * blur_mm), *_channels(shade), np.concatenate([shade] * 3, axis=1)]
    return (
        _Kind(np.stack(plain, axis=-1), np.repeat(_STEPS, len(_BLURS)), np.repeat(_HOLDS[:3], 3)),
        _Kind(np.stack(edged, axis=-1), edged_place, np.repeat(_HOLDS[:4], 3)),
        _Kind(np.stack(shaded, axis=-1), place[:, 0], np.append(np.repeat(_HOLDS[[0, 1, 2, 4]], 3), _HOLDS[5]), shade=True),
    )


def _plain(place: Floats, blur_mm: Floats) -> list[Floats]:
    """Terms (courses, 3 * samples) of a tail that ends at a place, against a board whose light may be off."""
    tail = ndtr((place - _OUT) / blur_mm)
    return [*_channels(tail), *_channels(tail * np.clip(_OUT - place, -_SLOPES_MM, 0.0)), *_channels(1.0 - tail)]


def _channels(course: Floats) -> list[Floats]:
    """The same course in one channel, none in the others; for each of the three."""
    return [np.concatenate([course if c == k else np.zeros_like(course) for c in range(3)], axis=1) for k in range(3)]

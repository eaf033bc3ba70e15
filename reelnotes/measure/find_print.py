"""A board found by its own print: where could the picture lie in this frame?

Features (SIFT, Lowe 2004) of the picture and of the frame are paired without insisting that a pair be unique: bars,
ticks and numbers repeat, and the truth is in what *all* pairs agree on. Each pair proposes a similarity (place, size,
turn); the proposals vote for each other (a Hough transform in spirit, Ballard 1981), the best few are turned into poses
by RANSAC in the plane of undistorted rays, and the print itself judges them later.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.posed import Observations

_DOUBLE = 0.92  # two features of the picture this alike cannot be told apart in a frame
_NEIGHBOURS = 3  # pairs kept per feature of the frame
_MAX_PAIRS = 3000
_PROPOSERS = 400


@dataclass(frozen=True, eq=False)
class Features:
    """SIFT features: places (pixels, or board millimetres), sizes, directions (rad), unit root descriptors.

    worth: 1 for a feature that is like no other on the board, less the more doubles it has.
    """

    at: Floats
    size: Floats
    angle: Floats
    descriptor: NDArray[np.float32]
    worth: Floats


@dataclass(frozen=True, eq=False)
class Proposal:
    """A pose that the features propose.

    support: distinct features of the picture that agree; gathered, spread: and that agree once they are looked for on all of the
    board, and the share of its length over which these lie; squares: fiducial squares, each known by its number, that do;
    lens: what they say of the lens, where they do; corners: (4, 2) undistorted rays (x/z, y/z) of the outline that proposed it,
    in the order of BoardModel.corners_mm; held: these as observations, where only they keep the board from turning about the edge
    that holds its print
    """

    model: BoardModel
    R: Floats
    t: Floats
    support: int
    squares: int = 0
    lens: LensModel | None = None
    corners: Floats | None = None
    held: Observations | None = None
    gathered: int = 0
    spread: float = 0.0


def features(grey: NDArray[np.uint8], limit: int, within: NDArray[np.uint8] | None = None) -> Features:
    """SIFT features of a grey picture, as root-SIFT (Arandjelovic and Zisserman 2012).

    within: (h, w), 0 where none are wanted
    """
    sift = cv2.SIFT_create(nfeatures=limit, contrastThreshold=0.02)  # type: ignore[attr-defined]
    points, found = sift.detectAndCompute(grey, within)
    if found is None or not points:
        return Features(np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros((0, 128), np.float32), np.zeros(0))
    root = np.sqrt(found / np.maximum(found.sum(axis=1, keepdims=True), 1e-6)).astype(np.float32)
    return Features(
        np.array([p.pt for p in points], np.float64),
        np.array([p.size for p in points]),
        np.radians([p.angle for p in points]),
        root,
        np.ones(len(points)),
    )


@lru_cache(maxsize=16)
def board_features(model: BoardModel) -> Features:
    """The picture's own features, in millimetres (y up, so directions turn the other way)."""
    board = model.board
    scale = min(1000.0 / board.length_mm, model.px_per_mm)
    raster = Raster.over(board, scale)
    grey = model.grey_bytes(model.picture_on(raster))
    f = features(grey, 1500)
    at = raster.to_mm(f.at)
    apart = np.linalg.norm(at[:, None] - at[None], axis=2) > 0.01 * board.length_mm
    doubles = ((f.descriptor @ f.descriptor.T > _DOUBLE) & apart).sum(axis=1)
    return Features(at, f.size / scale, f.angle, f.descriptor, 1.0 / (1.0 + doubles))


def ink_of(model: BoardModel) -> tuple[float, ...]:
    """Boards of much the same ink share a frame's features."""
    return tuple(np.round(5 * model.ink) / 5)


def features_by_ink(
    image: NDArray[np.uint8], models: Sequence[BoardModel], within: NDArray[np.uint8] | None = None
) -> dict[tuple[float, ...], Features]:
    """Features of a BGR picture as each ink of the boards (:func:`ink_of`) shows them. within: (h, w), 0 where none are wanted"""
    by_ink: dict[tuple[float, ...], Features] = {}
    for model in models:
        ink = ink_of(model)
        if ink not in by_ink:
            by_ink[ink] = features(model.grey_bytes(image), 2000, within)
    return by_ink


def propose(
    by_ink: Mapping[tuple[float, ...], Features], models: Sequence[BoardModel], lens: LensModel, limit: int = 3
) -> list[Proposal]:
    """The best few poses of each board's picture, best first; empty when nothing agrees. by_ink: as :func:`features_by_ink`"""
    found = [p for model in models for p in propose_from(by_ink[ink_of(model)], model, lens, limit)]
    return sorted(found, key=lambda p: -p.support)


def propose_from(frame: Features, model: BoardModel, lens: LensModel, limit: int = 3) -> list[Proposal]:
    """As :func:`propose`, from features already at hand."""
    mine = board_features(model)
    if len(frame.at) < 8 or len(mine.at) < 8:
        return []
    i, j = _pairs(frame, mine)
    if len(i) < 6:
        return []
    rays = lens.unproject(frame.at)
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = rays[:, :2] / rays[:, 2:]
    finite = np.asarray(np.isfinite(flat).all(axis=1))
    usable = finite[i] & (rays[i, 2] > 0.2)
    i, j = i[usable], j[usable]
    votes, first = _votes(frame, mine, i, j)
    # Unique figures decide where there are any; where a board is all bars, their number must do.
    found: list[Proposal] = []
    supported, kinds = _by_feature(votes, j)
    for worth, least in ((mine.worth, 2.5), (np.ones(len(mine.at)), 8.0)):
        scores = supported @ worth[kinds]  # of the distinct features of the picture that vote for each
        for _ in range(limit):
            best = int(scores.argmax())
            if scores[best] < least:
                break
            members = np.flatnonzero(votes[best])
            scores[votes[:, members].sum(axis=1) > 0.3 * votes.sum(axis=1)] = 0.0
            anchor = int(np.flatnonzero(members == first[best])[0])
            made = _pose(mine.at[j[members]], flat[i[members]], mine.worth[j[members]], j[members], anchor, model, lens)
            if made is not None:
                found.append(made)
    return sorted(found, key=lambda p: -p.support)


def _pairs(frame: Features, mine: Features) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Each frame feature with its nearest few of the picture; the closest pairs only."""
    similar = frame.descriptor @ mine.descriptor.T
    k = min(_NEIGHBOURS, similar.shape[1] - 1)
    near = np.argpartition(-similar, k, axis=1)[:, :k]
    value = np.take_along_axis(similar, near, axis=1)
    i = np.repeat(np.arange(len(frame.at)), k)
    j, value = near.ravel(), value.ravel()
    keep = value > 0.80
    i, j, value = i[keep], j[keep], value[keep]
    order = np.argsort(-value)[:_MAX_PAIRS]
    return i[order], j[order]


def _votes(
    frame: Features, mine: Features, i: NDArray[np.int64], j: NDArray[np.int64]
) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """(p, n) True where pair b agrees with the similarity that pair a proposes, and which propose: the least ambiguous.

    Perspective and distortion bend a similarity: the tolerance grows with the distance between the two.
    """
    first = np.argsort(-mine.worth[j], kind="stable")[:_PROPOSERS]
    log_scale = np.log(frame.size[i] / mine.size[j]).astype(np.float32)
    # Board y runs up, pixels run down: a board direction a (measured in its raster) appears at a + turn.
    turn = (frame.angle[i] - mine.angle[j]).astype(np.float32)
    scale = np.exp(log_scale)
    flip = (mine.at[j] * np.array([1.0, -1.0])).astype(np.float32)
    seen = frame.at[i].astype(np.float32)
    ahead = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    votes = (np.abs(log_scale[first, None] - log_scale) < 0.6) & (ahead[first] @ ahead.T > np.cos(np.float32(0.45)))
    row, b = np.nonzero(votes)
    a = first[row]
    across, down = (flip[b] - flip[a]).T
    cos, sin = (ahead * scale[:, None])[a].T
    off_x = cos * across - sin * down + seen[a, 0] - seen[b, 0]
    off_y = sin * across + cos * down + seen[a, 1] - seen[b, 1]
    far = np.sqrt(across * across + down * down) * scale[a]
    votes[row, b] = np.sqrt(off_x * off_x + off_y * off_y) < 6.0 + 0.25 * far
    return votes, first


def _by_feature(votes: NDArray[np.bool_], j: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
    """(p, k) 1 where any pair of a picture's feature votes for the row, and the k features that pairs have."""
    order = np.argsort(j, kind="stable")
    kinds, starts = np.unique(j[order], return_index=True)
    return np.logical_or.reduceat(votes[:, order], starts, axis=1).astype(np.float64), kinds


def _pose(
    mm: Floats, flat: Floats, worth: Floats, feature: NDArray[np.int64], anchor: int, model: BoardModel, lens: LensModel
) -> Proposal | None:
    """From the pairs that agree with one similarity to a homography: grown outward from the proposing pair.

    Near the proposer its similarity is nearly right; each round fits an affinity, then a homography, to what agrees so far
    and asks for better agreement. A RANSAC over pairs of which most are doubles of each other would find any of them.
    """
    if len(np.unique(feature)) < 5:
        return None
    far = np.linalg.norm(mm - mm[anchor], axis=1)
    size = model.board.length_mm
    scale = _scale_of(mm, flat)
    if not scale > 0:
        return None
    predicted: Floats | None = None
    off = np.zeros(len(mm))
    for round_, share in enumerate((0.25, 0.18, 0.12, 0.08, 0.05, 0.03, 0.02, 0.015)):
        tolerance = 3.0 / lens.fx + share * scale * np.minimum(far + 0.1 * size, 0.5 * size)
        # To start with all members agree by vote; what lies near the proposer counts more.
        near = 1.0 / (1.0 + (far / (0.25 * size)) ** 2)
        soft = near if predicted is None else np.clip(1 - (off / tolerance) ** 2, 0, None) ** 2
        weight = soft * worth
        if (weight > 0).sum() < 5:
            return None
        predicted = _mapped(mm, flat, weight, affine=round_ < 4)
        if predicted is None:
            return None
        off = np.linalg.norm(predicted - flat, axis=1)
    inside = off < 3.0 / lens.fx + 0.015 * scale * size
    support = len(np.unique(feature[inside]))
    if support < 5 or np.ptp(mm[inside, 0]) < 0.15 * size:
        return None
    pose = pose_from_plane(mm[inside], flat[inside])
    return Proposal(model, pose[0], pose[1], support) if pose else None


def _scale_of(mm: Floats, flat: Floats) -> float:
    """How many units of the ray plane a millimetre takes, from the spread of the agreeing pairs."""
    return float(np.sqrt(np.trace(np.cov(flat.T)) / max(np.trace(np.cov(mm.T)), 1e-9)))


def _mapped(mm: Floats, flat: Floats, weight: Floats, *, affine: bool) -> Floats | None:
    """All ``mm`` under the weighted least-squares map mm -> flat (an affinity, or a homography by the normalised
    direct linear transform: Hartley and Zisserman, Multiple View Geometry, 2nd ed. 2004, 4.4)."""
    root = np.sqrt(weight)[:, None]
    a = (mm - np.average(mm, axis=0, weights=weight)) / max(float(mm.std()), 1e-9)
    centre, spread = np.average(flat, axis=0, weights=weight), max(float(flat.std()), 1e-12)
    b = (flat - centre) / spread
    ones = np.ones((len(a), 1))
    p = np.concatenate([a, ones], axis=1)
    if affine:
        solution = np.linalg.lstsq(root * p, root * b, rcond=None)[0]
        return np.asarray(p @ solution * spread + centre)
    zero = np.zeros_like(p)
    across = np.concatenate([p, zero, -b[:, :1] * p], axis=1)
    down = np.concatenate([zero, p, -b[:, 1:] * p], axis=1)
    rows = np.concatenate([across * root, down * root])
    H = np.linalg.eigh(rows.T @ rows)[1][:, 0].reshape(3, 3)
    q = p @ H.T
    if (np.abs(q[:, 2]) < 1e-9).any():
        return None
    return np.asarray(q[:, :2] / q[:, 2:] * spread + centre)


def pose_from_plane(mm: Floats, flat: Floats) -> tuple[Floats, Floats] | None:
    """Pose of a plane from >= 4 points and their undistorted image x/z, y/z (IPPE, Collins and Bartoli 2014); None
    when the camera would stand behind the board."""
    points = np.concatenate([mm, np.zeros((len(mm), 1))], axis=1)
    try:
        ok, rotations, moves, _ = cv2.solvePnPGeneric(points, flat, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return None
    for turn, move in zip(rotations, moves, strict=True) if ok else ():
        R = np.asarray(cv2.Rodrigues(turn)[0], np.float64)
        t = np.asarray(move, np.float64).ravel()
        if (-R.T @ t)[2] > 0 and t[2] > 0:
            return R, t
    return None

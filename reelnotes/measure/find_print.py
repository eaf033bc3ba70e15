"""A board found by its own print: where could the picture lie in this frame?

Features (SIFT, Lowe 2004) of the picture and of the frame are paired without insisting that a pair be unique: bars,
ticks and numbers repeat, and the truth is in what *all* pairs agree on. Each pair proposes a similarity (place, size,
turn); the proposals vote for each other (a Hough transform in spirit, Ballard 1981), the best few are turned into poses
by RANSAC in the plane of undistorted rays, and the print itself judges them later.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.lens_model import Floats, LensModel

_DOUBLE = 0.92  # two features of the picture this alike cannot be told apart in a frame
_NEIGHBOURS = 3  # pairs kept per feature of the frame
_MAX_PAIRS = 1200


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
    """A pose that the features propose. support: distinct features of the picture that agree."""

    model: BoardModel
    R: Floats
    t: Floats
    support: int


def features(grey: NDArray[np.uint8], limit: int) -> Features:
    """SIFT features of a grey picture, as root-SIFT (Arandjelovic and Zisserman 2012)."""
    sift = cv2.SIFT_create(nfeatures=limit, contrastThreshold=0.02)  # type: ignore[attr-defined]
    points, found = sift.detectAndCompute(grey, None)
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
    grey = np.clip(model.grey(model.picture_on(raster)), 0, 255).astype(np.uint8)
    f = features(grey, 1500)
    at = raster.to_mm(f.at)
    apart = np.linalg.norm(at[:, None] - at[None], axis=2) > 0.01 * board.length_mm
    doubles = ((f.descriptor @ f.descriptor.T > _DOUBLE) & apart).sum(axis=1)
    return Features(at, f.size / scale, f.angle, f.descriptor, 1.0 / (1.0 + doubles))


def propose(image: NDArray[np.uint8], model: BoardModel, lens: LensModel, limit: int = 3) -> list[Proposal]:
    """The best few poses of the board's picture in a BGR picture, best first; none when nothing agrees."""
    grey = np.clip(model.grey(image), 0, 255).astype(np.uint8)
    return propose_from(features(grey, 2000), model, lens, limit)


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
    usable = np.isfinite(flat).all(axis=1)[i] & (rays[i, 2] > 0.2)
    i, j = i[usable], j[usable]
    votes = _votes(frame, mine, i, j, model)
    found: list[Proposal] = []
    taken = np.zeros(len(i), bool)
    for _ in range(limit * 2):
        scores = _weighed(votes & ~taken[None, :], j, mine.worth)
        if not len(scores) or scores.max() < 2.5:
            break
        best = int(scores.argmax())
        members = np.flatnonzero(votes[best])
        taken[members] = True
        made = _pose(mine.at[j[members]], flat[i[members]], j[members], model, lens)
        if made is not None:
            found.append(made)
        if len(found) >= limit:
            break
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


def _votes(frame: Features, mine: Features, i: NDArray[np.int64], j: NDArray[np.int64], model: BoardModel) -> NDArray[np.bool_]:
    """(n, n) True where pair b agrees with the similarity that pair a proposes.

    Perspective and distortion bend a similarity: the tolerance grows with the distance between the two.
    """
    log_scale = np.log(frame.size[i] / mine.size[j])
    # Board y runs up, pixels run down: a board direction a (measured in its raster) appears at a + turn.
    turn = frame.angle[i] - mine.angle[j]
    scale = np.exp(log_scale)
    flip = mine.at[j] * np.array([1.0, -1.0])
    cos, sin = np.cos(turn) * scale, np.sin(turn) * scale
    votes = np.zeros((len(i), len(i)), bool)
    for a in range(len(i)):
        rel = flip - flip[a]
        x = cos[a] * rel[:, 0] - sin[a] * rel[:, 1] + frame.at[i[a], 0]
        y = sin[a] * rel[:, 0] + cos[a] * rel[:, 1] + frame.at[i[a], 1]
        far = np.hypot(rel[:, 0], rel[:, 1]) * scale[a]
        off = np.hypot(x - frame.at[i, 0], y - frame.at[i, 1])
        angle = np.abs((turn - turn[a] + np.pi) % (2 * np.pi) - np.pi)
        votes[a] = (off < 6.0 + 0.25 * far) & (angle < 0.45) & (np.abs(log_scale - log_scale[a]) < 0.6)
    return votes


def _weighed(votes: NDArray[np.bool_], j: NDArray[np.int64], worth: Floats) -> Floats:
    """For each row the worth of the distinct picture features that vote for it."""
    kinds, index = np.unique(j, return_inverse=True)
    of_kind = np.zeros((len(j), len(kinds)), np.float32)
    of_kind[np.arange(len(j)), index] = 1.0
    return np.asarray(np.minimum(votes.astype(np.float32) @ of_kind, 1.0) @ worth[kinds], np.float64)


def _pose(mm: Floats, flat: Floats, feature: NDArray[np.int64], model: BoardModel, lens: LensModel) -> Proposal | None:
    """RANSAC for the homography board -> plane of rays, then the pose in it."""
    if len(np.unique(feature)) < 6:
        return None
    size = float(np.linalg.norm(np.ptp(flat, axis=0)))
    tolerance = 2.0 / lens.fx + 0.012 * size
    H, mask = cv2.findHomography(mm, flat, cv2.USAC_MAGSAC, tolerance, maxIters=2000, confidence=0.999)
    if H is None or mask is None or mask.sum() < 6:
        return None
    inside = mask.ravel().astype(bool)
    support = len(np.unique(feature[inside]))
    spread = np.ptp(mm[inside], axis=0)
    if support < 6 or spread[0] < 0.15 * model.board.length_mm:
        return None
    pose = pose_from_plane(mm[inside], flat[inside])
    if pose is None:
        return None
    return Proposal(model, pose[0], pose[1], support)


def pose_from_plane(mm: Floats, flat: Floats) -> tuple[Floats, Floats] | None:
    """Pose of a plane from >= 4 points and their undistorted image x/z, y/z (IPPE, Collins and Bartoli 2014); None
    when the camera would stand behind the board."""
    points = np.concatenate([mm, np.zeros((len(mm), 1))], axis=1)
    try:
        ok, rotations, moves, _ = cv2.solvePnPGeneric(points, flat, np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    except cv2.error:
        return None
    for r, t in zip(rotations, moves, strict=True) if ok else ():
        R, t = cv2.Rodrigues(r)[0], t.ravel()
        if (-R.T @ t)[2] > 0 and t[2] > 0:
            return R, t
    return None

"""A board found by its outline: which four-sided patch of much the same colours could be this board?

Thin print far away, or print that a fish, shade and glare leave little of, gives no features to pair. What is left then is
a patch that differs from the deck. The picture is parted into a few colours (k-means, Lloyd 1982); connected patches of one
colour, or of two (a striped board), are closed to the least four-sided figure around them, which also bridges what lies on
the board. A patch counts where a camera could see a rectangle of the board's own sides as that figure. It proves nothing:
the print inside is the judge, as for every other proposal.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.find_print import Proposal, pose_from_plane
from reelnotes.measure.lens_model import Floats, LensModel

_SIDE = 320  # longer side of the picture that is parted into colours
_COLOURS = (4, 7)  # as few as part a plain deck from a board, and as many as tell a board from a like deck
_LEAST, _MOST = 0.015, 0.75  # share of the picture that a patch may take
_PIECE = 0.004  # the least share that a piece of a patch takes
_PIECES = 4  # of one colour that are tried in twos
_FILLED = 0.86  # of its four-sided figure a patch's hull must fill
_BENT = 0.10  # as a share of the figure's size, how far its corners may lie from those of the board's rectangle
_ASLANT = 0.35  # sine of the least angle at which a board is looked down upon (20 degrees)
_SAME = 0.04  # two figures whose corners lie closer than this share of their size are one


def outlines(image: NDArray[np.uint8], lens: LensModel) -> list[Floats]:
    """Four-sided patches of a BGR picture, as corners (4, 2) in the plane of undistorted rays (x/z, y/z), the best
    filled first; corners run clockwise as seen in the picture."""
    gain = min(1.0, _SIDE / max(image.shape[:2]))
    size = (max(1, round(image.shape[1] * gain)), max(1, round(image.shape[0] * gain)))
    # The median takes thin lines, figures and gravel away and leaves the patches' edges where they are.
    small = cv2.medianBlur(cv2.resize(image, size, interpolation=cv2.INTER_AREA), 5).astype(np.uint8, copy=False)
    scale = np.array([image.shape[1] / size[0], image.shape[0] / size[1]])
    found: list[tuple[float, Floats]] = []
    for mask in _patches(small):
        made = _four_sided(mask, scale, lens)
        if made is not None and not (found and _among(made[1], np.stack([other for _, other in found]))):
            found.append(made)
    return [corners for _, corners in sorted(found, key=lambda f: -f[0])]


def outline_of(mask: NDArray[np.uint8], shape: tuple[int, ...], lens: LensModel) -> Floats | None:
    """The four-sided figure around one patch of a picture of this shape, as in :func:`outlines`; None where it is not four-sided.

    mask  (h, w) of the whole picture at any size, 0 outside the patch
    """
    made = _four_sided(mask, np.array([shape[1] / mask.shape[1], shape[0] / mask.shape[0]]), lens)
    return None if made is None else made[1]


def propose(corners: Sequence[Floats], models: Sequence[BoardModel]) -> list[Proposal]:
    """Poses in which a board's rectangle would be seen as one of these four-sided figures, both ways round; those first
    whose corners fit best."""
    found: list[tuple[float, Proposal]] = []
    for four in corners:
        for model in models:
            for turn in (0, 1, 2, 3):
                made = _posed(np.roll(four, turn, axis=0), model)
                if made is not None:
                    found.append(made)
    return [p for _, p in sorted(found, key=lambda f: f[0])]


def _patches(small: NDArray[np.uint8]) -> Iterator[NDArray[np.uint8]]:
    """Masks of connected patches of one colour or two."""
    lab = cv2.cvtColor(small, cv2.COLOR_BGR2LAB).astype(np.float32).reshape(-1, 3)
    few = lab[:: max(1, len(lab) // 4000)]
    area = small.shape[0] * small.shape[1]
    brush = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (5, 5))
    for count in _COLOURS:
        cv2.setRNGSeed(1)  # the same picture is parted the same way
        end = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 12, 0.5)
        _, _, centres = cv2.kmeans(few, count, None, end, 1, cv2.KMEANS_PP_CENTERS)  # type: ignore[call-overload]
        nearest = ((lab[:, None] - centres[None]) ** 2).sum(-1).argmin(1).reshape(small.shape[:2])
        for chosen in [*((i,) for i in range(count)), *combinations(range(count), 2)]:
            mask = np.isin(nearest, chosen).astype(np.uint8)
            mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, brush).astype(np.uint8, copy=False)
            number, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
            big = [i for i in range(1, number) if _PIECE * area < stats[i, cv2.CC_STAT_AREA] < _MOST * area]
            big = sorted(big, key=lambda i: -stats[i, cv2.CC_STAT_AREA])[:_PIECES]
            # A fish from edge to edge parts a board in two.
            for some in [*((i,) for i in big), *combinations(big, 2)]:
                if sum(stats[i, cv2.CC_STAT_AREA] for i in some) > _LEAST * area:
                    yield np.isin(labels, some).astype(np.uint8)


def _four_sided(mask: NDArray[np.uint8], scale: Floats, lens: LensModel) -> tuple[float, Floats] | None:
    """The least four-sided figure around a patch, and how well its hull fills that; None when it is not four-sided."""
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    points = max(contours, key=cv2.contourArea).reshape(-1, 2)
    rays = lens.unproject((points + 0.5) * scale - 0.5)
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = (rays[:, :2] / rays[:, 2:]).astype(np.float32)
    if len(flat) < 4 or not np.isfinite(flat).all() or (rays[:, 2] < 0.15).any():
        return None
    hull = cv2.convexHull(flat).reshape(-1, 2).astype(np.float64)
    four = _least_around(hull)
    if four is None:
        return None
    filled = _area(hull) / max(_area(four), 1e-12)
    return (filled, four) if filled > _FILLED else None


def _least_around(hull: Floats) -> Floats | None:
    """A convex polygon's sides let go one by one, each time the one whose neighbours, drawn on until they meet, enclose
    the least more; None when fewer than four are left or they do not meet."""
    sides = list(hull)
    while len(sides) > 4:
        best, least = None, np.inf
        for i in range(len(sides)):
            a, b, c, d = (sides[(i + k) % len(sides)] for k in range(4))
            meet = _meet(a, b, d, c)
            if meet is None:
                continue
            more = abs(_cross(b - c, meet - c))
            if more < least:
                best, least = (i, meet), more
        if best is None:
            return None
        i, meet = best
        first, second = (i + 1) % len(sides), (i + 2) % len(sides)
        sides[first] = meet
        del sides[second]
    return np.array(sides) if len(sides) == 4 else None


def _meet(a: Floats, b: Floats, d: Floats, c: Floats) -> Floats | None:
    """Where the line a b goes on beyond b to meet the line d c beyond c."""
    u, v = b - a, c - d
    across = _cross(u, v)
    if abs(across) < 1e-12:
        return None
    s = _cross(d - a, v) / across
    r = _cross(d - a, u) / across
    return np.asarray(a + s * u) if s > 1.0 - 1e-9 and r > 1.0 - 1e-9 else None


def _posed(four: Floats, model: BoardModel) -> tuple[float, Proposal] | None:
    """How far the corners miss, as a share of the figure's size, and the board's pose with its far edge's corners first
    among ``four``; None where no camera sees it so."""
    length, width = model.board.length_mm, model.board.width_mm
    mm = model.corners_mm[::-1]
    pose = pose_from_plane(mm, four)
    if pose is None:
        return None
    R, t = pose
    cam = mm @ R[:, :2].T + t
    if (cam[:, 2] <= 0).any():
        return None
    if abs(float((R.T @ t)[2])) < _ASLANT * np.linalg.norm(t + R @ np.array([length / 2, width / 2, 0.0])):
        return None
    off = np.linalg.norm(cam[:, :2] / cam[:, 2:] - four, axis=1).max()
    off = float(off / np.linalg.norm(np.ptp(four, axis=0)))
    return (off, Proposal(model, R, t, 0, corners=four[::-1])) if off < _BENT else None


def _among(four: Floats, others: Floats) -> bool:
    """Whether a figure is one of ``others`` (n, 4, 2), from whichever corner it begins."""
    size = float(np.linalg.norm(np.ptp(four, axis=0)))
    turned = np.stack([np.roll(four, k, axis=0) for k in range(4)])
    off = np.linalg.norm(turned[:, None] - others[None], axis=-1).max(axis=-1)
    return bool(off.min() < _SAME * size)


def _area(polygon: Floats) -> float:
    x, y = polygon.T
    return abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2


def _cross(u: Floats, v: Floats) -> float:
    return float(u[0] * v[1] - u[1] * v[0])

"""A rough pose made sure by features: pairs are sought only where the pose expects them.

Figures and ticks that could be anywhere on the board, or on the deck, are told apart once a rough place is known (guided
matching: Hartley and Zisserman, Multiple View Geometry, 2nd ed. 2004, 4.7.1). A wrong place finds few that agree.
"""

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.find_print import Features, Proposal, board_features, pose_from_plane
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.measure.pose_fit import LensFreedom, fit_frames
from reelnotes.measure.posed import Observations

_NEAR = 0.045  # of the board's length, how far from its place a feature is sought
_ALIKE = 0.78  # least product of two descriptors; lower than without a place, for far fewer are to be told apart
_TURN, _SIZE = 0.35, 0.5  # radians, and natural logarithm of size, that a pair may differ by from what the pose says
LEAST_SUPPORT = 9  # distinct features in one plane; a wrong place seldom brings together more than six
_SPAN = 0.3  # of the board's length over which they must lie
# Judgement, no source; set with drawn clips in view, as is what follows.
# Of the board's length, how far features are sought as pose and lens grow sure; and likeness by which one at the end of that must
# surpass one in place: at first all ticks are like, once they are nearly in place the nearest is the one.
_CLOSING_IN = ((0.06, 0.0), (0.03, 0.0), (0.015, 0.1), (0.008, 0.1))
_BENT, _LOOSE = 0.25, 0.05  # of that, by which a lens not yet known bends a plane; and by which a feature may lie off its place


def guided(frame: Features, rough: Proposal, lens: LensModel) -> Proposal | None:
    """The pose that features of the frame near their places under ``rough`` agree on; None when too few do."""
    found = _in_plane(frame, rough, lens, _NEAR, 0.004)
    if found is None:
        return None
    _, j, (R, t), _ = found
    return replace(rough, R=R, t=t, support=len(np.unique(j)))


def grown(frame: Features, rough: Proposal, lens: LensModel, freedom: LensFreedom) -> Proposal | None:
    """Pose and lens on which the features of all the board agree, grown from a pose that some of them propose; None when too few
    do.

    Ticks pair with their neighbours, and a lens only guessed bends the plane, so a first pose is right in a part of the board at
    best. Each round looks for every feature nearer to where pose and lens put it, and solves both from those that lie in one
    plane. A pose that slipped along a ruler gathers few, for its figures contradict it.

    freedom  of the lens; the proposal's lens is ``lens`` with another focal length and distortion
    """
    made: Proposal | None = None
    for reach, nearer in _CLOSING_IN:
        here = made or rough
        lens = here.lens or lens
        found = _in_plane(frame, here, lens, reach, _BENT * reach, nearer)
        if found is None:
            return None
        i, j, (R, t), length_px = found
        sigma_px = 1.0 + _LOOSE * reach * length_px
        seen = Observations(board_features(rough.model).at[j], frame.at[i], np.tile(np.eye(2) / sigma_px**2, (len(i), 1, 1)))
        fit = fit_frames([seen], lens, [R], [t], freedom)
        if fit is None:
            return None
        agreeing = np.unique(j[fit.inlier[0] > 0.2])
        if len(agreeing) < LEAST_SUPPORT:
            return None
        spread = float(np.ptp(board_features(rough.model).at[agreeing, 0])) / rough.model.board.length_mm
        made = replace(rough, R=fit.R[0], t=fit.t[0], lens=fit.lens, gathered=len(agreeing), spread=spread)
    return made


def _in_plane(
    frame: Features, rough: Proposal, lens: LensModel, reach: float, bent: float, nearer: float = 0.0
) -> tuple[NDArray[np.int64], NDArray[np.int64], tuple[Floats, Floats], float] | None:
    """Pairs of the frame's and the board's features near their places under a rough pose that lie in one plane: places in both
    lists, the plane's pose, and the board's length in pixels. reach, bent: of that length, how far from its place a feature is
    sought, and how far from the plane it may lie beside two pixels."""
    mine = board_features(rough.model)
    if len(frame.at) < LEAST_SUPPORT or len(mine.at) < LEAST_SUPPORT:
        return None
    place, turn, size = _expected(mine, rough, lens)
    length_px = float(np.median(size / mine.size)) * rough.model.board.length_mm
    if not np.isfinite(length_px):
        return None
    i, j = _near(frame, mine, place, turn, size, reach * length_px, nearer)
    rays = lens.unproject(frame.at[i])
    in_front = rays[:, 2] > 0.1
    i, j, rays = i[in_front], j[in_front], rays[in_front]
    if len(np.unique(j)) < LEAST_SUPPORT:
        return None
    flat = rays[:, :2] / rays[:, 2:]
    cv2.setRNGSeed(1)
    H, mask = cv2.findHomography(mine.at[j], flat, cv2.RANSAC, (2.0 + bent * length_px) / lens.fx)
    inside = mask.ravel().astype(bool) if H is not None else np.zeros(len(i), bool)
    i, j, flat = i[inside], j[inside], flat[inside]
    if len(np.unique(j)) < LEAST_SUPPORT or np.ptp(mine.at[j, 0]) < _SPAN * rough.model.board.length_mm:
        return None
    pose = pose_from_plane(mine.at[j], flat)
    return (i, j, pose, length_px) if pose is not None else None


def _expected(mine: Features, rough: Proposal, lens: LensModel) -> tuple[Floats, Floats, Floats]:
    """Where the board's features should be seen (pixels), their directions (rad) and sizes (pixels)."""
    step = 0.5 * mine.size[:, None]
    # Directions were measured in a raster whose y runs down.
    along = np.stack([np.cos(mine.angle), -np.sin(mine.angle)], axis=1) * step
    place, ahead, aside = (
        _seen(mine.at + d, rough, lens) for d in (np.zeros_like(along), along, np.stack([-along[:, 1], along[:, 0]], axis=1))
    )
    forth, side = ahead - place, aside - place
    size = np.sqrt(np.maximum(np.linalg.norm(forth, axis=1) * np.linalg.norm(side, axis=1), 1e-12)) / step[:, 0] * mine.size
    return place, np.arctan2(forth[:, 1], forth[:, 0]), size


def _seen(mm: Floats, rough: Proposal, lens: LensModel) -> Floats:
    return lens.project(mm @ rough.R[:, :2].T + rough.t)


def _near(
    frame: Features, mine: Features, place: Floats, turn: Floats, size: Floats, reach_px: float, nearer: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Each frame feature with the most alike of the board's that are expected near it, so turned and so large; nearer: likeness
    that one at the end of the reach must have more than one in place."""
    ok = np.flatnonzero(np.isfinite(place).all(axis=1) & np.isfinite(turn))
    if len(ok) == 0:
        return np.zeros(0, int), np.zeros(0, int)
    low, high = place[ok].min(axis=0) - reach_px, place[ok].max(axis=0) + reach_px
    here = np.flatnonzero(((frame.at > low) & (frame.at < high)).all(axis=1))
    across, down = (frame.at[here, None, k].astype(np.float32) - place[None, ok, k].astype(np.float32) for k in (0, 1))
    a, b = np.nonzero(across * across + down * down < np.float32(reach_px * reach_px))
    i, j = here[a], ok[b]
    turned = np.abs((frame.angle[i] - turn[j] + np.pi) % (2 * np.pi) - np.pi)
    fits = (turned < _TURN) & (np.abs(np.log(frame.size[i] / size[j])) < _SIZE)
    i, j = i[fits], j[fits]
    alike = np.einsum("nd,nd->n", frame.descriptor[i], mine.descriptor[j])
    off = np.linalg.norm(frame.at[i] - place[j], axis=1) / reach_px
    order = np.argsort(-alike + nearer * off * off, kind="stable")
    i, j = i[order], j[order]
    i, first = np.unique(i[alike[order] > _ALIKE], return_index=True)
    return i, j[first]

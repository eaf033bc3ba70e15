"""A board found by its large pattern: bars, bands, fields of colour, at thumbnail size.

The last resort when no feature repeats well enough: motion blur, a big fish, a plain print on a busy deck. The thumbnail
is turned in steps and the picture, in a few sizes and foreshortenings, is correlated over it.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel, Raster
from reelnotes.measure.find_print import Proposal, pose_from_plane
from reelnotes.measure.lens_model import LensModel

_SIDE_PX = 192
_TURN_DEG = 10
_LENGTHS_PX = (36, 46, 58, 74, 94, 118, 150)
_FORESHORTENED = (1.0, 0.78)
_INDEPENDENT_PX = 9.0  # pixels that count as one independent sample of a thumbnail


@dataclass(frozen=True, slots=True)
class _Place:
    """A template's place: how far above chance, the turn, its size and its top-left corner in the turned thumbnail."""

    surprise: float
    turn_deg: float
    width: int
    height: int
    u: int
    v: int


def propose(image: NDArray[np.uint8], model: BoardModel, lens: LensModel, limit: int = 6) -> list[Proposal]:
    """Poses that the large pattern suggests, most surprising first."""
    gain = _SIDE_PX / max(image.shape[:2])
    small = cv2.resize(image, None, fx=gain, fy=gain, interpolation=cv2.INTER_AREA)
    canvas = int(np.ceil(np.hypot(*small.shape[:2]))) + 2
    templates = _templates(model)
    places: list[_Place] = []
    for turn in range(0, 360, _TURN_DEG):
        warp = _turning(small.shape, canvas, turn)
        turned = cv2.warpAffine(small, warp, (canvas, canvas), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        places += [p for t in templates if (p := _best(turned, t, turn)) is not None]
    places.sort(key=lambda p: -p.surprise)
    found: list[Proposal] = []
    corners_seen: list[NDArray[np.float64]] = []
    for place in places:
        corners = _corners(place, _turning(small.shape, canvas, place.turn_deg), gain)
        size = np.linalg.norm(corners[1] - corners[0])
        if any(np.linalg.norm(corners - other, axis=1).mean() < 0.2 * size for other in corners_seen):
            continue
        corners_seen.append(corners)
        made = _pose(corners, model, lens)
        if made is not None:
            found.append(made)
        if len(found) >= limit:
            break
    return found


def _templates(model: BoardModel) -> list[NDArray[np.uint8]]:
    out = []
    for length in _LENGTHS_PX:
        picture = model.picture_on(Raster.over(model.board, length / model.board.length_mm))
        for squash in _FORESHORTENED:
            height = round(picture.shape[0] * squash)
            if height >= 6:
                out.append(cv2.resize(picture, (picture.shape[1], height), interpolation=cv2.INTER_AREA).astype(np.uint8))
    return out


def _turning(shape: tuple[int, ...], canvas: int, turn_deg: float) -> NDArray[np.float64]:
    warp = cv2.getRotationMatrix2D(((shape[1] - 1) / 2, (shape[0] - 1) / 2), turn_deg, 1.0)
    warp[:, 2] += (canvas - np.array([shape[1], shape[0]])) / 2
    return np.asarray(warp, np.float64)


def _best(turned: NDArray[np.uint8], template: NDArray[np.uint8], turn_deg: float) -> _Place | None:
    if template.shape[1] >= turned.shape[1]:
        return None
    scores = cv2.matchTemplate(turned, template, cv2.TM_CCOEFF_NORMED)
    _, value, _, (u, v) = cv2.minMaxLoc(scores)
    samples = template.shape[0] * template.shape[1] / _INDEPENDENT_PX
    surprise = float(np.arctanh(min(value, 0.999)) * np.sqrt(max(samples - 3, 0.1)))  # Fisher's z
    return _Place(surprise, turn_deg, template.shape[1], template.shape[0], u, v)


def _corners(place: _Place, warp: NDArray[np.float64], gain: float) -> NDArray[np.float64]:
    """The template's corners in the full picture: x = 0 near, far end near, far end far, x = 0 far."""
    u0, v0, u1, v1 = place.u - 0.5, place.v - 0.5, place.u + place.width - 0.5, place.v + place.height - 0.5
    turned = np.array([[u0, v1], [u1, v1], [u1, v0], [u0, v0]])
    back = cv2.invertAffineTransform(warp)
    return np.asarray(((turned @ back[:, :2].T + back[:, 2]) + 0.5) / gain - 0.5, np.float64)


def _pose(corners: NDArray[np.float64], model: BoardModel, lens: LensModel) -> Proposal | None:
    length, width = model.board.length_mm, model.board.width_mm
    mm = np.array([[0.0, 0.0], [length, 0.0], [length, width], [0.0, width]])
    rays = lens.unproject(corners)
    if not np.isfinite(rays).all() or (rays[:, 2] < 0.1).any():
        return None
    pose = pose_from_plane(mm, rays[:, :2] / rays[:, 2:])
    return Proposal(model, pose[0], pose[1], 0) if pose else None

"""What the geometry half hands on: frames whose camera is known against the board."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reelnotes.measure.board_model import BoardModel
from reelnotes.measure.lens_model import Floats, LensModel
from reelnotes.records.boards import Board
from reelnotes.records.problems import Refusal

AT_ODDS = "given, at odds with the board"  # where a lens is from that the board in the picture does not bear out

INSTEAD = "solved from the board, which the given lens does not fit"  # where no pose holds under a given lens, but one without


@dataclass(frozen=True, slots=True)
class NotHeld(Refusal):
    """Why a clip has no pose although the print of a known board was proved in it: somebody held a fish before the camera.

    span  (start_s, end_s) when the board is in sight, as far as it was followed
    """

    board: str = ""
    span: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class NotFound(Refusal):
    """Why no known board was proved in a clip.

    nearest  the greatest strength that any pose of one came to, 0..1 (``Alignment.strength``)
    """

    nearest: float = 0.0


@dataclass(frozen=True, eq=False)
class Observations:
    """Print found in one frame: board points and where they were seen.

    board_mm   (n, 2) x, y on the board, millimetres
    px         (n, 2) pixels in the frame
    weight     (n, 2, 2) inverse covariance of px (1 / px^2): an edge speaks only across itself
    """

    board_mm: Floats
    px: Floats
    weight: Floats

    def __len__(self) -> int:
        return len(self.board_mm)


def both(first: Observations, second: Observations) -> Observations:
    """Both, of one frame, in this order."""
    return Observations(*(np.concatenate([getattr(o, f) for o in (first, second)]) for f in ("board_mm", "px", "weight")))


@dataclass(frozen=True, eq=False)
class PosedFrame:
    """One frame and the camera in it.

    frame, time_s    frame number and seconds from the clip's first frame
    image            (h, w, 3) BGR uint8, upright
    lens             the lens, with this frame's own shift
    R, t             camera point = R @ board point + t (millimetres)
    rms_px           reprojection error on the print (root mean square, along what each piece of print can tell)
    n_points         pieces of print that agree
    covered          share of the board's surface that lies inside the frame
    matched          share of the board's print inside the frame that agrees with the picture (the rest is hidden
                     by fish, hands, glare, or is not there)
    scale_sigma      relative standard uncertainty of lengths along x on the surface, from the geometry alone
    sharpness        higher is sharper; comparable only between frames of one clip
    observations     the print found, for a lens solved over several clips
    """

    frame: int
    time_s: float
    image: NDArray[np.uint8]
    lens: LensModel
    R: Floats
    t: Floats
    rms_px: float
    n_points: int
    covered: float
    matched: float
    scale_sigma: float
    sharpness: float
    observations: Observations | None = field(default=None, repr=False)

    @property
    def camera_mm(self) -> Floats:
        """(3,) the camera's centre in board axes; z is its height above the surface."""
        return -self.R.T @ self.t

    def board_to_px(self, points_mm: Floats) -> Floats:
        """(n, 3) or (n, 2) board points (z = 0) -> (n, 2) pixels; NaN where the lens cannot see."""
        p = np.atleast_2d(np.asarray(points_mm, np.float64))
        if p.shape[-1] == 2:
            p = np.concatenate([p, np.zeros((*p.shape[:-1], 1))], axis=-1)
        return self.lens.project(p @ self.R.T + self.t)

    def px_to_board_plane(self, px: Floats, z_mm: float | Floats = 0.0) -> Floats:
        """(n, 2) pixels -> (n, 2) x, y in millimetres where their rays meet the plane z = z_mm (NaN if they do not)."""
        rays = self.lens.unproject(np.atleast_2d(px)) @ self.R
        centre = self.camera_mm
        with np.errstate(divide="ignore", invalid="ignore"):
            far = (z_mm - centre[2]) / rays[..., 2]
            far = np.where(far > 0, far, np.nan)
            return centre[:2] + rays[..., :2] * far[..., None]


@dataclass(frozen=True, eq=False)
class PosedClip:
    """A clip with its board.

    frames      good frames in time order: sharp, still, the board well seen
    lens        without any frame's shift
    lens_from   "given" | AT_ODDS | INSTEAD | "solved from the board" | "guessed"
    lens_sigma  relative standard uncertainty of the focal length
    span        (start_s, end_s) when the board is in sight
    stop_visible  share of the frames in which the foot of the stop (x = 0) lies inside the picture along the
                  middle half of the board's width
    """

    board: Board
    model: BoardModel
    frames: tuple[PosedFrame, ...]
    lens: LensModel
    lens_from: str
    lens_sigma: float
    span: tuple[float, float]
    stop_visible: float


@dataclass(frozen=True, eq=False)
class KnownClip:
    """What posing a clip found, without its pictures: enough to pose it again under another lens without a search, and small
    enough to travel to another process.

    board    name of the board
    lens     solved from this clip alone
    times_s, seen, R, t   of each good frame: when, the print in it, the pose under ``lens``
    span     as in PosedClip
    """

    board: str
    lens: LensModel
    times_s: tuple[float, ...]
    seen: tuple[Observations, ...]
    R: tuple[Floats, ...]
    t: tuple[Floats, ...]
    span: tuple[float, float]

    @classmethod
    def of(cls, posed: PosedClip) -> "KnownClip":
        """The record of a posed clip."""
        frames = [(f, f.observations) for f in posed.frames if f.observations is not None]
        return cls(posed.board.name, posed.lens, tuple(f.time_s for f, _ in frames), tuple(o for _, o in frames),
                   tuple(f.R for f, _ in frames), tuple(f.t for f, _ in frames), posed.span)  # fmt: skip


def nearer(t: Floats, was: LensModel, now: LensModel) -> Floats:
    """A camera's t under another lens: another focal length puts it nearer or farther for the same picture."""
    return np.asarray(t * np.array([1.0, 1.0, now.fx / was.fx]))

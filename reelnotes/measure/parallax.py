"""Height above the board moves what the camera sees: the law, and how high a fish's parts lie.

A point at height z over the board is seen, on the board's plane, pushed away from the foot of the
camera's plumb line by H / (H - z), H the camera's height (pinhole geometry; reference PAR-01). The law
holds for any lens and any tilt once the camera's centre is known, for it is only the straight line
from the centre through the point.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from reelnotes.records.estimates import Estimate


@dataclass(frozen=True, slots=True)
class Grounded:
    """A place along the board with the height taken out.

    x_mm           where the point stands over the board
    correction_mm  what was added to where it appeared
    u_mm           standard uncertainty from the height alone
    """

    x_mm: float
    correction_mm: float
    u_mm: float


def appears_at(x_mm: float, z_mm: float, camera_mm: Sequence[float]) -> float:
    """Where on the board's plane a point at height z is seen (one axis; ``camera_mm`` its coordinate and height)."""
    along, height = camera_mm[0], camera_mm[-1]
    return along + (x_mm - along) * height / (height - z_mm)


def grounded(apparent_mm: float, z: Estimate, camera_mm: Sequence[float]) -> Grounded:
    """The inverse of :func:`appears_at`, with the height's uncertainty carried through."""
    along, height = camera_mm[0], camera_mm[-1]
    slope = (apparent_mm - along) / height
    return Grounded(apparent_mm - slope * z.value, -slope * z.value, abs(slope) * z.sigma)


def tail_height(length_mm: float) -> Estimate:
    """How high the tips of the tail lie above the board.

    A tail fin lies flat and is a few millimetres thick; it rests on the body, whose middle is higher.
    Common practice, no source: 0.8 mm + 0.3 % of the length, believed to a half.
    """
    z = 0.8 + 0.003 * length_mm
    return Estimate(z, 0.5 * z, "thickness model: tail fin")


def fork_height(length_mm: float) -> Estimate:
    """The end of the middle rays: nearer the peduncle, so half as high again."""
    z = 1.5 * tail_height(length_mm).value
    return Estimate(z, 0.5 * z, "thickness model: middle rays")


def nose_height(depth_mm: float) -> Estimate:
    """The nose of a fish on its side stands at about half the body's thickness.

    Fish that anglers lay on boards are about half as thick as deep, and the head a little less: 0.21 of
    the depth, believed to 0.05 (common practice, no source).
    """
    return Estimate(0.21 * depth_mm, 0.05 * depth_mm + 1.0, "thickness model: nose")

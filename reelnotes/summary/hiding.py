"""The ends of an exact track, cut off: the ramp, the jetty, the house.

Hiding everything within a circle around the ramp would draw the circle, and its middle is the ramp.
So the hidden circle is centred on a point of a coarse grid near the end, never on the end itself,
and is widened by as much as the two can lie apart: at least ``hide_m`` is always hidden.
"""

import math

from geographiclib.geodesic import Geodesic

LonLat = tuple[float, float]

LEAST_DEGREE_M = 110_500.0  # no degree of latitude on WGS 84 is shorter
GRID_SHARE = 0.5  # grid step of the centres, as a share of the hidden distance


class Hidden:
    """The places that an exact map leaves out: around the first and the last true position."""

    def __init__(self, ends: list[LonLat], hide_m: float) -> None:
        self._centres = [_near_centre(end, hide_m * GRID_SHARE) for end in ends] if hide_m > 0 else []
        # Half a diagonal of the grid, and a little for degrees that change their length over one step.
        self._radius_m = hide_m * (1.0 + 1.02 * GRID_SHARE / math.sqrt(2.0))

    def __contains__(self, place: LonLat) -> bool:
        for centre in self._centres:
            if abs(place[1] - centre[1]) * LEAST_DEGREE_M > self._radius_m:
                continue  # north or south of the circle: most of a long track is told by this alone
            if distance_m(place, centre) < self._radius_m:
                return True
        return False


def _near_centre(place: LonLat, step_m: float) -> LonLat:
    lon, lat = place
    step_lat = step_m / 111_000.0
    snapped_lat = min(90.0, max(-90.0, (math.floor(lat / step_lat) + 0.5) * step_lat))
    step_lon = step_lat / max(0.01, math.cos(math.radians(snapped_lat)))
    return (math.floor(lon / step_lon) + 0.5) * step_lon, snapped_lat


def distance_m(a: LonLat, b: LonLat) -> float:
    """Length of the WGS 84 geodesic between two places, metres (Karney 2013)."""
    return float(Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0], Geodesic.DISTANCE)["s12"])  # type: ignore[no-untyped-call]

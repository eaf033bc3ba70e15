"""The track as a small sketch, only where places are exact: what :mod:`privacy` let through, drawn to scale.

Local plane: metres east and north of the middle, from the lengths of a degree on WGS 84 there; over
the few kilometres of a fishing trip that is true to far less than a line's width.
"""

import math
from itertools import chain

from geographiclib.geodesic import Geodesic

from reelnotes.summary.privacy import Published
from reelnotes.summary.told import Mark, Sketch, Stroke, ToldFish, ToldLeg
from reelnotes.summary.words import Words

LonLat = tuple[float, float]

WIDTH, EDGE = 1000, 40
TALLEST, FLATTEST = 900, 360
MOST_POINTS = 600  # of one stroke: finer than the sketch can show


def tell_sketch(published: Published, legs: tuple[ToldLeg, ...], fish: tuple[ToldFish, ...], words: Words) -> Sketch | None:
    """The sketch, or None when no line may be shown."""
    runs = published.lines.get(0, ())
    if not runs:
        return None
    plane = _Plane([*chain.from_iterable(runs), *published.spots.values()])
    strokes = [Stroke("track", plane.path(run)) for run in runs]
    for leg in legs:
        strokes += [Stroke(leg.kind, plane.path(run)) for run in published.lines.get(leg.number, ())]
    marks = []
    for told in fish:
        if told.id in published.spots:
            x, y = plane.at(published.spots[told.id])
            marks.append(Mark(x, y, told.id, told.outcome, "end" if x > WIDTH / 2 else "start"))
    bar_m = _round_length(0.3 * plane.width_m)
    return Sketch(
        tuple(strokes), tuple(marks), WIDTH, plane.height, round(bar_m / plane.metres_per_unit, 1), words.distance(bar_m)
    )


class _Plane:
    """Longitude and latitude -> units of the sketch, north up."""

    def __init__(self, places: list[LonLat]) -> None:
        first = places[0][0]
        self._first = first
        lons = [self._unwrapped(lon) for lon, _ in places]
        lats = [lat for _, lat in places]
        self._lon, self._lat = (min(lons) + max(lons)) / 2, (min(lats) + max(lats)) / 2
        self._east_m = _degree_m(self._lat, 90.0)
        self._north_m = _degree_m(self._lat, 0.0)
        self.width_m = max((max(lons) - min(lons)) * self._east_m, 100.0)
        tall_m = max((max(lats) - min(lats)) * self._north_m, 100.0)
        inner = WIDTH - 2 * EDGE
        self.height = round(min(TALLEST, max(FLATTEST, inner * tall_m / self.width_m + 2 * EDGE)))
        self.metres_per_unit = max(self.width_m / inner, tall_m / (self.height - 2 * EDGE))
        self.width_m = self.metres_per_unit * inner

    def at(self, place: LonLat) -> tuple[float, float]:
        """Units right of the left edge and below the top edge, one decimal."""
        east = (self._unwrapped(place[0]) - self._lon) * self._east_m / self.metres_per_unit
        north = (place[1] - self._lat) * self._north_m / self.metres_per_unit
        return round(WIDTH / 2 + east, 1), round(self.height / 2 - north, 1)

    def path(self, run: tuple[LonLat, ...]) -> str:
        """The points of an SVG polyline; long runs are thinned, their ends kept."""
        step = max(1, math.ceil(len(run) / MOST_POINTS))
        return " ".join(f"{x},{y}" for x, y in map(self.at, (*run[:-1:step], run[-1])))

    def _unwrapped(self, lon: float) -> float:
        return lon - 360.0 * round((lon - self._first) / 360.0)


def _degree_m(lat: float, bearing: float) -> float:
    """Metres a degree of latitude (bearing 0) or longitude (bearing 90) at a latitude."""
    step = 0.001
    there = (lat + step, 0.0) if bearing == 0.0 else (lat, step)
    return float(Geodesic.WGS84.Inverse(lat, 0.0, *there, Geodesic.DISTANCE)["s12"]) / step  # type: ignore[no-untyped-call]


def _round_length(most_m: float) -> float:
    """The longest of 1, 2, 5 times a power of ten metres that is no longer than ``most_m``."""
    power = 10.0 ** math.floor(math.log10(most_m))
    return max(k * power for k in (1.0, 2.0, 5.0) if k * power <= most_m)

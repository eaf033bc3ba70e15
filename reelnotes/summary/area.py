"""The blurred area: which part of a fixed, world-wide grid a trip touched.

Adding noise to a spot fails as soon as a spot is posted twice: the mean of many noisy points is the
spot. So nothing is drawn by chance here. The world has one grid; the trip becomes the block of cells
that holds all its positions, and the same spot gives the same cell for ever, in whatever company.
Averaging a hundred posts gives the middle of a cell.

Posts at different blur sizes must not cut each other down either: two grids of 4 and 5 km have few
places in common. So the sizes are 5 km doubled or halved, each cell is made of four of the next
finer ones, and ``blur_km`` is rounded up to the next size. All posts together tell the finest cell
that was ever published, and no more.

The block is then grown by a quarter of a cell on every side, so that its corners and edges, the only
coordinates that are published, lie at least that far from every place of the trip.

What it cannot do: a boundary between two cells is a boundary. Posts that flip between two
neighbouring cells tell that the spot lies near their common side, though not where along it. And a
cell that holds only one small lake names that lake: for such waters there is "none".
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from geographiclib.geodesic import Geodesic

LonLat = tuple[float, float]

BASE_KM, COARSEST = 5.0, 7  # sizes are BASE_KM * 2**k; 5 km * 2**7 holds the largest blur that settings allow
SHORTEST_DEGREE_KM = 110.574  # of latitude, at the equator of WGS 84; longest 111.694 at the poles
BASE_ROW_DEG = BASE_KM / SHORTEST_DEGREE_KM
BAND_DEG = BASE_ROW_DEG * 2**COARSEST  # one column width a band, and each band a whole row of the coarsest grid
MARGIN_SHARE = 0.25
STEP_DEG = 0.0001  # corners are published to about ten metres, rounded outward


@dataclass(frozen=True, slots=True)
class Area:
    """A box between two parallels and two meridians, degrees. ``east`` may pass 180 where the box crosses the date line."""

    west: float
    south: float
    east: float
    north: float

    @property
    def rings(self) -> tuple[tuple[LonLat, ...], ...]:
        """Closed rings, counter-clockwise from the south-west (RFC 7946 3.1.6); two where the date line cuts the box (3.1.9)."""
        if self.east - self.west >= 360.0:
            return (_ring(-180.0, self.south, 180.0, self.north),)
        if self.east > 180.0:
            return (_ring(self.west, self.south, 180.0, self.north), _ring(-180.0, self.south, self.east - 360.0, self.north))
        if self.west < -180.0:
            return (_ring(self.west + 360.0, self.south, 180.0, self.north), _ring(-180.0, self.south, self.east, self.north))
        return (_ring(self.west, self.south, self.east, self.north),)


def cell_km(blur_km: float) -> float:
    """The size of the grid's cells for a wanted blur: the next of 5 km doubled or halved that is no smaller."""
    return BASE_KM * 2.0 ** _level(blur_km)


def _level(blur_km: float) -> int:
    return min(COARSEST, math.ceil(math.log2(blur_km / BASE_KM) - 1e-9))


def blurred_area(places: Iterable[LonLat], blur_km: float) -> Area | None:
    """The grown block of grid cells that holds all places ((lon, lat), WGS 84 degrees); None without places."""
    # To a tenth of a millimetre: a number so small that a division loses it lies now in this cell, now in the next.
    places = [(round(lon, 9), round(lat, 9)) for lon, lat in places]
    if not places:
        return None
    scale = 2.0 ** _level(blur_km)
    row_deg = BASE_ROW_DEG * scale
    column_deg = _base_column_deg(min(lat for _, lat in places)) * scale
    south = math.floor(min(lat for _, lat in places) / row_deg) * row_deg
    north = (math.floor(max(lat for _, lat in places) / row_deg) + 1) * row_deg
    lons = _unwrapped([lon for lon, _ in places])
    west = math.floor(min(lons) / column_deg) * column_deg
    east = (math.floor(max(lons) / column_deg) + 1) * column_deg
    return Area(
        west=_outward(west - MARGIN_SHARE * column_deg, math.floor),
        south=max(-90.0, _outward(south - MARGIN_SHARE * row_deg, math.floor)),
        east=_outward(east + MARGIN_SHARE * column_deg, math.ceil),
        north=min(90.0, _outward(north + MARGIN_SHARE * row_deg, math.ceil)),
    )


def _base_column_deg(lat: float) -> float:
    """Width of the base grid's columns at a latitude: at least BASE_KM anywhere in the latitude's band.

    One width a band, and not a row: else the columns' edges would wander from row to row, and
    neighbouring rows together would tell more than one. A whole number of the coarsest go round the world.
    """
    band = math.floor(lat / BAND_DEG)
    poleward = min(89.0, max(abs(band * BAND_DEG), abs((band + 1) * BAND_DEG)))
    degree_km = Geodesic.WGS84.Inverse(poleward, 0.0, poleward, 0.01)["s12"] / 10.0  # type: ignore[no-untyped-call]
    return 360.0 / (max(1, math.floor(360.0 * degree_km / BASE_KM / 2**COARSEST)) * 2**COARSEST)


def _unwrapped(lons: list[float]) -> list[float]:
    """Longitudes shifted by whole turns so that none is more than half a turn from the first."""
    first = lons[0]
    return [lon - 360.0 * round((lon - first) / 360.0) for lon in lons]


def _outward(value: float, rounding) -> float:  # type: ignore[no-untyped-def]  # math.floor or math.ceil
    return float(round(rounding(value / STEP_DEG - (1e-6 if rounding is math.ceil else -1e-6)) * STEP_DEG, 4))


def _ring(west: float, south: float, east: float, north: float) -> tuple[LonLat, ...]:
    return ((west, south), (east, south), (east, north), (west, north), (west, south))

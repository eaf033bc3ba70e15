"""The part of the world that a trip was in: what tells a pair of plain numbers from a price, a size or a time.

"47.61, 13.02" may be anything. Where both numbers are those of the trip's own waters it is a position, and where they
are not it tells nobody the spot. The same goes for a geohash, which elsewhere is a lure's order number.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

LonLat = tuple[float, float]

MARGIN_DEG = 0.5  # half a day's run of a boat, and what a position that was written down coarsely is off
STEP_DEG = 0.1  # to which places are kept: a day's track is a handful of them

_BASE32 = "0123456789bcdefghjkmnpqrstuvwxyz"


@dataclass(frozen=True, slots=True)
class Region:
    """All that lies within MARGIN_DEG of a place of the trip. ``near``: (lon, lat) in steps of STEP_DEG."""

    near: frozenset[tuple[int, int]]

    @classmethod
    def around(cls, places: Iterable[LonLat]) -> "Region":
        """The region of places (lon, lat), WGS 84 degrees; without any it holds nothing."""
        told = (place for place in places if math.isfinite(place[0]) and math.isfinite(place[1]))
        return cls(frozenset((round(lon / STEP_DEG), round(lat / STEP_DEG)) for lon, lat in told))

    def holds(self, lat: float, lon: float) -> bool:
        """Whether a place lies in it. West and south are often written without their sign."""
        return any(_beside(lat, y * STEP_DEG) and _beside(lon, x * STEP_DEG) for x, y in self.near)

    def holds_either_way(self, a: float, b: float) -> bool:
        """Whether two numbers are a place in it, whichever of them comes first."""
        return self.holds(a, b) or self.holds(b, a)

    def holds_angle(self, value: float) -> bool:
        """Whether one number is a latitude or a longitude in it."""
        return any(_beside(value, y * STEP_DEG) or _beside(value, x * STEP_DEG) for x, y in self.near)


def _beside(written: float, true: float) -> bool:
    slack = MARGIN_DEG + STEP_DEG / 2
    around = abs((written - true + 180.0) % 360.0 - 180.0)  # 179.9 and -179.9 are neighbours
    return min(around, abs(abs(written) - abs(true))) <= slack


def geohash_place(text: str) -> tuple[float, float] | None:
    """(lat, lon) of the middle of a geohash's cell; None for a text that is none.

    Five bits a letter, those of longitude and latitude by turns, longitude first, each halving what is left.
    """
    sides = [[-180.0, 180.0], [-90.0, 90.0]]
    turn = 0
    for letter in text.casefold():
        value = _BASE32.find(letter)
        if value < 0:
            return None
        for bit in (16, 8, 4, 2, 1):
            side = sides[turn]
            side[0 if value & bit else 1] = (side[0] + side[1]) / 2
            turn = 1 - turn
    (west, east), (south, north) = sides
    return (south + north) / 2, (west + east) / 2

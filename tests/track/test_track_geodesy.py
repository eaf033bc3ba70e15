"""Distances against published geodesics; the local frame against the geodesics."""

import numpy as np
import pytest

from reelnotes.records.units import KNOT_MPS
from reelnotes.track.geodesy import LocalFrame, azimuth_deg, geodesic_m, metres_per_degree, path_m, steps_m


def dms(degrees: float, minutes: float, seconds: float) -> float:
    return (1 if degrees >= 0 else -1) * (abs(degrees) + minutes / 60 + seconds / 3600)


@pytest.mark.parametrize(
    ("line", "length_m", "azimuth", "tolerance_m"),
    [
        # source: GEO-05/06, Flinders Peak to Buninyong, GDA Technical Manual (GRS80; WGS 84 agrees to 0.1 um)
        (
            (dms(-37, 57, 3.7203), dms(144, 25, 29.5244), dms(-37, 39, 10.1561), dms(143, 55, 35.3839)),
            54972.271,
            306.868159,
            1e-3,
        ),
        # source: GEO-08, GeographicLib test GeodSolve74
        ((54.1589, 15.3872, 54.1591, 15.3877), 39.527686385, 55.723110355, 1e-7),
        # source: GEO-12 .. GEO-15, regression list of GeographicLib
        ((35.60777, -139.44815, -11.17491, -69.95921), 8935244.5604818, 111.098748430, 1e-6),
        ((55.52454, 106.05087, 77.03196, 197.18234), 4105086.1713924, 22.020059881, 1e-6),
        ((-21.97856, 142.59065, 41.84138, 98.56635), 8394328.8946577, -32.444568764, 1e-6),
        ((-66.99028, 112.2363, -12.70631, 285.90344), 11150344.2312080, 173.734912409, 1e-6),
        # source: GEO-16, GeographicLib documentation: nearly antipodal, where Vincenty's iteration fails
        ((-41.32, 174.81, 40.96, -5.50), 19959679.26735, None, 1e-3),
    ],
)
def test_published_geodesics(
    line: tuple[float, float, float, float], length_m: float, azimuth: float | None, tolerance_m: float
) -> None:
    assert geodesic_m(*line) == pytest.approx(length_m, abs=tolerance_m)
    if azimuth is not None:
        assert azimuth_deg(*line) == pytest.approx(azimuth % 360, abs=1e-5)


def test_the_ellipsoid_is_not_a_sphere() -> None:
    # source: GEO-07, the haversine of the same line on R = 6 371 008.8 m is 46.8 m short
    length = geodesic_m(dms(-37, 57, 3.7203), dms(144, 25, 29.5244), dms(-37, 39, 10.1561), dms(143, 55, 35.3839))
    assert length - 54925.508 == pytest.approx(46.8, abs=0.1)


def test_a_minute_of_latitude() -> None:
    # source: GEO-23, 1842.90 m at the equator, 1852.20 m at 45 degrees, 1861.57 m at the pole
    for lat, metres in ((0.0, 1842.90), (45.0, 1852.20), (90.0, 1861.57)):
        assert float(metres_per_degree(lat)[0]) / 60 == pytest.approx(metres, abs=0.01)


def test_a_knot_is_a_mile_an_hour() -> None:
    # source: UNI-01, UNI-02: 1852 m, 0.514444 m/s
    assert pytest.approx(0.514444, abs=1e-6) == KNOT_MPS
    assert pytest.approx(1852.0, abs=1e-9) == KNOT_MPS * 3600


@pytest.mark.parametrize(("lat", "lon"), [(59.6, 17.0), (-37.9, 144.4), (0.0, 179.99), (78.2, 15.6), (-0.5, -180.0)])
def test_the_local_frame_goes_both_ways_and_keeps_distance(lat: float, lon: float) -> None:
    rng = np.random.default_rng(5)
    lats, lons = lat + rng.uniform(-0.2, 0.2, 40), (lon + rng.uniform(-0.2, 0.2, 40) + 180) % 360 - 180
    frame = LocalFrame(lat, lon)
    metres = frame.to_metres(lats, lons)
    back_lat, back_lon = frame.to_degrees(metres)
    assert np.allclose(back_lat, lats, atol=1e-10)
    assert np.allclose((back_lon - lons + 180) % 360 - 180, 0, atol=1e-9)
    flat = np.hypot(*(metres[1:] - metres[:-1]).T)
    exact = [geodesic_m(*ends) for ends in zip(lats[:-1], lons[:-1], lats[1:], lons[1:], strict=True)]
    # The tangent plane is short by 1 - cos(25 km / R) and less here.
    assert np.allclose(flat, exact, rtol=2e-5)


def test_steps_and_paths_agree_with_the_geodesics() -> None:
    lat, lon = np.array([60.0, 60.001, 60.002]), np.array([5.0, 5.002, 5.001])
    exact = geodesic_m(60, 5, 60.001, 5.002) + geodesic_m(60.001, 5.002, 60.002, 5.001)
    assert steps_m(lat, lon).sum() == pytest.approx(exact, abs=1e-5)
    assert path_m(lat, lon) == pytest.approx(exact, abs=1e-9)
    assert path_m(lat[:1], lon[:1]) == 0

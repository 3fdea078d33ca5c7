"""Ways over the ground, and who is whose neighbour."""

from __future__ import annotations

import numpy as np
import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from weather.calc.daily_weather import Places
from weather.calc.neighbours import chord_to_km, nearest_neighbours, unit_vectors

ELLIPSOID = pyproj.Geod(ellps="WGS84")


def one(value: float) -> np.ndarray:
    return np.array([value])


@given(
    latitude=st.floats(-80.0, 80.0),
    longitude=st.floats(-180.0, 180.0),
    north=st.floats(-2.0, 2.0),
    east=st.floats(-2.0, 2.0),
)
def test_the_sphere_is_within_six_thousandths_of_the_ellipsoid(
    latitude: float, longitude: float, north: float, east: float
) -> None:
    # Oracle: the geodesic of pyproj on WGS 84.
    _, _, metres = ELLIPSOID.inv(longitude, latitude, longitude + east, latitude + north)

    here = unit_vectors(one(latitude), one(longitude))
    there = unit_vectors(one(latitude + north), one(longitude + east))
    got = chord_to_km(np.linalg.norm(here - there, axis=1))

    assert got[0] == pytest.approx(metres / 1000.0, rel=0.006, abs=1e-6)


def places(*points: tuple[float, float, float]) -> Places:
    table = np.array(points)
    return Places(table[:, 0], table[:, 1], table[:, 2])


def test_neighbours_come_nearest_first_and_never_the_place_itself() -> None:
    # One degree of latitude is about 111 km.
    got = nearest_neighbours(
        places((40.0, -100.0, 500.0), (40.3, -100.0, 520.0), (40.1, -100.0, 450.0), (45.0, -100.0, 500.0)),
        within_km=50.0,
        within_m=200.0,
        most=3,
    )

    np.testing.assert_array_equal(got.columns, [[2, 1, -1], [2, 0, -1], [0, 1, -1], [-1, -1, -1]])
    np.testing.assert_allclose(got.distance_km[0, :2], [11.12, 33.36], atol=0.01)
    np.testing.assert_allclose(got.rise_m[0], [50.0, -20.0, 0.0])


def test_a_near_place_much_higher_is_no_neighbour() -> None:
    got = nearest_neighbours(
        places((40.0, -100.0, 500.0), (40.05, -100.0, 701.0), (40.2, -100.0, 700.0)),
        within_km=50.0,
        within_m=200.0,
        most=2,
    )

    np.testing.assert_array_equal(got.columns[0], [2, -1])


def test_two_locations_at_one_point_are_neighbours_at_no_distance() -> None:
    got = nearest_neighbours(
        places((40.0, -100.0, 500.0), (40.0, -100.0, 500.0)), within_km=1.0, within_m=1.0, most=1
    )

    np.testing.assert_array_equal(got.columns[:, 0], [1, 0])
    np.testing.assert_allclose(got.distance_km[:, 0], 0.0, atol=1e-6)


@pytest.mark.parametrize("count", [0, 1])
def test_alone_there_are_no_neighbours(count: int) -> None:
    got = nearest_neighbours(
        Places(np.full(count, 40.0), np.full(count, 1.0), np.full(count, 1.0)),
        within_km=50.0,
        within_m=200.0,
        most=2,
    )

    assert (got.columns == -1).all()
    assert got.columns.shape == (count, 2)

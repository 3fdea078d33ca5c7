"""Areas, lengths and setbacks against geodesics on the ellipsoid (PROJ's own, through pyproj.Geod)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod, Transformer
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry import areas as geometry
from sites.calc.geometry.areas import as_array

ELLIPSOID = Geod(ellps="WGS84")
HOUSE = (-104.7, 41.2)


def in_metres(metres: list[tuple[float, float]], lon: float, lat: float) -> shapely.Polygon:
    """A polygon whose corners lie the given metres east and north of a place, by geodesics."""
    corners = []
    for east, north in metres:
        far, heading = float(np.hypot(east, north)), float(np.degrees(np.arctan2(east, north)))
        corner_lon, corner_lat, _ = ELLIPSOID.fwd(lon, lat, heading, far)
        corners.append((corner_lon, corner_lat))
    return shapely.Polygon(corners)


def geodesic_area_m2(shape: BaseGeometry) -> float:
    return abs(float(ELLIPSOID.geometry_area_perimeter(shapely.orient_polygons(shape))[0]))


L_SHAPE = [(0.0, 0.0), (30.0, 0.0), (30.0, 12.0), (12.0, 12.0), (12.0, 25.0), (0.0, 25.0)]


@pytest.mark.parametrize(
    ("lon", "lat"), [HOUSE, (-81.0, 25.5), (24.9, 60.2), (151.2, -33.9), (-179.99, 5.0), (-112.0, 0.0)]
)
def test_area_of_an_l_shape_is_the_geodesic_area(lon: float, lat: float) -> None:
    shape = in_metres(L_SHAPE, lon, lat)

    area = geometry.area_m2(as_array([shape]))[0]

    assert area == pytest.approx(geodesic_area_m2(shape), rel=2e-6)
    assert area == pytest.approx(516.0, rel=1e-4)


def test_a_hole_is_not_part_of_the_area() -> None:
    whole = in_metres([(0, 0), (20, 0), (20, 20), (0, 20)], *HOUSE)
    hole = in_metres([(5, 5), (15, 5), (15, 15), (5, 15)], *HOUSE)
    ring = shapely.Polygon(whole.exterior.coords, [hole.exterior.coords])

    areas = geometry.area_m2(as_array([whole, hole, ring]))

    assert areas[2] == pytest.approx(areas[0] - areas[1], rel=1e-9)


def test_points_have_no_area_and_missing_shapes_are_nan() -> None:
    areas = geometry.area_m2(as_array([shapely.Point(HOUSE), None]))

    assert areas[0] == 0
    assert np.isnan(areas[1])


@given(
    lon=st.floats(-179.9, 179.9),
    lat=st.floats(-65, 65),
    width_m=st.floats(1, 120),
    depth_m=st.floats(1, 120),
)
def test_area_follows_the_geodesic_anywhere(lon: float, lat: float, width_m: float, depth_m: float) -> None:
    shape = in_metres([(0, 0), (width_m, 0), (width_m, depth_m), (0, depth_m)], lon, lat)

    assert geometry.area_m2(as_array([shape]))[0] == pytest.approx(geodesic_area_m2(shape), rel=5e-6)


@given(
    lon=st.floats(-179.9, 179.9), lat=st.floats(-65, 65), far_m=st.floats(1, 2_000), heading=st.floats(0, 360)
)
def test_lengths_and_distances_follow_the_geodesic(
    lon: float, lat: float, far_m: float, heading: float
) -> None:
    end_lon, end_lat, _ = ELLIPSOID.fwd(lon, lat, heading, far_m)
    if abs(end_lon - lon) > 1:
        return
    line = shapely.LineString([(lon, lat), (end_lon, end_lat)])

    length = geometry.length_m(as_array([line]))[0]
    distance = geometry.distance_m(
        as_array([shapely.Point(lon, lat)]), as_array([shapely.Point(end_lon, end_lat)])
    )[0]

    # UTM's scale runs from 0.9996 to 1.0010 within a zone.
    assert length == pytest.approx(far_m, rel=1.1e-3)
    assert distance == pytest.approx(far_m, rel=1.1e-3)


def test_setback_is_measured_to_the_nearest_edge_and_negative_outside() -> None:
    lawn = in_metres([(0, 0), (20, 0), (20, 10), (0, 10)], *HOUSE)
    inside = in_metres([(3, 5), (3.1, 5), (3, 5.1)], *HOUSE).exterior.coords[0]
    outside = in_metres([(-4, 5), (-4.1, 5), (-4, 5.1)], *HOUSE).exterior.coords[0]

    setbacks = geometry.setback_m(
        as_array([shapely.Point(inside), shapely.Point(outside)]), as_array([lawn] * 2)
    )

    np.testing.assert_allclose(setbacks, [3.0, -4.0], rtol=2e-3)


def test_the_edge_of_a_hole_counts_for_the_setback() -> None:
    whole = in_metres([(0, 0), (20, 0), (20, 20), (0, 20)], *HOUSE)
    hole = in_metres([(9, 9), (11, 9), (11, 11), (9, 11)], *HOUSE)
    ring = shapely.Polygon(whole.exterior.coords, [hole.exterior.coords])
    beside = in_metres([(8, 10), (8.1, 10), (8, 10.1)], *HOUSE).exterior.coords[0]

    assert geometry.setback_m(as_array([shapely.Point(beside)]), as_array([ring]))[0] == pytest.approx(
        1.0, rel=2e-3
    )


def test_a_declared_system_is_brought_to_wgs84() -> None:
    to_utm = Transformer.from_crs("EPSG:4326", "EPSG:32613", always_xy=True)
    point = shapely.Point(to_utm.transform(*HOUSE))

    moved = geometry.to_wgs84(as_array([point, None]), "EPSG:32613")

    assert shapely.get_coordinates(moved[0])[0] == pytest.approx(HOUSE, abs=1e-9)
    assert moved[1] is None


@pytest.mark.parametrize(
    "declared", ["EPSG:4326", "urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:EPSG::4326"]
)
def test_degrees_stay_as_they_are_longitude_first(declared: str) -> None:
    moved = geometry.to_wgs84(as_array([shapely.Point(HOUSE)]), declared)

    assert shapely.get_coordinates(moved[0])[0] == pytest.approx(HOUSE, abs=1e-12)


@pytest.mark.parametrize("declared", ["", "EPSG:999999", "somewhere", "EPSG:5703"])
def test_an_unknown_system_is_refused_by_name(declared: str) -> None:
    with pytest.raises(geometry.UnknownReferenceSystem):
        geometry.to_wgs84(as_array([shapely.Point(HOUSE)]), declared)


def test_great_circle_is_within_0_6_percent_of_the_geodesic() -> None:
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(-180, 180, 200), rng.uniform(-80, 80, 200)
    other_lon, other_lat = rng.uniform(-180, 180, 200), rng.uniform(-80, 80, 200)

    ours = geometry.great_circle_m(lon, lat, other_lon, other_lat)

    np.testing.assert_allclose(ours, ELLIPSOID.inv(lon, lat, other_lon, other_lat)[2], rtol=6e-3)

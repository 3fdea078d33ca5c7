"""Areas, lengths and setbacks of shapes on the ground; never in degrees.

Every shape that enters here is in WGS 84 longitude and latitude (EPSG:4326, x = longitude). Areas are taken
in the cylindrical equal-area projection EPSG:6933; lengths and distances in the UTM zone in which each shape
lies, whose scale is between 0.9996 and 1.0004 over most of a zone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import shapely
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError
from shapely.geometry.base import BaseGeometry

WGS84 = "EPSG:4326"
EQUAL_AREA = "EPSG:6933"

Geometries = npt.NDArray[np.object_]
Floats = npt.NDArray[np.float64]


class UnknownReferenceSystem(ValueError):
    """A file declares a coordinate reference system that nobody knows."""


def reference_system(declared: str) -> CRS:
    """Coordinate reference system that a file's declaration names.

    Parameters
    ----------
    declared
        Authority code, URN or WKT, as the file gives it.

    Raises
    ------
    UnknownReferenceSystem
        The declaration cannot be read, or is not one of the Earth's surface.
    """
    try:
        crs = CRS.from_user_input(declared)
    except CRSError as error:
        raise UnknownReferenceSystem(f"{declared!r} is not a known coordinate reference system") from error
    if not (crs.is_geographic or crs.is_projected):
        raise UnknownReferenceSystem(f"{declared!r} is not a system of positions on the Earth's surface")
    return crs


def to_wgs84(geometries: Geometries, declared: str) -> Geometries:
    """Shapes in WGS 84 longitude and latitude.

    Parameters
    ----------
    geometries
        Shapes, (shapes,), in the declared system; easting or longitude first. None stays None.
    declared
        The system that the file declares. Coordinates that it cannot place come back as infinities.
    """
    crs = reference_system(declared)
    if crs.equals(CRS.from_user_input(WGS84), ignore_axis_order=True) or crs.to_authority() == (
        "OGC",
        "CRS84",
    ):
        return geometries
    return _move(geometries, Transformer.from_crs(crs, WGS84, always_xy=True))


def utm_epsg(longitude_deg: Floats, latitude_deg: Floats) -> npt.NDArray[np.int64]:
    """EPSG code of the UTM zone in which each place lies, (places,).

    Parameters
    ----------
    longitude_deg
        Longitude, (places,) [degrees east].
    latitude_deg
        Latitude, (places,) [degrees north].
    """
    zone = np.clip(np.floor((np.asarray(longitude_deg) + 180.0) / 6.0) + 1, 1, 60).astype(np.int64)
    return np.asarray(np.where(np.asarray(latitude_deg) >= 0, 32600, 32700) + zone, dtype=np.int64)


def area_m2(geometries: Geometries) -> Floats:
    """Area of each shape on the ellipsoid [m2], (shapes,); 0 for points and lines, NaN where there is none.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,).

    Notes
    -----
    EPSG:6933 (Lambert cylindrical equal area on WGS 84, true scale at 30 degrees) keeps areas exactly; what
    is left is that an edge is straight in another sense than a geodesic, far below a millionth for a garden.
    """
    shapes = np.asarray(geometries, dtype=object)
    return np.asarray(shapely.area(_move(shapes, _transformer(EQUAL_AREA))), dtype=np.float64)


def length_m(geometries: Geometries) -> Floats:
    """Length of each line, or of each polygon's edge [m], (shapes,); NaN where there is none.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,).
    """
    return np.asarray(shapely.length(in_local_metres(geometries)), dtype=np.float64)


def distance_m(geometries: Geometries, others: Geometries) -> Floats:
    """Shortest distance between the shapes of each pair [m], (pairs,); 0 where they touch.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (pairs,); the pair is measured in the UTM zone of this one.
    others
        Shapes in WGS 84, (pairs,).
    """
    zones = _zones(geometries)
    first, second = in_local_metres(geometries, zones), in_local_metres(others, zones)
    return np.asarray(shapely.distance(first, second), dtype=np.float64)


def setback_m(points: Geometries, polygons: Geometries) -> Floats:
    """Distance of each point from its polygon's edge [m], (pairs,); negative where the point lies outside.

    Parameters
    ----------
    points
        Points in WGS 84, (pairs,).
    polygons
        Polygons in WGS 84, (pairs,); the edges of holes count.
    """
    zones = _zones(polygons)
    place, ground = in_local_metres(points, zones), in_local_metres(polygons, zones)
    to_edge = np.asarray(shapely.distance(place, shapely.boundary(ground)), dtype=np.float64)
    return np.where(shapely.intersects(ground, place), to_edge, -to_edge)


def in_local_metres(geometries: Geometries, epsg: npt.NDArray[np.int64] | None = None) -> Geometries:
    """Shapes in the UTM zone of each, in metres, (shapes,).

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,); None stays None.
    epsg
        EPSG code of the zone to use for each, (shapes,); by default the one in which its middle lies.
    """
    shapes = np.asarray(geometries, dtype=object)
    zones = _zones(shapes) if epsg is None else epsg
    moved = np.full(shapes.shape, None, dtype=object)
    for zone in np.unique(zones[~shapely.is_missing(shapes)]):
        mine = zones == zone
        moved[mine] = _move(shapes[mine], _transformer(f"EPSG:{int(zone)}"))
    return moved


def great_circle_m(
    longitude_deg: Floats, latitude_deg: Floats, other_longitude_deg: Floats, other_latitude_deg: Floats
) -> Floats:
    """Great-circle distance between places on a sphere of 6,371,008.8 m radius [m], broadcast.

    Parameters
    ----------
    longitude_deg, latitude_deg
        First places [degrees].
    other_longitude_deg, other_latitude_deg
        Second places [degrees].

    Notes
    -----
    Haversine formula; the mean Earth radius (2a + b) / 3 of WGS 84. Good to 0.6 % of the geodesic.
    """
    phi, other_phi = np.radians(latitude_deg), np.radians(other_latitude_deg)
    half_lat = (other_phi - phi) / 2
    half_lon = np.radians(np.asarray(other_longitude_deg) - np.asarray(longitude_deg)) / 2
    h = np.sin(half_lat) ** 2 + np.cos(phi) * np.cos(other_phi) * np.sin(half_lon) ** 2
    return np.asarray(2 * 6_371_008.8 * np.arcsin(np.sqrt(np.clip(h, 0, 1))), dtype=np.float64)


def _zones(geometries: Geometries) -> npt.NDArray[np.int64]:
    """EPSG codes of the UTM zones of the shapes' middles; 32601 stands in where there is no shape."""
    box = np.asarray(shapely.bounds(np.asarray(geometries, dtype=object)))
    with np.errstate(invalid="ignore"):
        middle = np.nan_to_num(np.stack([(box[..., 0] + box[..., 2]) / 2, (box[..., 1] + box[..., 3]) / 2]))
    return utm_epsg(middle[0], middle[1])


def _move(geometries: Geometries, transformer: Transformer) -> Geometries:
    """Shapes with every coordinate sent through the transformer; height is dropped."""

    def project(coordinates: Floats) -> Floats:
        east, north = transformer.transform(coordinates[:, 0], coordinates[:, 1])
        return np.column_stack([east, north])

    return _transformed(geometries, project)


def _transformed(geometries: Geometries, project: Callable[[Floats], Floats]) -> Geometries:
    """Shapes after a function of all their coordinates at once."""
    return np.asarray(shapely.transform(np.asarray(geometries, dtype=object), project), dtype=object)


@lru_cache(maxsize=128)
def _transformer(target: str) -> Transformer:
    """From WGS 84 longitude and latitude to the target system; easting first."""
    return Transformer.from_crs(WGS84, target, always_xy=True)


def as_array(geometries: Sequence[BaseGeometry | None]) -> Geometries:
    """Object array of the shapes, (shapes,); None where a thing has no shape."""
    shapes = np.empty(len(geometries), dtype=object)
    shapes[:] = list(geometries)
    return shapes

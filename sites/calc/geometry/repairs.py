"""Repairs of drawn shapes, each offered and never made unasked: what a shape would become.

Every function takes shapes in WGS 84, (shapes,), and returns new shapes with a mask of those that differ.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Geometries, area_m2, as_array, length_m
from sites.calc.geometry.report import SLIVER_WIDTH_M

COORDINATE_DECIMALS = 8
"""Places after the point that the book keeps [degrees]: about a millimetre, so that files repeat exactly."""

Mask = npt.NDArray[np.bool_]
_LINE, _POLYGON, _POLYGONS, _COLLECTION = 1, 3, 6, 7


def of_one_dimension(geometries: Geometries, dimension: int) -> tuple[Geometries, Mask]:
    """Shapes of mixed type with only the parts of one dimension; a closed line becomes ground.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    dimension
        0 points, 1 lines, 2 ground [1].
    """
    shapes = np.array(geometries, dtype=object)
    mask = np.zeros(len(shapes), dtype=np.bool_)
    types = shapely.get_type_id(shapes)
    for at in np.flatnonzero(types == _COLLECTION):
        parts = [part for part in shapes[at].geoms if shapely.get_dimensions(part) == dimension]
        if parts:
            merged = [single for part in parts for single in getattr(part, "geoms", [part])]
            many = (shapely.multipoints, shapely.multilinestrings, shapely.multipolygons)[dimension]
            shapes[at] = merged[0] if len(merged) == 1 else many(merged)
            mask[at] = True
    if dimension == 2:
        for at in np.flatnonzero((types == _LINE) & shapely.is_closed(shapes)):
            if shapely.get_num_coordinates(shapes[at]) >= 4:
                shapes[at], mask[at] = shapely.Polygon(shapes[at].coords), True
    return shapes, mask


def without_height(geometries: Geometries) -> tuple[Geometries, Mask]:
    """Shapes on the plan alone.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    mask = np.asarray(shapely.has_z(geometries), dtype=np.bool_)
    return np.asarray(shapely.force_2d(geometries), dtype=object), mask


def turned_round(geometries: Geometries) -> Geometries:
    """Shapes with longitude and latitude exchanged.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    return np.asarray(shapely.transform(geometries, lambda xy: xy[:, ::-1]), dtype=object)


def without_repeats(geometries: Geometries) -> tuple[Geometries, Mask]:
    """Lines and polygons without a position that stands twice in a row.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    shapes = np.array(geometries, dtype=object)
    # A ring that would be left with too few corners stays as it was, for the next check to refuse.
    drawn = (shapely.get_dimensions(shapes) >= 1) & _has_corners(shapes)
    shapes[drawn] = shapely.remove_repeated_points(shapes[drawn], 0.0)
    mask = drawn & (shapely.get_num_coordinates(shapes) < shapely.get_num_coordinates(geometries))
    mask &= ~shapely.is_empty(shapes)
    shapes[~mask] = np.asarray(geometries, dtype=object)[~mask]
    return shapes, mask


def _has_corners(shapes: Geometries) -> Mask:
    """Whether each ring of a shape, if it has any, has three corners at least once repeats are left out."""
    parts, shape_of_part = shapely.get_parts(shapes, return_index=True)
    singles, part_of_single = shapely.get_parts(parts, return_index=True)
    rings, single_of_ring = shapely.get_rings(singles, return_index=True)
    owner = shape_of_part[part_of_single[single_of_ring]]
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    moves = (ring[1:] == ring[:-1]) & np.any(xy[1:] != xy[:-1], axis=1)
    edges = np.bincount(ring[1:][moves], minlength=len(rings))
    mask = np.ones(len(shapes), dtype=np.bool_)
    mask[owner[edges < 3]] = False
    return mask


def rings_in_order(geometries: Geometries) -> tuple[Geometries, Mask]:
    """Polygons by the right-hand rule (RFC 7946, section 3.1.6): outer rings counter-clockwise.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    ground = shapely.get_dimensions(geometries) == 2
    shapes = np.array(geometries, dtype=object)
    shapes[ground] = shapely.orient_polygons(shapes[ground], exterior_cw=False)
    return shapes, ground & ~shapely.equals_exact(shapes, geometries, 0.0)


def sound(geometries: Geometries) -> tuple[Geometries, Mask]:
    """Polygons that are valid by the rules of the OGC; only those that keep some ground differ.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    shapes = np.array(geometries, dtype=object)
    broken = (shapely.get_dimensions(shapes) == 2) & ~shapely.is_valid(shapes)
    if broken.any():
        made = shapely.make_valid(shapes[broken], method="structure", keep_collapsed=False)
        # On the book's grid; set_precision keeps a shape valid.
        made = shapely.set_precision(made, 10.0**-COORDINATE_DECIMALS)
        good = (shapely.get_dimensions(made) == 2) & (shapely.area(made) > 0) & shapely.is_valid(made)
        good &= np.isin(shapely.get_type_id(made), (_POLYGON, _POLYGONS))
        places = np.flatnonzero(broken)[good]
        broken[:] = False
        shapes[places], broken[places] = made[good], True
    return shapes, broken


def without_slivers(geometries: Geometries) -> tuple[Geometries, Mask]:
    """Polygons without parts, and without holes, that are narrower than 15 cm on average.

    Parameters
    ----------
    geometries
        Sound shapes, (shapes,).
    """
    shapes = np.array(geometries, dtype=object)
    mask = np.zeros(len(shapes), dtype=np.bool_)
    ground = np.isin(shapely.get_type_id(shapes), (_POLYGON, _POLYGONS))
    rings = np.zeros(len(shapes), dtype=np.int64)
    parts, owner = shapely.get_parts(shapes[ground], return_index=True)
    np.add.at(rings, np.flatnonzero(ground)[owner], 1 + shapely.get_num_interior_rings(parts))
    for at in np.flatnonzero(rings > 1):
        kept = [_without_thin_holes(part) for part in shapely.get_parts(shapes[at]) if not _is_thin(part)]
        if not kept:
            continue
        new = kept[0] if len(kept) == 1 else shapely.multipolygons(kept)
        if shapely.get_num_coordinates(new) < shapely.get_num_coordinates(shapes[at]):
            shapes[at], mask[at] = new, True
    return shapes, mask


def cut_out(shape: BaseGeometry, other: BaseGeometry) -> BaseGeometry | None:
    """A sound polygon without the ground of another; None where nothing is left.

    Parameters
    ----------
    shape, other
        Sound polygons.
    """
    return _ground_of(shapely.difference(shape, other, grid_size=10.0**-COORDINATE_DECIMALS))


def clipped(shape: BaseGeometry, lot: BaseGeometry) -> BaseGeometry | None:
    """The ground that a sound polygon shares with its lot; None where they share none.

    Parameters
    ----------
    shape, lot
        Sound polygons.
    """
    return _ground_of(shapely.intersection(shape, lot, grid_size=10.0**-COORDINATE_DECIMALS))


def canonical_shapes(geometries: Geometries) -> Geometries:
    """Shapes on the book's grid of decimals, in GEOS's normal form; a lone part stands alone.

    Parameters
    ----------
    geometries
        Shapes, (shapes,).
    """
    rounded = shapely.transform(
        geometries, lambda xy: np.round(xy, COORDINATE_DECIMALS) + 0.0, include_z=False
    )
    single = (shapely.get_num_geometries(rounded) == 1) & (shapely.get_type_id(rounded) > _POLYGON)
    rounded[single] = shapely.get_geometry(rounded[single], 0)
    return np.asarray(shapely.normalize(rounded), dtype=object)


def _ground_of(shape: BaseGeometry) -> BaseGeometry | None:
    """The polygons of a shape that are no slivers."""
    parts = [
        part
        for part in shapely.get_parts(as_array([shape]))
        if shapely.get_dimensions(part) == 2 and not _is_thin(part)
    ]
    if not parts:
        return None
    ground: BaseGeometry = parts[0] if len(parts) == 1 else shapely.MultiPolygon(parts)
    return ground


def _is_thin(polygon: BaseGeometry) -> bool:
    """Whether a polygon is a sliver: its outer ring narrower than the limit on average."""
    outer = as_array([shapely.Polygon(polygon.exterior)])  # type: ignore[attr-defined]
    return bool(2 * area_m2(outer)[0] < SLIVER_WIDTH_M * length_m(outer)[0])


def _without_thin_holes(polygon: BaseGeometry) -> BaseGeometry:
    """A polygon with its hair-thin holes filled."""
    holes = [ring for ring in polygon.interiors if not _is_thin(shapely.Polygon(ring))]  # type: ignore[attr-defined]
    return shapely.Polygon(polygon.exterior, holes)  # type: ignore[attr-defined]

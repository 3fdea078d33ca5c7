"""Shapes and properties of a GeoJSON collection, read by hand: nothing but its own text is looked at."""

from __future__ import annotations

import json
from typing import NoReturn

import shapely
from shapely.geometry.base import BaseGeometry

Json = None | bool | int | float | str | list["Json"] | dict[str, "Json"]


class CollectionNotReadable(ValueError):
    """The text is no GeoJSON collection; says where and what was expected."""


class ShapeNotReadable(ValueError):
    """One feature's geometry is not what GeoJSON allows; says what was expected."""


def collection_features(text: str) -> tuple[str | None, list[Json]]:
    """The reference system that a collection declares, and its features as they stand.

    Parameters
    ----------
    text
        Text of the file.

    Raises
    ------
    CollectionNotReadable
        Broken JSON, or not one FeatureCollection.
    """
    try:
        collection: Json = json.loads(text, parse_constant=_no_constant)
    except json.JSONDecodeError as error:
        raise CollectionNotReadable(
            f"broken JSON at line {error.lineno}, character {error.colno}: {error.msg}"
        ) from error
    except (ValueError, RecursionError) as error:
        raise CollectionNotReadable(f"broken JSON: {error}") from error
    if not isinstance(collection, dict) or collection.get("type") != "FeatureCollection":
        raise CollectionNotReadable("not one FeatureCollection")
    features = collection.get("features")
    if not isinstance(features, list):
        raise CollectionNotReadable("a FeatureCollection without a list of features")
    return _declared_crs(collection.get("crs")), features


def shape_of(geometry: Json) -> BaseGeometry | None:
    """The shape of one feature, None where it has none.

    Parameters
    ----------
    geometry
        The feature's geometry member.

    Raises
    ------
    ShapeNotReadable
        Not a GeoJSON geometry, or positions that are not numbers.
    """
    if geometry is None:
        return None
    if not isinstance(geometry, dict):
        raise ShapeNotReadable("a geometry object or null")
    coordinates = geometry.get("coordinates")
    kind = geometry.get("type")
    match kind:
        case "Point":
            return shapely.Point(_position(coordinates))
        case "LineString":
            return _line(coordinates)
        case "Polygon":
            return _polygon(coordinates)
        case "MultiPoint":
            return shapely.MultiPoint([_position(part) for part in _parts(coordinates)])
        case "MultiLineString":
            return shapely.MultiLineString([_line(part) for part in _parts(coordinates)])
        case "MultiPolygon":
            return shapely.MultiPolygon([_polygon(part) for part in _parts(coordinates)])
    raise ShapeNotReadable("a Point, LineString, Polygon or MultiPolygon")


def _no_constant(word: str) -> NoReturn:
    """JSON knows no NaN and no Infinity."""
    raise ValueError(f"{word} is not a JSON number")


def has_open_ring(geometry: Json) -> bool:
    """Whether a geometry that `shape_of` took has a ring whose last position is not the first.

    Parameters
    ----------
    geometry
        The feature's geometry member.
    """
    if not isinstance(geometry, dict) or not isinstance(parts := geometry.get("coordinates"), list):
        return False
    polygons = parts if geometry.get("type") == "MultiPolygon" else [parts]
    if geometry.get("type") not in ("Polygon", "MultiPolygon"):
        return False
    rings = [ring for polygon in polygons if isinstance(polygon, list) for ring in polygon]
    return any(isinstance(ring, list) and ring[0] != ring[-1] for ring in rings)


def _declared_crs(member: Json) -> str | None:
    """Reference system that the older `crs` member names; None without it: WGS 84 (RFC 7946, section 4)."""
    if member is None:
        return None
    properties = member.get("properties") if isinstance(member, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if not isinstance(member, dict) or member.get("type") != "name" or not isinstance(name, str):
        raise CollectionNotReadable(
            "a crs member that names no reference system; expected one such as EPSG:26912"
        )
    return name


def _parts(coordinates: Json) -> list[Json]:
    """The members of a nested list of coordinates."""
    if not isinstance(coordinates, list) or not coordinates:
        raise ShapeNotReadable("coordinates as a list that is not empty")
    return coordinates


def _position(coordinates: Json) -> tuple[float, ...]:
    """One position; a height is kept so that it can be reported."""
    if not isinstance(coordinates, list) or not 2 <= len(coordinates) <= 4:
        raise ShapeNotReadable("a position as [longitude, latitude]")
    numbers: list[float] = []
    for number in coordinates[:3]:
        if isinstance(number, bool) or not isinstance(number, (int, float)) or abs(number) > 1e9:
            raise ShapeNotReadable("a position of two numbers")
        numbers.append(float(number))
    return tuple(numbers)


def _positions(coordinates: Json, at_least: int) -> list[tuple[float, ...]]:
    """Positions of a line or ring, all with or all without height."""
    positions = [_position(part) for part in _parts(coordinates)]
    if len(set(positions)) < at_least:
        raise ShapeNotReadable(f"at least {at_least} different positions")
    if len({len(position) for position in positions}) > 1:
        positions = [position[:2] for position in positions]
    return positions


def _line(coordinates: Json) -> shapely.LineString:
    """A line of at least two positions."""
    return shapely.LineString(_positions(coordinates, 2))


def _polygon(coordinates: Json) -> shapely.Polygon:
    """A polygon of rings of at least three different positions; a ring left open is closed."""
    shell, *holes = [_positions(ring, 3) for ring in _parts(coordinates)]
    return shapely.Polygon(shell, holes)

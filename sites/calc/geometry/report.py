"""What is wrong with drawn shapes, in words that say how to put it right.

A fault either refuses the row or warns of it. Shapes are in WGS 84 longitude and latitude throughout.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Floats, Geometries, area_m2, great_circle_m, length_m

SLIVER_WIDTH_M = 0.15
OVERSIZE_M2 = 20_000.0
FAR_FROM_SITE_M = 2_000.0
FAR_FROM_BOOK_M = 500_000.0
DEGREES_AN_HOUR = 15.0
POLAR_LATITUDE_DEG = 72.0
CLOCK_TOLERANCE_H = 3.5
"""Furthest that a legal clock runs from the sun's own (western China: 3 h) and half an hour of margin [h]."""


class Fault(StrEnum):
    """Kinds of fault of a drawn shape."""

    EMPTY = "empty"
    NOT_DEGREES = "not degrees"
    SELF_CROSSING = "self-crossing"
    SWAPPED = "latitude and longitude swapped"
    FAR_AWAY = "far away"
    SLIVER = "sliver"
    OVERSIZE = "oversize"
    HAS_HEIGHT = "height dropped"
    OUTSIDE_LOT = "outside the lot"
    OVERLAP = "overlap"
    MIXED = "mixed shape"
    OPEN_RING = "ring left open"
    REPEATED = "points drawn twice"
    RING_ORDER = "ring order"
    HOLE = "holes"
    ANTIMERIDIAN = "across the 180th meridian"


@dataclass(frozen=True, slots=True)
class GeometryFault:
    """One fault of one shape: its place in the array, what it is, what was expected, if it refuses."""

    index: int
    fault: Fault
    found: str
    expected: str
    refuses: bool

    def __post_init__(self) -> None:
        if self.index < 0:
            raise ValueError("index counts from 0")
        if not self.expected:
            raise ValueError("a fault says what was expected")


def shape_faults(geometries: Geometries) -> list[GeometryFault]:
    """Faults that a shape has by itself: empty, out of range, self-crossing, sliver, oversize, with height.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,); None has no fault.
    """
    shapes = np.asarray(geometries, dtype=object)
    present = ~shapely.is_missing(shapes)
    empty = present & shapely.is_empty(shapes)
    faults = [
        GeometryFault(i, Fault.EMPTY, "an empty shape", "a shape with coordinates", True) for i in _at(empty)
    ]

    off, swapped = off_globe(shapes)
    across = _across_the_180th(shapes)
    faults += [_across(i, shapes[i]) for i in _at(across)]
    faults += [_not_degrees(i, shapes[i]) for i in _at(off & ~swapped & ~across)]
    faults += [_swapped(i, shapes[i]) for i in _at(swapped & ~across)]

    sound = present & ~empty & ~off & ~swapped & ~across
    crossing = sound & ~shapely.is_valid(shapes)
    faults += [_crossing(i, str(shapely.is_valid_reason(shapes[i]))) for i in _at(crossing)]

    faults += _size_faults(shapes, sound & ~crossing)
    faults += [
        GeometryFault(
            i,
            Fault.HAS_HEIGHT,
            "coordinates with a height",
            "two-dimensional shapes; height is dropped",
            False,
        )
        for i in _at(sound & shapely.has_z(shapes))
    ]
    return sorted(faults, key=lambda fault: fault.index)


def clock_faults(geometries: Geometries, utc_offset_h: Floats) -> list[GeometryFault]:
    """Shapes whose longitude does not fit their time zone, (some of) which are swapped.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,).
    utc_offset_h
        Standard offset of each shape's time zone [h], (shapes,); NaN where it is not known.
    """
    lon, lat = _middles(geometries)
    with np.errstate(invalid="ignore"):
        off = np.abs(lon / DEGREES_AN_HOUR - utc_offset_h)
        off = np.minimum(off, 24 - off)
        turned = np.abs(lat / DEGREES_AN_HOUR - utc_offset_h)
        late = off > CLOCK_TOLERANCE_H
        swapped = late & (turned <= CLOCK_TOLERANCE_H) & (np.abs(lon) <= 90)
    faults = [_swapped(i, geometries[i]) for i in _at(swapped)]
    faults += [
        GeometryFault(
            i,
            Fault.FAR_AWAY,
            f"longitude {lon[i]:.3f}",
            f"a longitude near the time zone's (UTC{utc_offset_h[i]:+g} h); check zone and reference system",
            False,
        )
        for i in _at(late & ~swapped)
    ]
    return sorted(faults, key=lambda fault: fault.index)


def distance_faults(
    geometries: Geometries,
    home_longitude_deg: Floats,
    home_latitude_deg: Floats,
    *,
    limit_m: float,
    refuses: bool,
) -> list[GeometryFault]:
    """Shapes that lie further from home than the limit; swapped where turning them round brings them home.

    Parameters
    ----------
    geometries
        Shapes in WGS 84, (shapes,).
    home_longitude_deg, home_latitude_deg
        Where each belongs: its site, or the middle of the book [degrees], (shapes,); NaN where not known.
    limit_m
        Furthest distance that is taken without a word [m].
    refuses
        Whether a shape too far away is refused or only warned of; a swapped one is always refused.
    """
    lon, lat = _middles(geometries)
    with np.errstate(invalid="ignore"):
        away = great_circle_m(lon, lat, home_longitude_deg, home_latitude_deg)
        turned = great_circle_m(lat, lon, home_longitude_deg, home_latitude_deg)
        far = away > limit_m
        swapped = far & (turned <= limit_m) & (np.abs(lon) <= 90)
    faults = [_swapped(i, geometries[i]) for i in _at(swapped)]
    faults += [
        GeometryFault(
            i,
            Fault.FAR_AWAY,
            f"{away[i] / 1000:,.1f} km away",
            f"a place within {limit_m / 1000:g} km",
            refuses,
        )
        for i in _at(far & ~swapped)
    ]
    return sorted(faults, key=lambda fault: fault.index)


def _size_faults(shapes: Geometries, sound: npt.NDArray[np.bool_]) -> list[GeometryFault]:
    """Slivers and shapes far larger than a garden."""
    ground = sound & (shapely.get_dimensions(shapes) == 2)
    area, edge = np.zeros(len(shapes)), np.ones(len(shapes))
    area[ground] = area_m2(shapes[ground])
    edge[ground] = length_m(shapes[ground])
    width = 2 * area / edge
    faults = [
        GeometryFault(
            i,
            Fault.SLIVER,
            f"{area[i]:.2f} m2, {width[i] * 100:.0f} cm wide on average",
            f"a shape at least {SLIVER_WIDTH_M * 100:.0f} cm wide",
            False,
        )
        for i in _at(ground & (width < SLIVER_WIDTH_M))
    ]
    return faults + [
        GeometryFault(
            i,
            Fault.OVERSIZE,
            f"{area[i]:,.0f} m2",
            f"a garden's shape, under {OVERSIZE_M2:,.0f} m2; check the reference system",
            False,
        )
        for i in _at(ground & (area > OVERSIZE_M2))
    ]


def off_globe(shapes: Geometries) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Which shapes have coordinates that are no longitude and latitude, and which are only turned round.

    Parameters
    ----------
    shapes
        Shapes, (shapes,).
    """
    box = np.asarray(shapely.bounds(shapes), dtype=np.float64).reshape(-1, 4)
    filled = ~shapely.is_missing(shapes) & ~shapely.is_empty(shapes)
    x, y = np.abs(box[:, [0, 2]]).max(axis=1), np.abs(box[:, [1, 3]]).max(axis=1)
    with np.errstate(invalid="ignore"):
        on_globe = (x <= 180) & (y <= 90)
        turned = (y <= 180) & (x <= 90)
        # No garden is watered so near a pole; a place whose longitude would do as a latitude is turned round.
        polar = on_globe & (y > POLAR_LATITUDE_DEG) & (x <= POLAR_LATITUDE_DEG)
    off = filled & (~on_globe | polar)
    return off, off & turned


def _across_the_180th(shapes: Geometries) -> npt.NDArray[np.bool_]:
    """Which shapes lie on both sides of the 180th meridian, drawn through it, round the globe or in parts."""
    box = np.asarray(shapely.bounds(shapes), dtype=np.float64).reshape(-1, 4)
    west, east = box[:, 0], box[:, 2]
    on_latitudes = np.abs(box[:, [1, 3]]).max(axis=1) <= 90
    with np.errstate(invalid="ignore"):
        round_the_globe = (east - west > 180) & (east <= 180) & (west >= -180)
        through = ((west < 180) & (east > 180) | (west < -180) & (east > -180)) & (east - west < 10)
    across: npt.NDArray[np.bool_] = on_latitudes & (round_the_globe | through)
    return across


def _middles(geometries: Geometries) -> tuple[Floats, Floats]:
    """Longitude and latitude of the middle of each shape's box; NaN where there is no shape."""
    box = np.asarray(shapely.bounds(np.asarray(geometries, dtype=object)), dtype=np.float64).reshape(-1, 4)
    return (box[:, 0] + box[:, 2]) / 2, (box[:, 1] + box[:, 3]) / 2


def _place(shape: BaseGeometry) -> str:
    """First coordinate of a shape, in words."""
    x, y = shapely.get_coordinates(shape)[0]
    return f"longitude {x:.6g}, latitude {y:.6g}"


def _across(index: int, shape: BaseGeometry) -> GeometryFault:
    west, _, east, _ = (float(side) for side in shapely.bounds(shape))
    expected = "a shape on one side of the 180th meridian; draw what lies on the other as a thing of its own"
    return GeometryFault(
        index, Fault.ANTIMERIDIAN, f"longitudes from {west:.6g} to {east:.6g}", expected, True
    )


def _swapped(index: int, shape: BaseGeometry) -> GeometryFault:
    return GeometryFault(
        index, Fault.SWAPPED, _place(shape), "longitude first, then latitude; these look swapped", True
    )


def _not_degrees(index: int, shape: BaseGeometry) -> GeometryFault:
    words = "longitude -180 to 180, latitude -90 to 90; metres or feet need a declared reference system"
    return GeometryFault(index, Fault.NOT_DEGREES, _place(shape), words, True)


def _crossing(index: int, reason: str) -> GeometryFault:
    """The fault of an edge that crosses itself, from GEOS' words `Self-intersection[x y]`."""
    words, _, place = reason.rstrip("]").partition("[")
    where = " ".join(f"{float(number):.6f}" for number in place.split())
    found = f"{words} at {where}" if where else words
    return GeometryFault(
        index, Fault.SELF_CROSSING, found, "a closed edge that does not cross or touch itself", True
    )


def _at(mask: npt.NDArray[np.bool_]) -> list[int]:
    """Places where the mask is true."""
    return [int(i) for i in np.flatnonzero(mask)]

"""Checks of a book's shapes: sound, on the right spot, and in agreement with the areas that are given."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.geometry.areas import Floats, area_m2, as_array, distance_m
from sites.calc.geometry.neighbours import lot_faults, overlap_faults
from sites.calc.geometry.report import (
    FAR_FROM_BOOK_M,
    FAR_FROM_SITE_M,
    GeometryFault,
    clock_faults,
    distance_faults,
    shape_faults,
)
from sites.importing.book.items import Book, BookItem, shapes_of
from sites.importing.book.known import KnownBook

AREA_TOLERANCE: Final = 0.05
# A winter day of the north: the offset need only be good to an hour.
_STANDARD_TIME: Final = datetime(2025, 1, 15)  # noqa: DTZ001

Place = tuple[float, float]


def check_shapes(book: Book, known: KnownBook, *, timezone: str) -> None:
    """Refuse shapes that cross themselves, are no degrees, are swapped or lie elsewhere; warn of odd ones.

    Parameters
    ----------
    book
        Items as read.
    known
        The book before this file.
    timezone
        The company's time zone, for sites that give none.
    """
    items = [item for item in book.good() if item.shape is not None]
    _note(book, items, shape_faults(shapes_of(items)))
    sites = [item for item in items if item.kind == "site" and not item.is_refused]
    _note(book, sites, clocks_of(sites, timezone))
    sites = [item for item in sites if not item.is_refused]
    _note(book, sites, distances_of_sites(sites, known))
    things = [item for item in items if item.kind != "site" and not item.is_refused]
    _note(book, things, distances_of_things(book, things, known))


def clocks_of(sites: list[BookItem], timezone: str) -> list[GeometryFault]:
    """Sites whose longitude does not fit their time zone.

    Parameters
    ----------
    sites
        Sites with a shape.
    timezone
        The company's time zone, for sites that give none.
    """
    clocks = [_offset_h(str(item.values.get("timezone") or timezone)) for item in sites]
    return clock_faults(shapes_of(sites), np.array(clocks, dtype=float))


def distances_of_sites(sites: list[BookItem], known: KnownBook) -> list[GeometryFault]:
    """Sites far from the rest of the book.

    Parameters
    ----------
    sites
        Sites with a shape.
    known
        The book before this file.
    """
    middle = _middle_of_book(known, sites)
    lon, lat = np.full(len(sites), middle[0]), np.full(len(sites), middle[1])
    return distance_faults(shapes_of(sites), lon, lat, limit_m=FAR_FROM_BOOK_M, refuses=False)


def distances_of_things(book: Book, things: list[BookItem], known: KnownBook) -> list[GeometryFault]:
    """Things far from their site.

    Parameters
    ----------
    book
        The file, for the places of its sites.
    things
        Things with a shape that are no sites.
    known
        The book before this file.
    """
    places = _places(book, known)
    homes = np.array([places.get(item.site, (np.nan, np.nan)) for item in things]).reshape(-1, 2)
    return distance_faults(shapes_of(things), homes[:, 0], homes[:, 1], limit_m=FAR_FROM_SITE_M, refuses=True)


def check_areas(book: Book, known: KnownBook) -> None:
    """Give each zone its area: of its shape, else as the file says; refuse where they disagree or both miss.

    Parameters
    ----------
    book
        Items with sound shapes.
    known
        The book before this file: a zone drawn there needs no shape in this one.
    """
    items = book.good("zone")
    drawn = area_m2(shapes_of(items)) if items else np.zeros(0)
    for item, own in zip(items, drawn, strict=True):
        said = item.number("area_m2")
        stored = known.zones.get((*item.controller, item.station))
        is_stored = np.isnan(own) and stored is not None and stored.is_drawn
        area = stored.area_m2 if is_stored and stored is not None else float(own)
        if not np.isnan(area):
            if said is not None and abs(said - area) > AREA_TOLERANCE * area:
                expected = f"within 5 % of the shape's {area:.1f} m2, or no value"
                book.refuse(item, "area_m2", f"{said:g}", expected)
            if area < 0.1:
                book.refuse(item, "geometry", f"{area:.3f} m2", "a shape of at least 0.1 m2")
            item.values["area_m2"] = round(area, 3)
        elif said is None and (stored is None or "area_m2" in item.values):
            book.refuse(item, "area_m2", None, "an area where there is no shape")


def look_at_ground(book: Book, known: KnownBook) -> None:
    """Warn of zones beyond their lot or over each other, and of sensors outside their zone.

    Parameters
    ----------
    book
        Items after all checks.
    known
        The book before this file, for lots that this one does not repeat.
    """
    zones = [item for item in book.good("zone") if item.shape is not None]
    lots = lots_of(book, known, {item.site for item in zones})
    shapes = shapes_of(zones)
    _note(book, zones, lot_faults(shapes, as_array([lots.get(item.site) for item in zones])))
    numbers: dict[str, int] = {}
    site = np.array([numbers.setdefault(item.site, len(numbers)) for item in zones], dtype=np.int64)
    for fault, other in overlap_faults(shapes, site):
        book.warnings.append(f"{zones[fault.index].label()}: {fault.found}, {zones[other].label()}")
    by_key = {item.key: item for item in zones}
    sensors = [item for item in book.good("sensor") if item.shape is not None]
    pairs = [
        (sensor, zone)
        for sensor in sensors
        if (zone := by_key.get((*sensor.controller, sensor.station))) is not None
    ]
    away = distance_m(shapes_of([sensor for sensor, _ in pairs]), shapes_of([zone for _, zone in pairs]))
    for (sensor, _), metres in zip(pairs, away, strict=True):
        if metres > 0.1:
            book.warnings.append(f"{sensor.label()} lies {metres:.1f} m outside the zone that it governs by")


def _note(book: Book, items: list[BookItem], faults: list[GeometryFault]) -> None:
    """Refuse or warn of each fault."""
    for fault in faults:
        item = items[fault.index]
        if fault.refuses:
            book.refuse(item, "geometry", fault.found, fault.expected)
        else:
            book.warnings.append(f"{item.label()}: {fault.fault}: {fault.found}; expected {fault.expected}")


def _places(book: Book, known: KnownBook) -> dict[str, Place]:
    """A point of each site, of this file or of the book before."""
    places = {
        code: (site.longitude, site.latitude)
        for code, site in known.sites.items()
        if site.longitude is not None and site.latitude is not None
    }
    drawn = [item for item in book.good("site") if item.shape is not None]
    inside = shapely.point_on_surface(shapes_of(drawn))
    for item, lon, lat in zip(drawn, shapely.get_x(inside), shapely.get_y(inside), strict=True):
        places[item.site] = (float(lon), float(lat))
    return places


def lots_of(book: Book, known: KnownBook, sites: set[str]) -> dict[str, BaseGeometry | None]:
    """Lots of the sites, of this file or of the book before.

    Parameters
    ----------
    book, known
        This file, and the book before it.
    sites
        Codes of the sites that are wanted.
    """
    lots: dict[str, BaseGeometry | None] = {
        item.site: item.shape for item in book.good("site") if item.shape is not None
    }
    for code in sites - lots.keys():
        stored = known.sites.get(code)
        if stored is not None and stored.geometry is not None:
            lots[code] = shapely.from_wkb(stored.geometry)
    return lots


def _middle_of_book(known: KnownBook, sites: list[BookItem]) -> Place:
    """Median place of the sites that the book holds, or of this file's where it is the first."""
    places = [
        (site.longitude, site.latitude)
        for site in known.sites.values()
        if site.longitude is not None and site.latitude is not None
    ]
    middles: Floats = np.array(places, dtype=float).reshape(-1, 2)
    if not places:
        boxes = np.asarray(shapely.bounds(shapes_of(sites)), dtype=float).reshape(-1, 4)
        middles = (boxes[:, :2] + boxes[:, 2:]) / 2
    if not len(middles):
        return np.nan, np.nan
    median = np.median(middles, axis=0)
    return float(median[0]), float(median[1])


@lru_cache(maxsize=600)
def _offset_h(timezone: str) -> float:
    """Standard offset of a time zone [h]; NaN where it names no place."""
    if "/" not in timezone or timezone.startswith("Etc/"):
        return float("nan")
    offset = ZoneInfo(timezone).utcoffset(_STANDARD_TIME)
    return offset.total_seconds() / 3600 if offset is not None else float("nan")

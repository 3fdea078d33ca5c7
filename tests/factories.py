"""Smallest valid objects for tests; keyword arguments override any column."""

from __future__ import annotations

from datetime import date, time
from typing import Any

import shapely

from fleet.calc.visits.value import CERTIFIED
from fleet.models import Certificate, Technician, Visit, VisitNeed
from sites.models import Controller, Sensor, Site, Zone
from sites.models.geometry import bounding_box
from weather.models import Location

DAY = date(2026, 6, 15)


def build_location(name: str = "41.2,-104.7", **columns: Any) -> Location:
    """A location in a semi-arid place."""
    given = {"latitude": 41.2, "longitude": -104.7, "elevation_m": 1500.0, **columns}
    return Location.objects.create(name=name, **given)


def square(longitude: float, latitude: float, side_deg: float = 0.0001) -> shapely.Polygon:
    """A square in lon/lat with its lower left corner at the point."""
    return shapely.box(longitude, latitude, longitude + side_deg, latitude + side_deg)


def build_site(code: str = "CB-14", **columns: Any) -> Site:
    """A site with a point, on clay loam."""
    given: dict[str, Any] = {
        "name": "Okafor garden",
        "address": "9 Kiln Lane",
        "customer": "T. Okafor",
        "timezone": "America/Denver",
        "soil": "clay_loam",
        "longitude": -104.7,
        "latitude": 41.2,
        "imported_on": date(2026, 1, 1),
        **columns,
    }
    point = shapely.Point(given["longitude"], given["latitude"])
    return Site.objects.create(code=code, geometry=shapely.to_wkb(point), **bounding_box(point), **given)


def build_controller(site: Site, code: str = "A", **columns: Any) -> Controller:
    """A controller with six stations that its sensor may block."""
    return Controller.objects.create(
        site=site, code=code, **{"station_count": 6, "governed": True, **columns}
    )


def build_zone(controller: Controller, station: int = 1, **columns: Any) -> Zone:
    """A lawn under fixed spray heads."""
    shape = square(-104.7 + 0.0002 * station, 41.2)
    given = {
        "plant": "cool_turf",
        "head": "fixed_spray",
        "area_m2": 93.0,
        "name": f"zone {station}",
        **columns,
    }
    return Zone.objects.create(
        controller=controller, station=station, geometry=shapely.to_wkb(shape), **bounding_box(shape), **given
    )


def build_sensor(controller: Controller, station: int = 1, **columns: Any) -> Sensor:
    """A sensor in the zone of a station, set to 40 kPa."""
    given = {"depth_mm": 100.0, "threshold_kpa": 40.0, "installed_on": date(2025, 4, 1), **columns}
    return Sensor.objects.create(controller=controller, station=station, **given)


def build_technician(code: str = "T1", **columns: Any) -> Technician:
    """A technician who works Monday to Friday from the depot, certified where a skill asks for it."""
    given = {
        "name": "Ines Calder",
        "start_latitude": 41.2,
        "start_longitude": -104.7,
        "end_latitude": 41.2,
        "end_longitude": -104.7,
        "shift_start": time(7, 30),
        "shift_end": time(16, 30),
        "workdays": "mon,tue,wed,thu,fri",
        "skills": "wiring;audit",
        **columns,
    }
    person = Technician.objects.create(code=code, **given)
    for skill in CERTIFIED & set(given["skills"].split(";")):
        Certificate.objects.create(
            technician=person, skill=skill, number=f"{code}-1", valid_until=date(2100, 1, 1)
        )
    return person


def build_need(site: Site, key: str = "", **columns: Any) -> VisitNeed:
    """A need for a sensor check."""
    given = {
        "kind": "sensor_check",
        "origin": VisitNeed.Origin.IMPORTED,
        "reason": "asked for",
        "raised_on": DAY,
        "value_per_day": 10.0,
        "service_min": 35.0,
        **columns,
    }
    return VisitNeed.objects.create(site=site, key=key or f"imported/{site.code}/{given['kind']}", **given)


def build_visit(site: Site, **columns: Any) -> Visit:
    """A planned visit in the week of the fixed day."""
    given = {"week": DAY, "service_min": 35.0, "value_per_day": 10.0, **columns}
    return Visit.objects.create(site=site, **given)

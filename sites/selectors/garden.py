"""Everything that stands in one garden, with its shape, for maps on screen and on paper."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from sites.models import Controller, Fixture, Sensor, Site, Sprinkler, Structure, ValveBox, Wire, Zone

# A sensor nearer to the edge of its zone than this reads the edge, not the zone (common practice, no source).
SETBACK_M = 1.0
_M_A_DEGREE = 111_195.0


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing in the garden: its kind in the words of the site book, facts for the map, its shape."""

    kind: str
    shape: BaseGeometry
    facts: dict[str, object] = field(default_factory=dict)


def garden_things(*, site: Site) -> list[Thing]:
    """All things of a site that have a shape, in the order in which a map draws them."""
    things = [Thing("lot", site.shape)] if isinstance(site.shape, shapely.Polygon) else []
    things += [
        Thing("structure", row.shape, {"type": row.type})
        for row in Structure.objects.filter(site=site)
        if row.shape is not None
    ]
    zones = list(Zone.objects.filter(controller__site=site).select_related("controller"))
    sensors = list(Sensor.objects.filter(controller__site=site).select_related("controller"))
    governing = {(sensor.controller_id, sensor.station) for sensor in sensors}
    for zone in zones:
        things += _zone_things(zone, is_governing=(zone.controller_id, zone.station) in governing)
    things += [Thing("wire", row.shape) for row in Wire.objects.filter(site=site) if row.shape is not None]
    heads = Sprinkler.objects.filter(zone__controller__site=site)
    things += [Thing("sprinkler", row.shape) for row in heads if row.shape is not None]
    boxes = ValveBox.objects.filter(site=site)
    things += [Thing("valve_box", row.shape, {"label": row.name}) for row in boxes if row.shape is not None]
    fixtures = Fixture.objects.filter(site=site)
    things += [
        Thing(row.kind, row.shape, {"title": row.get_kind_display()})
        for row in fixtures
        if row.shape is not None
    ]
    controllers = Controller.objects.filter(site=site)
    things += [
        Thing("controller", row.shape, {"label": f"Controller {row.code}"})
        for row in controllers
        if row.shape is not None
    ]
    things += [Thing("sensor", row.shape, {"label": "Sensor"}) for row in sensors if row.shape is not None]
    return things


def as_geojson(things: list[Thing]) -> dict[str, object]:
    """The things as one GeoJSON collection in lon/lat."""
    return {
        "type": "FeatureCollection",
        "features": [
            {
                "type": "Feature",
                "properties": {"kind": thing.kind, **thing.facts},
                "geometry": shapely.geometry.mapping(thing.shape),
            }
            for thing in things
        ],
    }


def box_points(things: list[Thing]) -> list[tuple[float, float]]:
    """Two corners (lon, lat) of the box of all things; none where there are none."""
    if not things:
        return []
    west, south, east, north = shapely.total_bounds(np.array([thing.shape for thing in things], dtype=object))
    return [(float(west), float(south)), (float(east), float(north))]


def in_metres(shape: BaseGeometry, origin: tuple[float, float]) -> BaseGeometry:
    """The shape in metres east and north of an origin (lon, lat); true within a garden."""
    scale = np.array([_M_A_DEGREE * np.cos(np.radians(origin[1])), _M_A_DEGREE])
    return shapely.transform(shape, lambda xy: (xy - np.array(origin)) * scale)


def in_degrees(shape: BaseGeometry, origin: tuple[float, float]) -> BaseGeometry:
    """The inverse of `in_metres`."""
    scale = np.array([_M_A_DEGREE * np.cos(np.radians(origin[1])), _M_A_DEGREE])
    return shapely.transform(shape, lambda xy: xy / scale + np.array(origin))


def sensor_setback_m(*, sensor: Sensor) -> float:
    """How far a sensor stands inside the edge of its zone [m]; negative: outside; NaN: not known."""
    home = Zone.objects.filter(controller_id=sensor.controller_id, station=sensor.station).first()
    shape, place = (home.shape if home is not None else None), sensor.shape
    if shape is None or not isinstance(place, shapely.Point):
        return float("nan")
    away = in_metres(shape, (place.x, place.y)).boundary.distance(shapely.Point(0.0, 0.0))
    return float(away if shape.covers(place) else -away)


def _zone_things(zone: Zone, *, is_governing: bool) -> list[Thing]:
    """A zone, and the setback inside it where a sensor stands in it."""
    shape = zone.shape
    if shape is None:
        return []
    facts: dict[str, object] = {
        "station": zone.station,
        "name": zone.name,
        "plant": zone.plant,
        "controller": zone.controller.code,
        "is_governing": is_governing,
    }
    things = [Thing("zone", shape, facts)]
    if is_governing:
        origin = (shape.centroid.x, shape.centroid.y)
        inner = in_metres(shape, origin).buffer(-SETBACK_M)
        if not inner.is_empty:
            things.append(Thing("setback", in_degrees(inner.boundary, origin)))
    return things

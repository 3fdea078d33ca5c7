"""Where a controller's sensor should stand, and how its wire gets there: advice from the book's shapes."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import shapely
from shapely.geometry.base import BaseGeometry

from sites.calc.siting.parts import Goal, Ground, WireWay
from sites.calc.siting.points import BEARINGS, THROW_M, SitePoint, Surroundings, has_room, ranked_points
from sites.calc.siting.way import ways_from
from sites.calc.siting.zone import GoverningChoice, governing_choices
from sites.models import Controller, Sensor, Site, Sprinkler, Structure, ValveBox, Wire, Zone
from sites.models.choices import StructureType
from sites.models.geometry import Shaped
from sites.selectors.garden import SETBACK_M, Thing, in_degrees, in_metres, sensor_setback_m
from sites.selectors.zones import zone_table

_HARD = (StructureType.BUILDING, StructureType.PAVING, StructureType.WALL, StructureType.POOL)
_BLOCKED = (StructureType.BUILDING, StructureType.WALL, StructureType.POOL)


@dataclass(frozen=True, slots=True)
class ZoneChoice:
    """A zone as the seat of the sensor, with the zones that would starve."""

    zone: Zone
    choice: GoverningChoice
    starving: tuple[Zone, ...]
    is_now: bool
    is_drawn: bool


@dataclass(frozen=True, slots=True)
class AdvisedPoint:
    """A place with its number, coordinates, and the ways of the wire, the cheapest first."""

    number: int
    point: SitePoint
    longitude: float
    latitude: float
    ways: tuple[WireWay, ...]

    @property
    def way(self) -> WireWay | None:
        """The way to take."""
        return self.ways[0] if self.ways else None


@dataclass(frozen=True)
class SitingAdvice:
    """The advice for one controller."""

    site: Site
    controller: Controller
    choices: tuple[ZoneChoice, ...]
    picked: ZoneChoice | None
    points: tuple[AdvisedPoint, ...]
    origin: tuple[float, float]
    sensor: Sensor | None
    setback_now_m: float  # negative: outside its zone; NaN: not known
    uncounted: tuple[str, ...]  # boxes whose spare conductors nobody counted
    heads_known: bool
    downhill: str

    @property
    def is_outside(self) -> bool:
        """Whether the sensor of the book stands outside its zone."""
        return self.setback_now_m < 0

    @property
    def is_near_edge(self) -> bool:
        """Whether it stands inside, nearer to the edge than the setback."""
        return 0 <= self.setback_now_m < SETBACK_M

    @property
    def keeps_setback(self) -> bool:
        """Whether the zone has room for the setback."""
        return self.picked is not None and self.picked.choice.has_room

    @cached_property
    def things(self) -> list[Thing]:
        """Places, way and setback for the map, in lon/lat."""
        found: list[Thing] = []
        if self.picked is not None and (shape := self.picked.zone.shape) is not None:
            inner = in_metres(shape, self.origin).buffer(-SETBACK_M)
            if not inner.is_empty:
                found.append(Thing("setback", in_degrees(inner.boundary, self.origin)))
        for advised in self.points:
            place = shapely.Point(advised.longitude, advised.latitude)
            found.append(Thing("advice", place, {"label": str(advised.number)}))
        return found

    def way_things(self, number: int) -> list[Thing]:
        """The wire's way to a place for the map; pieces along known wires are drawn there already."""
        advised = next((one for one in self.points if one.number == number), None)
        if advised is None or advised.way is None:
            return []
        lines = [shapely.LineString([leg.start, leg.end]) for leg in advised.way.legs if not leg.is_on_wire]
        return [Thing("wire", in_degrees(line, self.origin), {"is_planned": True}) for line in lines]


def siting_advice(
    *, site: Site, controller: Controller, station: int | None = None, downhill: str = ""
) -> SitingAdvice:
    """Zones ranked as seats of the sensor, places in the chosen one, and the ways of the wire.

    Parameters
    ----------
    site, controller
        The controller of the site.
    station
        Zone to look into; None: the best.
    downhill
        Side to which the ground falls, as `SW`; empty: not known.
    """
    sensor = Sensor.objects.filter(controller=controller).first()
    choices = _choices(site, controller, sensor)
    drawn = [one for one in choices if one.is_drawn]
    picked = next((one for one in choices if one.zone.station == station), drawn[0] if drawn else None)
    boxes = list(ValveBox.objects.filter(site=site))
    points: tuple[AdvisedPoint, ...] = ()
    heads: list[BaseGeometry] = []
    origin = (site.longitude or 0.0, site.latitude or 0.0)
    if picked is not None and (shape := picked.zone.shape) is not None:
        origin = (shape.centroid.x, shape.centroid.y)
        heads = _shapes(Sprinkler.objects.filter(zone=picked.zone), origin)
        points = _points(site, controller, picked.zone, heads, boxes, origin, BEARINGS.get(downhill))
    return SitingAdvice(
        site=site,
        controller=controller,
        choices=tuple(choices),
        picked=picked,
        points=points,
        origin=origin,
        sensor=sensor,
        setback_now_m=sensor_setback_m(sensor=sensor) if sensor is not None else float("nan"),
        uncounted=tuple(box.name for box in boxes if box.spare_wires is None),
        heads_known=bool(heads),
        downhill=downhill if downhill in BEARINGS else "",
    )


def _choices(site: Site, controller: Controller, sensor: Sensor | None) -> list[ZoneChoice]:
    """The controller's zones, the best seat first."""
    table = zone_table(site_ids=[site.pk])
    table = table.take(table.controller_id == controller.pk)
    zones = {zone.pk: zone for zone in Zone.objects.filter(controller=controller)}
    ordered = [zones[pk] for pk in table.zone_id.tolist()]
    rooms = []
    for zone in ordered:
        shape = zone.shape
        rooms.append(
            shape is not None and has_room(in_metres(shape, (shape.centroid.x, shape.centroid.y)), SETBACK_M)
        )
    threshold = sensor.threshold_kpa if sensor is not None and sensor.threshold_kpa else float("nan")
    return [
        ZoneChoice(
            zone=ordered[choice.at],
            choice=choice,
            starving=tuple(ordered[at] for at in choice.starving),
            is_now=sensor is not None and sensor.station == ordered[choice.at].station,
            is_drawn=ordered[choice.at].geometry is not None,
        )
        for choice in governing_choices(table, threshold_kpa=threshold, has_room=rooms)
    ]


def _points(
    site: Site,
    controller: Controller,
    zone: Zone,
    heads: list[BaseGeometry],
    boxes: list[ValveBox],
    origin: tuple[float, float],
    downhill_deg: float | None,
) -> tuple[AdvisedPoint, ...]:
    """Places in a zone with the ways of the wire."""
    shape = zone.shape
    if shape is None:
        return ()
    structures = [
        (row.type, in_metres(row.shape, origin))
        for row in Structure.objects.filter(site=site)
        if row.shape is not None
    ]
    others = Zone.objects.filter(controller__site=site).exclude(pk=zone.pk)
    around = Surroundings(
        zone=in_metres(shape, origin),
        hard=[form for kind, form in structures if kind in _HARD],
        trees=[form for kind, form in structures if kind == StructureType.TREE],
        neighbours=_shapes(others, origin),
        heads=heads,
        downhill_deg=downhill_deg,
        throw_m=THROW_M.get(zone.head, math.inf),
    )
    ground = Ground(
        blocked=[form for kind, form in structures if kind in _BLOCKED],
        paving=[form for kind, form in structures if kind == StructureType.PAVING],
        trees=around.trees,
        wires=_shapes(Wire.objects.filter(site=site, spare__gt=0), origin),
    )
    goals = _goals(controller, boxes, origin)
    points = ranked_points(around, setback_m=SETBACK_M)
    ways = ways_from([(point.x, point.y) for point in points], goals, ground)
    found = []
    for number, (point, own) in enumerate(zip(points, ways, strict=True), start=1):
        place = in_degrees(shapely.Point(point.x, point.y), origin)
        found.append(AdvisedPoint(number, point, *_at(place), tuple(own)))
    return tuple(found)


def _goals(controller: Controller, boxes: list[ValveBox], origin: tuple[float, float]) -> list[Goal]:
    """Boxes with a spare conductor, and the controller."""
    goals = []
    for box in boxes:
        if box.spare_wires and box.shape is not None:
            at = _at(in_metres(box.shape.centroid, origin))
            goals.append(Goal(box.name, "valve_box", *at, box.spare_wires))
    if controller.shape is not None:
        goals.append(Goal(controller.code, "controller", *_at(in_metres(controller.shape.centroid, origin))))
    return goals


def _at(point: BaseGeometry) -> tuple[float, float]:
    """Coordinates of a point."""
    return float(shapely.get_x(point)), float(shapely.get_y(point))


def _shapes(rows: Iterable[Shaped], origin: tuple[float, float]) -> list[BaseGeometry]:
    """Shapes of rows in local metres."""
    found = [row.shape for row in rows]
    return [in_metres(shape, origin) for shape in found if shape is not None]

"""Invented gardens: a lot with its house, zones around it, and what lies in the ground."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry.base import BaseGeometry

HEADS: Final = {"turf": ("fixed_spray", "rotor", "rotary_nozzle"), "bed": ("dripline", "fixed_spray")}
# Share of the zones whose rate and uniformity were measured in an audit (the others are assumed).
MEASURED: Final = 0.45
TRUE_RATE_MM_H: Final = {
    "fixed_spray": 41.0,
    "rotor": 13.0,
    "rotary_nozzle": 11.0,
    "dripline": 16.0,
    "bubbler": 24.0,
}
TRUE_UNIFORMITY: Final = {
    "fixed_spray": 0.55,
    "rotor": 0.6,
    "rotary_nozzle": 0.66,
    "dripline": 0.8,
    "bubbler": 0.8,
}


@dataclass(frozen=True, slots=True)
class DemoZone:
    """A zone in lot metres, with what is true of it and what the book knows."""

    station: int
    name: str
    plant: str
    head: str
    shape: BaseGeometry
    true_rate_mm_h: float
    true_uniformity: float
    rate_known: bool
    sun: str


@dataclass(frozen=True, slots=True)
class DemoController:
    """A controller, its zones, its sensor's spot (None: no sensor) and its wire."""

    code: str
    spot: shapely.Point
    zones: tuple[DemoZone, ...]
    sensor_station: int
    sensor_spot: shapely.Point | None
    wire: shapely.LineString | None
    station_order: str
    gating: str


@dataclass(slots=True)
class DemoGarden:
    """One lot, in metres from its street corner: x along the street, y away from it."""

    lot: shapely.Polygon
    structures: list[tuple[str, BaseGeometry]] = field(default_factory=list)
    controllers: list[DemoController] = field(default_factory=list)
    boxes: list[tuple[str, shapely.Point, int | None]] = field(default_factory=list)
    fixtures: list[tuple[str, shapely.Point]] = field(default_factory=list)
    sprinklers: list[tuple[str, int, shapely.Point]] = field(default_factory=list)


def build_garden(
    rng: np.random.Generator, *, width_m: float, depth_m: float, has_sensor: bool, messy: bool
) -> DemoGarden:
    """A garden with 4 to 8 zones around its house, on 1 to 3 controllers."""
    garden = DemoGarden(shapely.box(0, 0, width_m, depth_m))
    side = float(rng.uniform(2.4, 4.2))
    house = _house(rng, width_m, depth_m, side)
    drive = shapely.box(0.8, 0, 4.0, house.bounds[1])
    patio_west = float(rng.uniform(width_m * 0.25, width_m * 0.45))
    patio = shapely.box(
        patio_west,
        house.bounds[3] - 3.0,
        patio_west + rng.uniform(4, 7),
        house.bounds[3] + rng.uniform(2.5, 5),
    )
    garden.structures = [("building", house), ("paving", drive), ("paving", patio.difference(house))]
    if rng.random() < 0.12:
        pool = shapely.Point(width_m * 0.72, depth_m - 8).buffer(2.6)
        garden.structures.append(("pool", pool))
    shapes = _zone_shapes(rng, width_m, depth_m, side, garden)
    if messy:
        shapes = _make_messy(rng, shapes)
    zones = _zones(rng, shapes)
    _put_controllers(rng, garden, zones, has_sensor=has_sensor, width_m=width_m)
    _put_fixtures(garden)
    return garden


def _house(rng: np.random.Generator, width_m: float, depth_m: float, side: float) -> shapely.Polygon:
    """A house, often an L."""
    front = float(rng.uniform(7.0, 9.5))
    back = front + float(rng.uniform(9.0, 11.5))
    house = shapely.box(side, front, width_m - side, min(back, depth_m - 11))
    if rng.random() < 0.6:
        cut_east = rng.random() < 0.5
        cut_width = (width_m - 2 * side) * rng.uniform(0.3, 0.45)
        west = width_m - side - cut_width if cut_east else side
        notch = shapely.box(west, house.bounds[3] - rng.uniform(3, 5), west + cut_width, house.bounds[3])
        return _largest(house.difference(notch))
    return house


def _zone_shapes(
    rng: np.random.Generator, width_m: float, depth_m: float, side: float, garden: DemoGarden
) -> list[tuple[str, str, BaseGeometry]]:
    """(name, planting group, polygon) of each zone; nothing overlaps a structure."""
    house = garden.structures[0][1]
    hard = shapely.union_all([shape for _, shape in garden.structures]).buffer(0.3, join_style="mitre")
    front, back = house.bounds[1], house.bounds[3]
    front_bed = shapely.box(4.6, front - 1.9, width_m - 1.2, front - 0.3)
    front_lawn = shapely.box(4.4, 0.6, width_m - 0.8, front - 2.1)
    if rng.random() < 0.35:  # an arc at the corner
        corner = shapely.Point(width_m - 0.8, 0.6).buffer(rng.uniform(2.0, 3.4))
        front_lawn = _largest(front_lawn.difference(corner))
    side_strip = shapely.box(width_m - side + 0.4, front, width_m - 0.7, back)
    hedge = shapely.box(0.6, depth_m - 1.7, width_m - 0.6, depth_m - 0.6)
    back_lawn = _largest(shapely.box(0.9, back + 0.4, width_m - 0.9, depth_m - 2.0).difference(hard))
    bed_spot = shapely.Point(width_m * rng.uniform(0.2, 0.8), depth_m - rng.uniform(4.5, 6.0))
    bed = bed_spot.buffer(rng.uniform(1.2, 1.9))
    if rng.random() < 0.4:
        bed = affinity.scale(bed, 1.5, 0.8)
    shapes = [
        ("front lawn", "turf", front_lawn.difference(hard)),
        ("side strip", "turf", side_strip.difference(hard)),
        ("front shrubs", "shrubs", front_bed.difference(hard)),
        ("back lawn", "turf", back_lawn.difference(bed.buffer(0.15))),
        ("flower bed", "annuals", bed.intersection(back_lawn)),
        ("hedge", "hedge", hedge.difference(hard)),
    ]
    if rng.random() < 0.3:
        west_strip = shapely.box(0.7, front, side - 0.4, back).difference(hard)
        shapes.append(("west strip", "groundcover", west_strip))
    return [(name, group, _largest(shape)) for name, group, shape in shapes if _largest(shape).area > 3.0]


def _largest(shape: BaseGeometry) -> shapely.Polygon:
    """The largest polygon of a shape, empty where there is none."""
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, shapely.Polygon)]
    return max(parts, key=lambda part: part.area, default=shapely.Polygon())


def _make_messy(
    rng: np.random.Generator, shapes: list[tuple[str, str, BaseGeometry]]
) -> list[tuple[str, str, BaseGeometry]]:
    """As gardens are drawn in a hurry: a zone in two parts, or one that overlaps its neighbour a little."""
    name, group, shape = shapes[0]
    west, south, east, north = shape.bounds
    middle = west + (east - west) * 0.55
    if rng.random() < 0.5:
        halves = [
            _largest(shape.intersection(shapely.box(west, south, middle - 0.4, north))),
            _largest(shape.intersection(shapely.box(middle + 0.4, south, east, north))),
        ]
        return [
            (name, group, shapely.MultiPolygon([half for half in halves if not half.is_empty])),
            *shapes[1:],
        ]
    return [(name, group, affinity.scale(shape, 1.02, 1.06)), *shapes[1:]]


def _zones(rng: np.random.Generator, shapes: list[tuple[str, str, BaseGeometry]]) -> list[DemoZone]:
    """The zones with plants, heads and their true rate and uniformity."""
    turf = "warm_turf" if rng.random() < 0.15 else "cool_turf"
    turf_head = str(rng.choice(HEADS["turf"], p=[0.5, 0.3, 0.2]))
    zones = []
    for number, (name, group, shape) in enumerate(shapes, start=1):
        plant = {"turf": turf, "hedge": "shrubs"}.get(group, group)
        if group == "shrubs" and rng.random() < 0.15:
            plant = "desert"
        head = turf_head if group == "turf" else str(rng.choice(HEADS["bed"], p=[0.7, 0.3]))
        if group == "turf" and shape.area < 40:
            head = "fixed_spray"
        rate = TRUE_RATE_MM_H[head] * float(np.exp(rng.normal(0, 0.14)))
        uniformity = float(np.clip(TRUE_UNIFORMITY[head] + rng.normal(0, 0.07), 0.35, 0.92))
        zones.append(
            DemoZone(
                station=number,
                name=name,
                plant=plant,
                head=head,
                shape=shape,
                true_rate_mm_h=round(rate, 2),
                true_uniformity=round(uniformity, 2),
                rate_known=bool(rng.random() < MEASURED),
                sun="part" if name in {"side strip", "west strip"} else "full",
            )
        )
    return zones


def _put_controllers(
    rng: np.random.Generator,
    garden: DemoGarden,
    zones: list[DemoZone],
    *,
    has_sensor: bool,
    width_m: float,
) -> None:
    """One to three controllers, with a sensor in the sunniest lawn of each that has one."""
    draw = rng.random()
    count = 1 if draw < 0.8 or len(zones) < 6 else 2 if draw < 0.95 else 3
    order = list(zones)
    groups = [order] if count == 1 else [order[i::count] for i in range(count)]
    house = garden.structures[0][1]
    box = shapely.Point(width_m - 1.0, house.bounds[1] - 0.6)
    garden.boxes = [
        ("Box 1", box, 2),
        ("Box 2", shapely.Point(width_m * 0.5, house.bounds[3] + 0.5), int(rng.integers(0, 3)) or None),
    ]
    for number, group in enumerate(groups):
        renumbered = tuple(
            DemoZone(
                station=station,
                name=zone.name,
                plant=zone.plant,
                head=zone.head,
                shape=zone.shape,
                true_rate_mm_h=zone.true_rate_mm_h,
                true_uniformity=zone.true_uniformity,
                rate_known=zone.rate_known,
                sun=zone.sun,
            )
            for station, zone in enumerate(group, start=1)
        )
        lawns = [zone for zone in renumbered if zone.plant.endswith("turf") and zone.sun == "full"] or [
            renumbered[0]
        ]
        governing = max(lawns, key=lambda zone: zone.shape.area)
        spot = shapely.Point(house.bounds[0] + 0.2 + number, house.bounds[1] + 1.5)
        with_sensor = has_sensor and (number == 0 or rng.random() < 0.7)
        sensor_spot = None
        wire = None
        if with_sensor:
            inner = governing.shape.buffer(-1.0)
            base = inner if not inner.is_empty and rng.random() < 0.9 else governing.shape
            sensor_spot = base.representative_point()
            wire = shapely.LineString(
                [(box.x, box.y), (sensor_spot.x, box.y), (sensor_spot.x, sensor_spot.y)]
            )
        garden.controllers.append(
            DemoController(
                code="ABC"[number],
                spot=spot,
                zones=renumbered,
                sensor_station=governing.station,
                sensor_spot=sensor_spot,
                wire=wire,
                station_order="free" if rng.random() < 0.35 else "numeric",
                gating="at_start" if rng.random() < 0.3 else "any_time",
            )
        )


def _put_fixtures(garden: DemoGarden) -> None:
    """Water meter, shutoff, backflow preventer, and the heads at the corners of the lawns."""
    width = garden.lot.bounds[2]
    garden.fixtures = [
        ("water_meter", shapely.Point(width - 0.6, 0.3)),
        ("shutoff", shapely.Point(width - 0.6, 1.1)),
        ("backflow_preventer", shapely.Point(width - 1.2, garden.structures[0][1].bounds[1] - 0.4)),
    ]
    for controller in garden.controllers:
        for zone in controller.zones:
            if not zone.plant.endswith("turf"):
                continue
            corners = shapely.get_coordinates(shapely.oriented_envelope(zone.shape.buffer(-0.2)))[:4]
            garden.sprinklers += [
                (controller.code, zone.station, shapely.Point(*corner)) for corner in corners
            ]


def set_on_street(shape: BaseGeometry, *, corner: tuple[float, float], turn_deg: float) -> BaseGeometry:
    """A lot's geometry moved to its street corner and turned as its street runs."""
    return affinity.translate(affinity.rotate(shape, turn_deg, origin=(0, 0)), *corner)

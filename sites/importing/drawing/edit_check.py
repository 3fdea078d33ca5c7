"""Checks of an edited drawing: each problem with its thing, its field and the reason; and what is odd."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from datetime import date
from typing import Final

import numpy as np
import shapely

from sites.calc.geometry.areas import as_array, distance_m
from sites.calc.geometry.neighbours import lot_faults, overlap_faults
from sites.calc.geometry.report import FAR_FROM_SITE_M, GeometryFault, distance_faults, shape_faults
from sites.calc.soil import FIELD_CAPACITY_KPA
from sites.importing.book.kinds import KINDS
from sites.importing.drawing.drawing import Drawing, DrawnThing, fingerprint_of
from sites.importing.drawing.edit_apply import required_fields
from sites.importing.drawing.edits import EditProblem

Found = Iterator[EditProblem]
_NAMELESS: Final = ("wire", "structure", "sprinkler", "water_meter", "shutoff", "backflow_preventer")
_HARDLY_M: Final = 0.1


def edit_problems(drawing: Drawing, touched: Collection[str], *, today: date) -> list[EditProblem]:
    """What refuses the drawing: of the things that were touched, and of what stands on them.

    Parameters
    ----------
    drawing
        The drawing after the edits.
    touched
        Ids of the things that the edits name; old faults of others stop nobody.
    today
        Days of installation and planting after it are refused.
    """
    mine = [thing for thing in drawing.things.values() if thing.id in touched]
    found = [problem for thing in mine for problem in _alone(thing)]
    found += [
        problem for thing in mine for problem in _CHECKS.get(thing.kind, _nothing)(thing, drawing, today)
    ]
    found += _twice(drawing, touched)
    found += [
        EditProblem(
            mine[fault.index].id, "geometry", f"{fault.fault}: {fault.found}; expected {fault.expected}"
        )
        for fault in _faults(mine, drawing)
        if fault.refuses
    ]
    return list(dict.fromkeys(found))


def edit_warnings(drawing: Drawing, touched: Collection[str]) -> list[EditProblem]:
    """What is odd and kept all the same: slivers, zones outside the lot or over each other, sensors outside.

    Parameters
    ----------
    drawing
        The drawing after the edits, without a problem.
    touched
        Ids of the things that the edits name.
    """
    mine = [thing for thing in drawing.things.values() if thing.id in touched]
    found = [
        EditProblem(
            mine[fault.index].id, "geometry", f"{fault.fault}: {fault.found}; expected {fault.expected}"
        )
        for fault in shape_faults(as_array([thing.shape for thing in mine]))
        if not fault.refuses
    ]
    zones = [zone for zone in drawing.of("zone") if zone.shape is not None]
    found += _neighbours(zones, drawing, touched)
    return found + list(_stray_sensors(drawing, touched))


def _alone(thing: DrawnThing) -> Found:
    """Values and shape that a thing cannot be without."""
    for name in sorted(required_fields(thing.kind)):
        if thing.fields.get(name) in (None, ""):
            yield EditProblem(thing.id, name, "expected a value here")
    if thing.kind == "sprinkler" and not thing.text("zone"):
        yield EditProblem(thing.id, "zone", "expected the zone of the sprinkler")
    if thing.shape is None and KINDS[thing.kind].needs_shape:
        yield EditProblem(thing.id, "geometry", "expected a place on the map")


def _site(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """Access hours in order."""
    del drawing, today
    opens, closes = thing.fields.get("visit_from"), thing.fields.get("visit_to")
    if opens is not None and closes is not None and not str(opens) < str(closes):
        yield EditProblem(thing.id, "visit_to", f"expected a time after {str(opens)[:5]}")


def _controller(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """Enough stations for its zones."""
    del today
    code = thing.text("controller")
    highest = max(
        (zone.whole("station") for zone in drawing.of("zone") if zone.text("controller") == code), default=0
    )
    if thing.whole("station_count") < highest:
        reason = f"expected at least {highest}, the highest station with a zone"
        yield EditProblem(thing.id, "station_count", reason)


def _zone(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """A station that its controller has; an area."""
    yield from _on_a_station(thing, drawing)
    area = thing.fields.get("area_m2")
    if thing.shape is None and area is None:
        yield EditProblem(thing.id, "area_m2", "expected an area where there is no shape")
    if thing.shape is not None and isinstance(area, float) and area < 0.1:
        yield EditProblem(thing.id, "geometry", "expected a shape of at least 0.1 m2")
    yield from _not_to_come(thing, "planted_on", today)


def _sensor(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """A zone to stand in; a threshold that can work and that the unit offers."""
    yield from _on_a_station(thing, drawing)
    if drawing.zone_at(thing.text("controller"), thing.whole("station")) is None:
        yield EditProblem(thing.id, "station", "expected a station that has a zone")
    yield from _not_to_come(thing, "installed_on", today)
    threshold = thing.fields.get("threshold_kpa")
    if not isinstance(threshold, float):
        return
    if threshold <= FIELD_CAPACITY_KPA:
        reason = (
            f"expected more than {FIELD_CAPACITY_KPA:g} kPa, the tension at field capacity: "
            "the soil drains to it by itself, so a wetter setting would never block a start"
        )
        yield EditProblem(thing.id, "threshold_kpa", reason)
    steps = [float(step) for step in thing.text("threshold_steps_kpa").split(";") if step]
    if steps and all(abs(threshold - step) > 1e-6 for step in steps):
        listed = ", ".join(f"{step:g}" for step in steps)
        yield EditProblem(thing.id, "threshold_kpa", f"expected one of the unit's settings: {listed}")


def _sprinkler(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """A zone that is there."""
    del today
    zone = drawing.things.get(thing.text("zone"))
    if thing.text("zone") and (zone is None or zone.kind != "zone"):
        yield EditProblem(thing.id, "zone", "expected a zone of this site")


def _wire(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """No more spare conductors than there are."""
    del drawing, today
    conductors, spare = thing.fields.get("conductors"), thing.fields.get("spare")
    if isinstance(conductors, int) and isinstance(spare, int) and spare > conductors:
        yield EditProblem(thing.id, "spare", f"expected at most the {conductors} conductors")


def _nothing(thing: DrawnThing, drawing: Drawing, today: date) -> Found:
    """Nothing more to check."""
    del thing, drawing, today
    yield from ()


_CHECKS: Final[dict[str, Callable[[DrawnThing, Drawing, date], Found]]] = {
    "site": _site,
    "controller": _controller,
    "zone": _zone,
    "sensor": _sensor,
    "sprinkler": _sprinkler,
    "wire": _wire,
}


def _on_a_station(thing: DrawnThing, drawing: Drawing) -> Found:
    """A controller that is there, and a station that it has."""
    code = thing.text("controller")
    home = next((one for one in drawing.of("controller") if one.text("controller") == code), None)
    if home is None:
        yield EditProblem(thing.id, "controller", "expected a controller of this site")
    elif thing.whole("station") > home.whole("station_count"):
        reason = f"expected a station up to {home.whole('station_count')}"
        yield EditProblem(thing.id, "station", reason)


def _not_to_come(thing: DrawnThing, name: str, today: date) -> Found:
    """A day that is not still to come."""
    value = thing.fields.get(name)
    if isinstance(value, date) and value > today:
        yield EditProblem(thing.id, name, f"expected a day up to {today}")


def _twice(drawing: Drawing, touched: Collection[str]) -> Found:
    """Things that would stand in the book twice."""
    seen: dict[tuple[str, ...], DrawnThing] = {}
    for thing in sorted(drawing.things.values(), key=lambda one: one.id in touched):
        name, key = _own_key(thing)
        if not key:
            continue
        first = seen.setdefault((thing.kind, *key), thing)
        if first is not thing and {first.id, thing.id} & set(touched):
            yield EditProblem(thing.id, name, f"expected each {thing.kind.replace('_', ' ')} once")


def _own_key(thing: DrawnThing) -> tuple[str, tuple[str, ...]]:
    """The field that names a thing, and what must be there once."""
    if thing.kind in ("controller", "sensor"):
        return "controller", (thing.text("controller"),)
    if thing.kind == "zone":
        return "station", (thing.text("controller"), thing.text("station"))
    if thing.kind == "valve_box":
        return "name", (thing.text("name"),)
    if thing.kind in _NAMELESS and thing.shape is not None:
        return "geometry", (thing.text("zone"), fingerprint_of(thing.shape))
    return "", ()


def _faults(mine: Sequence[DrawnThing], drawing: Drawing) -> list[GeometryFault]:
    """Faults of shapes by themselves, and of places far from the site."""
    shapes = as_array([thing.shape for thing in mine])
    faults = shape_faults(shapes)
    home = next((site.shape for site in drawing.of("site") if site.shape is not None), None)
    if home is not None and home.is_valid:
        inside = shapely.point_on_surface(home)
        lon, lat = np.full(len(mine), inside.x), np.full(len(mine), inside.y)
        faults += distance_faults(shapes, lon, lat, limit_m=FAR_FROM_SITE_M, refuses=True)
    return faults


def _neighbours(zones: Sequence[DrawnThing], drawing: Drawing, touched: Collection[str]) -> Found:
    """Zones beyond the lot or over each other."""
    shapes = as_array([zone.shape for zone in zones])
    lots = as_array([next((site.shape for site in drawing.of("site")), None)] * len(zones))
    for fault in lot_faults(shapes, lots):
        if zones[fault.index].id in touched:
            yield EditProblem(zones[fault.index].id, "geometry", f"{fault.fault}: {fault.found}")
    for fault, other in overlap_faults(shapes, np.zeros(len(zones), dtype=np.int64)):
        pair = (zones[fault.index], zones[other])
        for one, its_other in (pair, pair[::-1]):
            if one.id in touched:
                name = its_other.text("name") or f"station {its_other.text('station')}"
                share = fault.found.split(" ")[0]
                yield EditProblem(
                    one.id, "geometry", f"{fault.fault}: {share} of the smaller shared with {name}"
                )
                break


def _stray_sensors(drawing: Drawing, touched: Collection[str]) -> Found:
    """Sensors outside the zone that they govern by."""
    for sensor in drawing.of("sensor"):
        zone = drawing.zone_at(sensor.text("controller"), sensor.whole("station"))
        if (
            zone is None
            or zone.shape is None
            or sensor.shape is None
            or not {sensor.id, zone.id} & set(touched)
        ):
            continue
        away = float(distance_m(as_array([sensor.shape]), as_array([zone.shape]))[0])
        if away > _HARDLY_M:
            yield EditProblem(
                sensor.id, "geometry", f"it stands {away:.1f} m outside the zone that it governs by"
            )

"""Sensors of the whole book that stand outside their zone, or too near its edge, in one pass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from sites.calc.geometry.areas import setback_m
from sites.models import Sensor, Zone
from sites.selectors.garden import SETBACK_M


@dataclass(frozen=True, slots=True)
class MisplacedSensor:
    """A sensor out of place. `setback_m` is its distance from the zone's edge; negative: outside."""

    site: str
    site_name: str
    controller: str
    station: int
    zone_name: str
    setback_m: float
    narrow: bool  # no point of its zone keeps the setback

    @property
    def is_outside(self) -> bool:
        """Whether it stands outside its zone."""
        return self.setback_m < 0


@dataclass(frozen=True, slots=True)
class SensorPlaces:
    """How the sensors of the book stand: those out of place, the worst first, and the counts of all."""

    misplaced: tuple[MisplacedSensor, ...]
    judged: int
    without_place: int  # sensor or zone is not drawn


def sensor_places() -> SensorPlaces:
    """Every sensor of the book against the zone that it governs by, in two queries."""
    sensors = list(
        Sensor.objects.filter(geometry__isnull=False)
        .order_by("controller__site__code", "controller__code")
        .values_list(
            "controller_id",
            "station",
            "geometry",
            "controller__site__code",
            "controller__site__name",
            "controller__code",
        )
    )
    wanted = Zone.objects.filter(geometry__isnull=False, controller__sensor__isnull=False)
    zones = {
        (controller, station): (name, geometry)
        for controller, station, name, geometry in wanted.values_list(
            "controller_id", "station", "name", "geometry"
        )
    }
    pairs = [(row, zones[row[0], row[1]]) for row in sensors if (row[0], row[1]) in zones]
    total = Sensor.objects.count()
    if not pairs:
        return SensorPlaces((), 0, total)
    points = shapely.from_wkb([row[2] for row, _ in pairs])
    grounds = shapely.from_wkb([geometry for _, (_, geometry) in pairs])
    away = setback_m(np.asarray(points, dtype=object), np.asarray(grounds, dtype=object))
    found = [
        MisplacedSensor(
            site=row[3],
            site_name=row[4],
            controller=row[5],
            station=row[1],
            zone_name=name,
            setback_m=float(metres),
            narrow=_is_narrow(ground),
        )
        for (row, (name, _)), metres, ground in zip(pairs, away, grounds, strict=True)
        if metres < SETBACK_M
    ]
    found.sort(key=lambda one: (one.setback_m, one.site, one.controller))
    return SensorPlaces(tuple(found), len(pairs), total - len(pairs))


def _is_narrow(ground: object) -> bool:
    """Whether no point of a zone keeps the setback; metres by the scale at its middle."""
    shape = np.asarray([ground], dtype=object)
    spoke = shapely.maximum_inscribed_circle(shape[0])
    middle = np.asarray([shapely.Point(shapely.get_coordinates(spoke)[0])], dtype=object)
    return bool(setback_m(middle, shape)[0] < SETBACK_M)

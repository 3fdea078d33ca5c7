"""Routes of a day as sheets for paper: stops in order, and what the map shows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.models import Route, Technician
from fleet.selectors.on_site.day import TechnicianDay
from fleet.selectors.plan.board import route_lines
from fleet.selectors.plan.technician_days import technician_days

LonLat = tuple[float, float]


@dataclass(frozen=True, slots=True)
class MapStop:
    """A stop with its number."""

    number: int
    longitude: float
    latitude: float


@dataclass(frozen=True, slots=True)
class RouteSheet:
    """One technician's day with the map's line, stops and start (longitude, latitude) [deg]."""

    day: TechnicianDay
    line: tuple[LonLat, ...]
    stops: tuple[MapStop, ...]
    start: LonLat
    numbers: dict[int, int]  # of each stop's row, as on the map


def route_sheets(*, day: date, technician_id: int | None = None) -> tuple[RouteSheet, ...]:
    """Sheets of a day's routes, of everybody or of one person, in the order of their codes."""
    lines = {line.technician: line for line in route_lines(day=day)}
    people = Technician.objects.filter(pk__in=Route.objects.filter(day=day).values("technician_id"))
    if technician_id is not None:
        people = people.filter(pk=technician_id)
    wanted = list(people.order_by("code"))
    starts = {person.pk: (person.start_longitude, person.start_latitude) for person in wanted}
    days = technician_days(people=wanted, day=day)
    return tuple(
        _sheet(own, lines[own.technician].coordinates if own.technician in lines else (), starts)
        for own in days
        if own.visits
    )


def _sheet(own: TechnicianDay, line: tuple[LonLat, ...], starts: dict[int, LonLat]) -> RouteSheet:
    """One person's sheet."""
    visits = [stop for stop in own.stops if stop.what == "visit"]
    numbers = {stop.stop_id: number for number, stop in enumerate(visits, start=1)}
    stops = tuple(
        MapStop(numbers[stop.stop_id], stop.longitude, stop.latitude)
        for stop in visits
        if stop.longitude is not None and stop.latitude is not None
    )
    return RouteSheet(own, line, stops, starts[own.technician_id], numbers)

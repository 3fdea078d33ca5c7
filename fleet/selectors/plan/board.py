"""The dispatcher's board: every technician's week, what was left out, and routes as lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.calc.plan.workdays import off_words
from fleet.models import HeldWindow, PlanRun, Route, Stop, Technician, Visit
from fleet.selectors.plan.board_people import numbered_people
from fleet.selectors.plan.routes import (
    BoardDay,
    BoardRow,
    PlanStamp,
    RouteLine,
    StopRow,
    UnservedRow,
    WeekBoard,
)
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, stop_rows, words_of


def week_board(*, week: date, people: Sequence[int] | None = None, wide: date | None = None) -> WeekBoard:
    """The board of a week that begins on a Monday.

    Parameters
    ----------
    week
        The Monday.
    people
        Technicians whose lanes are wanted, in this order; None: everybody's, by number.
    wide
        The day whose stops are told in full, the others only in figures; None: all are.
    """
    days = tuple(week + timedelta(days=number) for number in range(7))
    here = company_zone()
    # Ways along the streets are long, and only the map of one day shows them.
    found = Route.objects.filter(day__in=days).select_related("technician").defer("way")
    routes = list(found if people is None else found.filter(technician_id__in=people))
    rows = stop_rows([route for route in routes if wide in (None, route.day)], with_held=True)
    briefs = _briefs([route for route in routes if route.pk not in rows])
    by_day = {(route.technician_id, route.day): route for route in routes}
    lanes = _lanes(routes, people)
    return WeekBoard(
        week=week,
        days=days,
        rows=tuple(
            BoardRow(
                number=number,
                technician_id=person.pk,
                technician=person.code,
                name=person.name,
                skills=_words(person.skills),
                start_latitude=person.start_latitude,
                start_longitude=person.start_longitude,
                days=tuple(
                    _board_day(person, day, by_day.get((person.pk, day)), rows, briefs, here) for day in days
                ),
            )
            for number, person in lanes
        ),
        plan=plan_stamp(week=week),
        can_undo=PlanRun.objects.filter(week=week, undone_at__isnull=True, before__isnull=False).exists(),
    )


def unserved_rows(*, week: date) -> tuple[UnservedRow, ...]:
    """Visits of a week that the last plan left out, by value."""
    visits = list(
        Visit.objects.filter(week=week, state__in=(Visit.State.PLANNED, Visit.State.TOLD))
        .exclude(unserved_code="")
        .select_related("site")
        .defer("site__geometry")
        .order_by("-value_per_day", "site__code")
    )
    needs = needs_of_visits(visit.pk for visit in visits)
    rows = []
    for visit in visits:
        kinds = tuple(dict.fromkeys(need.kind for need in needs.get(visit.pk, [])))
        rows.append(
            UnservedRow(
                visit_id=visit.pk,
                site_id=visit.site_id,
                site=visit.site.code,
                site_name=visit.site.name,
                kinds=kinds,
                kinds_words=words_of(kinds),
                code=visit.unserved_code,
                reason=visit.why_unserved,
                value_per_day=visit.value_per_day,
            )
        )
    return tuple(rows)


def plan_stamp(*, week: date) -> PlanStamp | None:
    """When a week was last planned and what came of it; None: never."""
    runs = (
        PlanRun.objects.filter(week=week, undone_at__isnull=True)
        .order_by("-planned_at", "-pk")
        .defer("before")
    )
    run = next((run for run in runs if run.figures.get("what") == "plan"), None)
    if run is None:
        return None
    figures = run.figures
    return PlanStamp(
        planned_at=run.planned_at,
        is_estimated=bool(figures.get("is_estimated", True)),
        travel_words=str(figures.get("travel_words", "")),
        visits=int(figures.get("visits", 0)),
        unserved=int(figures.get("unserved", 0)),
        drive_min=float(figures.get("drive_min", 0)),
        drive_km=float(figures.get("drive_km", 0)),
        told=int(figures.get("told", 0)),
        # Plans of earlier versions counted the left-out ones alone, as moved.
        told_lost=int(figures.get("told_lost", figures.get("told_moved", 0))),
        told_moved=int(figures.get("told_moved", 0)) if "told_lost" in figures else 0,
    )


def route_lines(
    *, week: date | None = None, day: date | None = None, people: Sequence[int] | None = None
) -> tuple[RouteLine, ...]:
    """Routes of a week or a day as lines, of all or some people: along streets where known, else straight."""
    if (week is None) == (day is None):
        raise ValueError("give a week or a day, one of them")
    routes = Route.objects.select_related("technician")
    if day is not None:
        routes = routes.filter(day=day)
    elif week is not None:
        routes = routes.filter(day__gte=week, day__lt=week + timedelta(days=7))
    found = list(routes if people is None else routes.filter(technician_id__in=people))
    numbers = {person.pk: number for number, person in _lanes(found, None)}
    places = _places([route.pk for route in found])
    return tuple(
        RouteLine(
            number=numbers[route.technician_id],
            technician=route.technician.code,
            date=route.day,
            coordinates=_line(route, places[route.pk]),
            is_estimated=route.way is None,
        )
        for route in found
        if route.pk in places
    )


def _places(route_ids: Sequence[int]) -> dict[int, list[tuple[float, float]]]:
    """Where each route with stops stops, (lon, lat) in order, but for places held for customers."""
    held = HeldWindow.objects.values("place_id")
    stops = Stop.objects.filter(route_id__in=route_ids).exclude(visit_id__in=held, visit__isnull=False)
    found: dict[int, list[tuple[float, float]]] = {}
    for route_id, longitude, latitude in stops.order_by("route_id", "order").values_list(
        "route_id", "visit__site__longitude", "visit__site__latitude"
    ):
        own = found.setdefault(route_id, [])
        if longitude is not None and latitude is not None:
            own.append((longitude, latitude))
    return found


def _lanes(routes: Sequence[Route], people: Sequence[int] | None) -> list[tuple[int, Technician]]:
    """Technicians with their lasting numbers: those asked for, else active ones and those with a route."""
    wanted = {route.technician_id for route in routes} | set(people or ())
    numbered = numbered_people(wanted)
    if people is None:
        return list(numbered.items())
    place = {pk: place for place, pk in enumerate(people)}
    asked = [(number, person) for number, person in numbered.items() if person.pk in place]
    return sorted(asked, key=lambda one: place[one[1].pk])


@dataclass(frozen=True, slots=True)
class _Brief:
    """A day's stops in figures; gardens in the order of the visits."""

    gardens: tuple[int, ...] = ()
    service_min: float = 0.0
    rest_min: float = 0.0
    drive_min: float = 0.0
    drive_km: float = 0.0


def _brief_of(stops: Sequence[StopRow]) -> _Brief:
    """Figures of stops that are known in full."""
    return _Brief(
        gardens=tuple(stop.site_id for stop in stops if stop.what == "visit" and stop.site_id is not None),
        service_min=sum(stop.service_min for stop in stops if stop.what == "visit"),
        rest_min=sum(
            (stop.depart - stop.arrive).total_seconds() / 60 for stop in stops if stop.what == "break"
        ),
        drive_min=sum(stop.drive_min for stop in stops),
        drive_km=sum(stop.drive_km for stop in stops),
    )


def _briefs(routes: Sequence[Route]) -> dict[int, _Brief]:
    """Figures of routes whose stops are not wanted one by one."""
    found: dict[int, list[tuple[int | None, float, float, float]]] = {route.pk: [] for route in routes}
    stops = Stop.objects.filter(route_id__in=found).order_by("route_id", "order")
    for route_id, garden, arrive, depart, drive_min, drive_km in stops.values_list(
        "route_id", "visit__site_id", "arrive", "depart", "drive_min", "drive_km"
    ):
        found[route_id].append((garden, (depart - arrive).total_seconds() / 60, drive_min, drive_km))
    return {
        route.pk: _Brief(
            gardens=tuple(garden for garden, _, _, _ in found[route.pk] if garden is not None),
            service_min=sum(round(spent) for garden, spent, _, _ in found[route.pk] if garden is not None),
            rest_min=sum(spent for garden, spent, _, _ in found[route.pk] if garden is None),
            drive_min=sum(drive for _, _, drive, _ in found[route.pk]) + route.end_drive_min,
            drive_km=sum(km for _, _, _, km in found[route.pk]) + route.end_drive_km,
        )
        for route in routes
        if found[route.pk]
    }


def _board_day(
    person: Technician,
    day: date,
    route: Route | None,
    rows: dict[int, tuple[StopRow, ...]],
    briefs: dict[int, _Brief],
    here: ZoneInfo,
) -> BoardDay:
    """One technician's day."""
    off = off_words(person.workdays, person.days_off, day)
    at_work = not off or route is not None
    start = datetime.combine(day, person.shift_start, tzinfo=here) if at_work else None
    end = datetime.combine(day, person.shift_end, tzinfo=here) if at_work else None
    stops = rows.get(route.pk, ()) if route is not None else ()
    brief = briefs.get(route.pk) if route is not None else None
    brief = brief or _brief_of(stops)
    shift = (end - start).total_seconds() / 60 if start and end else 0.0
    return BoardDay(
        date=day,
        route_id=route.pk if route else None,
        is_at_work=at_work,
        off_words="" if at_work else off,
        shift_from=start,
        shift_to=end,
        stops=stops,
        gardens=brief.gardens,
        visits=len(brief.gardens),
        drive_min=round(brief.drive_min, 1),
        drive_km=round(brief.drive_km, 1),
        service_min=round(brief.service_min),
        free_min=max(0, round(shift - brief.drive_min - brief.service_min - brief.rest_min)),
        is_published=route is not None and route.state == Route.State.PUBLISHED,
    )


def _line(route: Route, places: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """Line of a route, (lon, lat)."""
    if route.way:
        return tuple((float(lon), float(lat)) for lon, lat in route.way)
    person = route.technician
    start, end = (person.start_longitude, person.start_latitude), (person.end_longitude, person.end_latitude)
    return (start, *places, end)


def _words(text: str) -> tuple[str, ...]:
    """Words of a `;`-separated text."""
    return tuple(part.strip() for part in text.split(";") if part.strip())

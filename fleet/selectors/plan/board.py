"""The dispatcher's board: every technician's week, what was left out, and routes as lines."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.calc.plan.workdays import off_words
from fleet.models import PlanRun, Route, Technician, Visit
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


def week_board(*, week: date) -> WeekBoard:
    """The board of a week that begins on a Monday."""
    days = tuple(week + timedelta(days=number) for number in range(7))
    here = company_zone()
    # Ways along the streets are long, and only the map of one day shows them.
    routes = list(Route.objects.filter(day__in=days).select_related("technician").defer("way"))
    rows = stop_rows(routes, with_held=True)
    by_day = {(route.technician_id, route.day): route for route in routes}
    people = _people(routes)
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
                days=tuple(_board_day(person, day, by_day.get((person.pk, day)), rows, here) for day in days),
            )
            for number, person in people.items()
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
    runs = PlanRun.objects.filter(week=week, undone_at__isnull=True).defer("before")
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
        told_moved=int(figures.get("told_moved", 0)),
        told=int(figures.get("told", 0)),
    )


def route_lines(*, week: date | None = None, day: date | None = None) -> tuple[RouteLine, ...]:
    """Routes of a week or a day as lines: along the streets where they are known, else straight."""
    if (week is None) == (day is None):
        raise ValueError("give a week or a day, one of them")
    routes = Route.objects.select_related("technician")
    if day is not None:
        found = list(routes.filter(day=day))
    elif week is not None:
        found = list(routes.filter(day__gte=week, day__lt=week + timedelta(days=7)))
    numbers = {person.pk: number for number, person in _people(found).items()}
    rows = stop_rows(found)
    return tuple(
        RouteLine(
            number=numbers[route.technician_id],
            technician=route.technician.code,
            date=route.day,
            coordinates=_line(route, rows[route.pk]),
            is_estimated=route.way is None,
        )
        for route in found
        if rows[route.pk]
    )


def _people(routes: list[Route]) -> dict[int, Technician]:
    """Technicians with a lasting number: active ones and those who have a route here."""
    with_route = {route.technician_id for route in routes}
    everyone = enumerate(Technician.objects.order_by("code"), start=1)
    return {n: person for n, person in everyone if person.is_active or person.pk in with_route}


def _board_day(
    person: Technician,
    day: date,
    route: Route | None,
    rows: dict[int, tuple[StopRow, ...]],
    here: ZoneInfo,
) -> BoardDay:
    """One technician's day."""
    off = off_words(person.workdays, person.days_off, day)
    at_work = not off or route is not None
    start = datetime.combine(day, person.shift_start, tzinfo=here) if at_work else None
    end = datetime.combine(day, person.shift_end, tzinfo=here) if at_work else None
    stops = rows.get(route.pk, ()) if route is not None else ()
    service = sum(stop.service_min for stop in stops if stop.what == "visit")
    rest = sum((stop.depart - stop.arrive).total_seconds() / 60 for stop in stops if stop.what == "break")
    drive = sum(stop.drive_min for stop in stops)
    shift = (end - start).total_seconds() / 60 if start and end else 0.0
    return BoardDay(
        date=day,
        route_id=route.pk if route else None,
        is_at_work=at_work,
        off_words="" if at_work else off,
        shift_from=start,
        shift_to=end,
        stops=stops,
        visits=sum(stop.what == "visit" for stop in stops),
        drive_min=round(drive, 1),
        drive_km=round(sum(stop.drive_km for stop in stops), 1),
        service_min=service,
        free_min=max(0, round(shift - drive - service - rest)),
        is_published=route is not None and route.state == Route.State.PUBLISHED,
    )


def _line(route: Route, rows: tuple[StopRow, ...]) -> tuple[tuple[float, float], ...]:
    """Line of a route, (lon, lat)."""
    if route.way:
        return tuple((float(lon), float(lat)) for lon, lat in route.way)
    start = (route.technician.start_longitude, route.technician.start_latitude)
    places = [(r.longitude, r.latitude) for r in rows if r.longitude is not None and r.latitude is not None]
    return (start, *((float(lon), float(lat)) for lon, lat in places))


def _words(text: str) -> tuple[str, ...]:
    """Words of a `;`-separated text."""
    return tuple(part.strip() for part in text.split(";") if part.strip())

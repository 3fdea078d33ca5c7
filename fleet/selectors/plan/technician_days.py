"""Technicians' days: stops in order, what is done, what to load; for everybody by the same few queries."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.models import Route, Technician, VisitNeed
from fleet.selectors.on_site.day import TechnicianDay
from fleet.selectors.plan.late_day import late_day
from fleet.selectors.plan.routes import StopRow
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, stop_rows

OVER = ("done", "not_done")


def technician_day(*, technician_id: int, day: date, now: datetime | None = None) -> TechnicianDay | None:
    """A technician's day in order; None where there is no such technician.

    Parameters
    ----------
    technician_id, day
        Whose day.
    now
        The clock, where the day is today: then it is told how late it runs.
    """
    people = list(Technician.objects.filter(pk=technician_id))
    return technician_days(people=people, day=day, now=now)[0] if people else None


def technician_days(
    *, people: Sequence[Technician], day: date, now: datetime | None = None
) -> tuple[TechnicianDay, ...]:
    """The same day of each of these people, in their order.

    Parameters
    ----------
    people, day
        Whose day.
    now
        The clock, where the day is today.
    """
    found = Route.objects.filter(technician__in=people, day=day).select_related("technician")
    routes = {route.technician_id: route for route in found}
    rows = stop_rows(list(routes.values()))
    ahead = [
        row for own in rows.values() for row in own if row.visit_id is not None and row.state not in OVER
    ]
    needs = needs_of_visits(
        [row.visit_id for row in ahead if row.visit_id is not None],
        among=VisitNeed.objects.only("parts", "value_per_day"),
    )
    here = company_zone()
    days = []
    for person in people:
        route = routes.get(person.pk)
        own = rows[route.pk] if route is not None else ()
        days.append(_day(person, day, route, own, needs, here, now))
    return tuple(days)


def _day(
    person: Technician,
    day: date,
    route: Route | None,
    stops: tuple[StopRow, ...],
    needs: Mapping[int, Sequence[VisitNeed]],
    here: ZoneInfo,
    now: datetime | None,
) -> TechnicianDay:
    """One person's day."""
    visits = [stop for stop in stops if stop.what == "visit"]
    ahead = [stop for stop in visits if stop.state not in OVER]
    return TechnicianDay(
        technician_id=person.pk,
        technician=person.code,
        name=person.name,
        date=day,
        route_id=route.pk if route else None,
        is_published=route is not None and route.state == Route.State.PUBLISHED,
        leave=route.start_at.astimezone(here) if route else None,
        back=route.end_at.astimezone(here) if route else None,
        stops=stops,
        visits=len(visits),
        done=sum(stop.state == "done" for stop in visits),
        next_stop_id=ahead[0].stop_id if ahead else None,
        drive_min=round(sum(stop.drive_min for stop in stops), 1),
        drive_km=round(sum(stop.drive_km for stop in stops), 1),
        is_estimated=route.travel_is_estimated if route else True,
        parts=_parts([need for stop in ahead for need in needs.get(stop.visit_id or 0, ())]),
        late=late_day(stops=stops, now=now) if now is not None and stops else None,
    )


def _parts(needs: Sequence[VisitNeed]) -> tuple[str, ...]:
    """Parts to load, each with its count where it is needed more than once."""
    counts: Counter[str] = Counter()
    for need in needs:
        counts.update(part.strip() for part in need.parts.split(";") if part.strip())
    return tuple(part if count == 1 else f"{count} x {part}" for part, count in sorted(counts.items()))

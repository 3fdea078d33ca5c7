"""Routes as a calendar (RFC 5545): one entry a visit; no contact, no way in and no code stands in it."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import date

from fleet.calc.ical import Event, calendar_text
from fleet.models import Route, Visit
from fleet.selectors.company.company import the_company
from fleet.selectors.plan.routes import StopRow
from fleet.selectors.plan.stop_rows import stop_rows


def routes_calendar(*, start: date, end: date, technician_id: int | None = None) -> tuple[str, int]:
    """The visits of a span as the text of a calendar, and how many they are.

    A visit keeps its UID when it moves to another day or person, and its SEQUENCE counts such changes, so
    that a calendar that took an older file in moves the entry. Routes not yet published are tentative.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    technician_id
        One person only.
    """
    routes = Route.objects.filter(day__gte=start, day__lt=end).select_related("technician")
    if technician_id is not None:
        routes = routes.filter(technician_id=technician_id)
    found = list(routes.order_by("day", "technician__code"))
    stops = stop_rows(found)
    revisions = _revisions([stop for own in stops.values() for stop in own])
    company = the_company()
    seed = company.name if company else ""
    events = [
        _event(route, stop, revisions.get(stop.visit_id or 0, 0), seed)
        for route in found
        for stop in stops[route.pk]
        if stop.what == "visit"
    ]
    name = f"Routes of {found[0].technician.name}" if technician_id is not None and found else "Routes"
    return calendar_text(name=name, events=events), len(events)


def visit_uid(*, visit_id: int, company: str) -> str:
    """The name of a visit's entry, the same in every calendar of this company (RFC 7986, 5.3)."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, f"rootround:{company}:visit:{visit_id}"))


def _revisions(stops: Sequence[StopRow]) -> dict[int, int]:
    """How often each visit's stop was changed."""
    ids = {stop.visit_id for stop in stops if stop.visit_id is not None}
    return dict(Visit.objects.filter(pk__in=ids).values_list("pk", "plan_revision"))


def _event(route: Route, stop: StopRow, revision: int, company: str) -> Event:
    """One visit."""
    lines = [f"Stop of {route.technician.name}, {stop.service_min} min on the spot"]
    if stop.window_from is not None and stop.window_to is not None:
        lines.append(f"Promised {stop.window_from:%H:%M} to {stop.window_to:%H:%M}")
    if stop.state == "done":
        lines.append("Done")
    if stop.state == "not_done":
        lines.append("Was not possible")
    if route.travel_is_estimated:
        lines.append("Driving times are estimated")
    return Event(
        uid=visit_uid(visit_id=stop.visit_id or 0, company=company),
        sequence=revision,
        stamp=route.planned_at,
        start=stop.arrive.replace(microsecond=0),
        end=stop.depart.replace(microsecond=0),
        summary=f"{stop.site} {stop.kinds_words}".strip(),
        location=stop.address,
        description="\n".join(lines),
        latitude=stop.latitude,
        longitude=stop.longitude,
        is_confirmed=route.state == Route.State.PUBLISHED or stop.state in ("on_way", "here", "done"),
    )

"""Ways for a day that breaks, looked up before the database is held: they may take seconds."""

from __future__ import annotations

from datetime import date, timedelta

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings
from fleet.models import DayBreak, Stop, Technician, Visit
from fleet.services.plan.break_change import BreakAsked, CannotBreak
from fleet.services.plan.break_state import settled_week
from fleet.services.plan.write import line_of
from fleet.streets.kept_travel import KeptTravel, Point
from fleet.streets.store import travel_source
from sites.models import Site


def known_travel(*, day: date, settings: VisitSettings, asked: BreakAsked) -> KeptTravel:
    """Travel between all places that the rest of a week may touch, closed for others.

    Parameters
    ----------
    day
        Today.
    settings
        Costs and speeds.
    asked
        What happened; its garden belongs to the places.
    """
    monday = monday_of(day)
    points: set[tuple[float | None, float | None]] = set()
    for person in Technician.objects.filter(is_active=True):
        points |= {
            (person.start_latitude, person.start_longitude),
            (person.end_latitude, person.end_longitude),
        }
    sites = Site.objects.filter(visits__week=monday) | Site.objects.filter(pk=asked.site_id)
    points |= set(sites.values_list("latitude", "longitude"))
    stops = Stop.objects.filter(route__day__gte=monday, route__day__lt=monday + timedelta(days=7))
    points |= set(stops.values_list("visit__site__latitude", "visit__site__longitude"))
    places = sorted((lat, lon) for lat, lon in points if lat is not None and lon is not None)
    travel = KeptTravel(travel_source(settings=settings))
    travel.matrix([lat for lat, _ in places], [lon for _, lon in places])
    travel.is_closed = True
    return travel


def draw_proposed(*, row: DayBreak, asked: BreakAsked, settings: VisitSettings, travel: KeptTravel) -> None:
    """Look the lines of a proposal's routes up, so that writing them finds each.

    Parameters
    ----------
    row, asked
        The proposal.
    settings, travel
        Costs, and what is known of the ways.
    """
    if travel.is_estimated:
        return
    is_ill = row.kind == DayBreak.Kind.ILL
    who = Technician.objects.filter(pk=asked.technician_id).first() if is_ill else None
    try:
        broken = settled_week(
            day=row.day,
            moment=row.moment,
            settings=settings,
            travel=travel,
            asked=asked,
            away=who.code if who is not None else "",
        )
    except CannotBreak:
        return
    begun = broken.state.given.begun
    people = {person.code: person for person in broken.state.given.technicians}
    ids = [pk for own in row.orders.values() for pk in own]
    visits = Visit.objects.filter(pk__in=ids).select_related("site")
    places = dict(_place(visit.pk, visit.site) for visit in visits)
    leak = Site.objects.filter(pk=asked.site_id).first()
    if leak is not None:
        places |= dict([_place(0, leak)])
    for key, own in row.orders.items():
        person = people.get(key.partition("/")[0])
        if person is not None and all(pk in places for pk in own):
            line_of(travel, begun.get(key), person, [places[pk] for pk in own])


def _place(number: int, site: Site) -> tuple[int, Point]:
    """A visit's number and its place."""
    return number, (site.latitude or 0.0, site.longitude or 0.0)

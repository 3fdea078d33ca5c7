"""All program sheets of a day's routes, in the order in which they are driven."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.models import Stop, User
from fleet.selectors.program_sheet import ProgramSheet, sheet_of
from sites.models import Controller, Recommendation, Site
from sites.models.choices import ProgramStatus


@dataclass(frozen=True, slots=True)
class DaySheet:
    """A sheet with its garden and who drives there as which stop."""

    site: Site
    technician: str
    order: int
    sheet: ProgramSheet


def day_sheets(*, user: User, day: date) -> tuple[DaySheet, ...]:
    """Sheets of the programs that wait to be keyed in at the stops of a day.

    Parameters
    ----------
    user
        Who prints: a technician gets the own route only.
    day
        The day.
    """
    stops = Stop.objects.filter(route__day=day, visit__isnull=False).select_related(
        "visit__site", "route__technician"
    )
    if user.role == User.Role.TECHNICIAN:
        stops = stops.filter(route__technician__user=user)
    found = []
    for stop in stops.order_by("route__technician__code", "order"):
        if stop.visit is None:
            continue
        for controller, answer in _waiting(stop.visit.site):
            sheet = sheet_of(controller=controller, answer=answer, day=day)
            found.append(DaySheet(stop.visit.site, stop.route.technician.name, stop.order, sheet))
    return tuple(found)


def _waiting(site: Site) -> list[tuple[Controller, Recommendation]]:
    """Controllers of a site whose newest answer asks for a change that is not held or done."""
    found = []
    for controller in site.controllers.order_by("code"):
        newest = (
            Recommendation.objects.filter(controller=controller)
            .prefetch_related("lines")
            .order_by("-week")
            .first()
        )
        done = (ProgramStatus.HELD.value, ProgramStatus.KEYED_IN.value)
        if newest is not None and newest.is_change and newest.status not in done:
            found.append((controller, newest))
    return found

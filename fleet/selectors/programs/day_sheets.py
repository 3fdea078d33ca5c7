"""All program sheets of a day's routes, in the order in which they are driven."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import OuterRef, Subquery

from fleet.models import Stop, User
from fleet.selectors.programs.sheet import ProgramSheet, sheet_of
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

    A program that may not be issued is among them with `sheet.barred`, so that the page can name it.

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
    driven = [
        (stop.visit.site, stop.route.technician.name, stop.order)
        for stop in stops.order_by("route__technician__code", "order")
        if stop.visit is not None
    ]
    waiting = _waiting([site.pk for site, _, _ in driven])
    return tuple(
        DaySheet(site, name, order, sheet_of(controller=controller, answer=answer, day=day))
        for site, name, order in driven
        for controller, answer in waiting.get(site.pk, ())
    )


def _waiting(site_ids: list[int]) -> dict[int, list[tuple[Controller, Recommendation]]]:
    """By site: controllers whose newest answer asks for a change that is not held or done."""
    newest = Recommendation.objects.filter(controller=OuterRef("controller")).order_by("-week")
    answers = (
        Recommendation.objects.filter(controller__site__in=site_ids, pk=Subquery(newest.values("pk")[:1]))
        .filter(is_change=True)
        .exclude(status__in=(ProgramStatus.HELD, ProgramStatus.KEYED_IN))
        .select_related("controller")
        .prefetch_related("lines")
        .order_by("controller__code")
    )
    found: dict[int, list[tuple[Controller, Recommendation]]] = {}
    for answer in answers:
        found.setdefault(answer.controller.site_id, []).append((answer.controller, answer))
    return found

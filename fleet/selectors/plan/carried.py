"""The stop that a dispatcher takes along from one page of the board to another."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from fleet.models import Stop


@dataclass(frozen=True, slots=True)
class CarriedStop:
    """A stop that is in hand while one looks for its new lane."""

    stop_id: int
    site: str
    site_name: str
    technician: str
    day: date


def carried_stop(*, stop_id: int, week: date) -> CarriedStop | None:
    """A stop of a week that may still move; None: there is no such one."""
    stop = (
        Stop.objects.filter(
            pk=stop_id,
            visit__week=week,
            state=Stop.State.AHEAD,
            route__day__gte=week,
            route__day__lt=week + timedelta(days=7),
        )
        .select_related("route__technician", "visit__site")
        .defer("route__way", "visit__site__geometry")
        .first()
        if stop_id
        else None
    )
    if stop is None or stop.visit is None:
        return None
    site, route = stop.visit.site, stop.route
    return CarriedStop(stop.pk, site.code, site.name, route.technician.name, route.day)

"""Where the stops of a day stand now, for a board that is open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.models import Stop
from fleet.selectors.plan.stop_rows import STATE_WORDS, company_zone, zone_of


@dataclass(frozen=True, slots=True)
class LiveStop:
    """One stop: state in the board's word, since when by the garden's clock, and why it was not possible."""

    stop_id: int
    state: str
    since: datetime | None
    why: str


def live_stops(*, day: date) -> tuple[LiveStop, ...]:
    """Stops of a day that have begun or are over."""
    here = company_zone()
    rows = Stop.objects.filter(route__day=day, visit__isnull=False).exclude(state=Stop.State.AHEAD)
    found = []
    for stop in rows.select_related("visit__site").order_by("pk"):
        zone = zone_of(stop.visit.site.timezone, here) if stop.visit is not None else here
        since = stop.state_at.astimezone(zone) if stop.state_at is not None else None
        found.append(LiveStop(stop.pk, STATE_WORDS[stop.state], since, stop.not_possible_reason))
    return tuple(found)

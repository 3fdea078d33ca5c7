"""Why an open need has no place in a week: what planning found, its hours, or what became of its call."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from fleet.models import Stop, Visit, VisitNeed

# Neither planned nor tried: it came in after the last planning, or there was none.
NOT_IN_A_PLAN = "Not in a plan of this week yet: plan the week to see whether it fits."


def why_waits(need: VisitNeed, *, visit: Visit | None, stop: Stop | None, week: date, zone: ZoneInfo) -> str:
    """One sentence why a need waits; empty where it lacks something else, which stands on the need itself.

    Parameters
    ----------
    need
        An open need to which nobody is coming.
    visit, stop
        Its last call and where that stands, if there are any.
    week
        Monday of the week in which it waits.
    zone
        Time zone of its garden.
    """
    if need.blocked_by:
        return ""
    is_of_week = visit is not None and visit.week >= week
    if visit is not None and is_of_week and stop is None and visit.why_unserved:
        return visit.why_unserved
    found = _of_call(stop, zone) if stop is not None and is_of_week else ""
    return found or _outside(need, week, zone) or NOT_IN_A_PLAN


def _outside(need: VisitNeed, week: date, zone: ZoneInfo) -> str:
    """Why the need's own hours keep it out of a week, counted as planning counts them; empty: they do not."""
    if need.latest is not None and need.latest.astimezone(UTC).date() < week:
        ask = "tell the customer new ones" if need.promised else "enter new ones"
        return f"Its hours were over on {_day(need.latest, zone)}: {ask}."
    if need.earliest is not None and need.earliest.astimezone(UTC).date() >= week + timedelta(days=7):
        return f"It may begin on {_day(need.earliest, zone)}, after this week."
    return ""


def _of_call(stop: Stop, zone: ZoneInfo) -> str:
    """What became of the week's call; empty where nobody has called."""
    day = _day(stop.arrive, zone)
    if stop.state == Stop.State.NOT_POSSIBLE:
        why = stop.not_possible_reason.rstrip(".") or "no reason given"
        return f"Not possible on {day}: {why}. Plan the week again."
    if stop.state == Stop.State.FINISHED:
        return f"Visited on {day} and still open: it waits for the next week."
    return ""


def _day(moment: datetime, zone: ZoneInfo) -> str:
    """A day as `12 Jun` of the garden's clock."""
    here = moment.astimezone(zone)
    return f"{here.day}\u00a0{here:%b}"

"""Visits of the weeks as rows: what they meet, where they stand, and who goes when."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fleet.models import Stop, Visit
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, zone_of

COLUMNS: Final = (
    "week",
    "site",
    "number",
    "kinds",
    "state",
    "date",
    "technician",
    "arrive",
    "depart",
    "window_from",
    "window_to",
    "told_at",
    "is_locked",
    "service_min",
    "value_per_day",
    "skill",
    "reason_code",
    "reason",
)


def rows(*, start: date, end: date, private: bool = False) -> Iterator[dict[str, object]]:
    """Visits of every week that touches the span, by week and site.

    Parameters
    ----------
    start, end
        First day, and the day after the last.
    private
        Not looked at: visits name no contact and no code.
    """
    del private
    here = company_zone()
    visits = list(
        Visit.objects.filter(week__gt=start - timedelta(days=7), week__lt=end)
        .select_related("site")
        .order_by("week", "site__code", "number")
    )
    needs = needs_of_visits(visit.pk for visit in visits)
    stops = {
        stop.visit_id: stop
        for stop in Stop.objects.filter(visit__in=[visit.pk for visit in visits]).select_related(
            "route__technician"
        )
    }
    for visit in visits:
        kinds = dict.fromkeys(need.kind for need in needs.get(visit.pk, []))
        yield _row(visit, ";".join(kinds), stops.get(visit.pk), zone_of(visit.site.timezone, here))


def _row(visit: Visit, kinds: str, stop: Stop | None, zone: ZoneInfo) -> dict[str, object]:
    """One visit."""
    return {
        "week": visit.week.isoformat(),
        "site": visit.site.code,
        "number": visit.number,
        "kinds": kinds,
        "state": visit.state,
        "date": stop.route.day.isoformat() if stop else "",
        "technician": stop.route.technician.code if stop else "",
        "arrive": _moment(stop.arrive if stop else None, zone),
        "depart": _moment(stop.depart if stop else None, zone),
        "window_from": _moment(visit.window_from, zone),
        "window_to": _moment(visit.window_to, zone),
        "told_at": _moment(visit.told_at, zone),
        "is_locked": visit.is_locked,
        "service_min": visit.service_min,
        "value_per_day": round(visit.value_per_day, 2),
        "skill": visit.skill,
        "reason_code": visit.unserved_code,
        "reason": visit.why_unserved,
    }


def _moment(moment: datetime | None, zone: ZoneInfo) -> str:
    """A moment on the site's clock with its offset, empty where there is none."""
    return moment.astimezone(zone).isoformat(timespec="minutes") if moment is not None else ""

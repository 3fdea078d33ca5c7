"""Whom hours are looked for, and which are held at the moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from fleet.models import HeldWindow, Stop, Visit
from fleet.selectors.plan.stop_rows import company_zone, needs_of_visits, words_of


@dataclass(frozen=True, slots=True)
class PhoneVisit:
    """The visit that a customer rings about. Times are the company's."""

    visit_id: int
    site: str
    site_name: str
    customer: str
    phone: str
    kinds_words: str
    service_min: float
    planned: datetime | None
    technician: str
    told_from: datetime | None
    told_to: datetime | None


@dataclass(frozen=True, slots=True)
class HoldRow:
    """Hours that are held. Times are the company's."""

    hold_id: int
    visit_id: int
    site: str
    site_name: str
    technician: str
    day: date
    window_from: datetime
    window_to: datetime
    expires_at: datetime
    left_s: int
    by: str


def phone_visit(*, visit_id: int) -> PhoneVisit | None:
    """A visit with its place in the plan; None where there is none."""
    visit = Visit.objects.select_related("site").filter(pk=visit_id, hold__isnull=True).first()
    if visit is None:
        return None
    here = company_zone()
    stop = Stop.objects.filter(visit=visit).select_related("route__technician").first()
    kinds = dict.fromkeys(need.kind for need in needs_of_visits([visit.pk]).get(visit.pk, []))
    return PhoneVisit(
        visit_id=visit.pk,
        site=visit.site.code,
        site_name=visit.site.name,
        customer=visit.site.customer,
        phone=visit.site.phone,
        kinds_words=words_of(kinds),
        service_min=visit.service_min,
        planned=stop.arrive.astimezone(here) if stop else None,
        technician=stop.route.technician.name if stop else "",
        told_from=visit.window_from.astimezone(here) if visit.window_from else None,
        told_to=visit.window_to.astimezone(here) if visit.window_to else None,
    )


def live_holds(*, now: datetime, visit_id: int | None = None) -> tuple[HoldRow, ...]:
    """Hours that are held now, those that end first at the head.

    Parameters
    ----------
    now
        The clock; what has run out does not count.
    visit_id
        Of one visit; None: all.
    """
    here = company_zone()
    holds = HeldWindow.objects.filter(expires_at__gt=now).select_related(
        "place", "wanted__site", "technician"
    )
    if visit_id is not None:
        holds = holds.filter(wanted_id=visit_id)
    return tuple(
        HoldRow(
            hold_id=hold.pk,
            visit_id=hold.wanted_id,
            site=hold.wanted.site.code,
            site_name=hold.wanted.site.name,
            technician=hold.technician.name,
            day=hold.day,
            window_from=hold.place.window_from.astimezone(here),
            window_to=hold.place.window_to.astimezone(here),
            expires_at=hold.expires_at.astimezone(here),
            left_s=int((hold.expires_at - now).total_seconds()),
            by=hold.by,
        )
        for hold in holds.order_by("expires_at", "pk")
        if hold.place.window_from is not None and hold.place.window_to is not None
    )

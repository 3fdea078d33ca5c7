"""The one guarded way to a site: who may open it, and which sites a list may show."""

from __future__ import annotations

from datetime import date, timedelta

from django.db.models import QuerySet

from fleet.models import Stop, User
from fleet.selectors.on_site.phone_facts import company_phone
from sites.models import Site


class SiteNotOpen(LookupError):
    """No such site, or not one that this person may open; the page says the same for both."""


def own_stops(*, user: User, today: date) -> QuerySet[Stop]:
    """Stops of a technician's own routes, from so many days back to so many ahead as the company sets."""
    span = company_phone()
    return Stop.objects.filter(
        visit__isnull=False,
        route__technician__user=user,
        route__day__gte=today - timedelta(days=span.days_back),
        route__day__lte=today + timedelta(days=span.days_ahead),
    )


def sites_for(*, user: User, today: date | None = None) -> QuerySet[Site]:
    """Sites that a person may open: all for the office, those of the own stops for a technician.

    Parameters
    ----------
    user
        Who asks.
    today
        The company's day; without it a technician may open none.
    """
    if user.role != User.Role.TECHNICIAN:
        return Site.objects.all()
    if today is None:
        return Site.objects.none()
    return Site.objects.filter(visits__stops__in=own_stops(user=user, today=today)).distinct()


def site_for(*, user: User, code: str, today: date | None = None) -> Site:
    """The site of a code, if this person may open it on this day."""
    found = sites_for(user=user, today=today)
    site = found.select_related("location", "rain_location").filter(code=code).first()
    if site is None:
        raise SiteNotOpen(code)
    return site


def may_read_gate_code(*, user: User, site_id: int, today: date) -> bool:
    """Whether a person may read a gate code: the office always, a technician on the day of the visit."""
    if user.role != User.Role.TECHNICIAN:
        return True
    return own_stops(user=user, today=today).filter(route__day=today, visit__site_id=site_id).exists()

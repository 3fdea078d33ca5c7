"""The one guarded way to a site: who may open it, and which sites a list may show."""

from __future__ import annotations

from django.db.models import QuerySet

from fleet.models import User
from sites.models import Site


class SiteNotOpen(LookupError):
    """No such site, or not one that this person may open; the page says the same for both."""


def sites_for(*, user: User) -> QuerySet[Site]:
    """Sites that a person may open: all for the office, those of the own routes for a technician."""
    if user.role != User.Role.TECHNICIAN:
        return Site.objects.all()
    return Site.objects.filter(visits__stops__route__technician__user=user).distinct()


def site_for(*, user: User, code: str) -> Site:
    """The site of a code, if this person may open it."""
    site = sites_for(user=user).select_related("location", "rain_location").filter(code=code).first()
    if site is None:
        raise SiteNotOpen(code)
    return site

"""The one guard of everything that has a number or a code in its address: whose garden it belongs to."""

from __future__ import annotations

from datetime import date
from typing import Any, Final

from django.db.models import Model

from fleet.models import Finding, Flag, Photo, ReportLink, Stop, Submission, User, Visit, VisitNeed
from fleet.selectors.site.access import own_stops, sites_for
from sites.models import Controller, Recommendation, Site, ZoneAudit

# kind of thing -> the way from its row to the garden; a kind that is not here belongs to the whole company.
WAY_TO_SITE: Final[dict[type[Model], str]] = {
    Controller: "site",
    Finding: "visit__site",
    Flag: "controller__site",
    Photo: "visit__site",
    Recommendation: "controller__site",
    ReportLink: "visit__site",
    Submission: "visit__site",
    Visit: "site",
    VisitNeed: "site",
    ZoneAudit: "zone__controller__site",
}


def may_open_thing(*, user: User, kind: type[Model], key: Any, today: date) -> bool:
    """Whether a person may open a thing: the office any, a technician those of the own visits of these days.

    Parameters
    ----------
    user
        Who asks.
    kind
        What it is a thing of; of a kind without a garden, a technician may open none.
    key
        Its number, or the code of a site.
    today
        The company's day.
    """
    if user.role != User.Role.TECHNICIAN:
        return True
    if kind is Site:
        return sites_for(user=user, today=today).filter(code=key).exists()
    if kind is Stop:
        return own_stops(user=user, today=today).filter(pk=key).exists()
    way = WAY_TO_SITE.get(kind)
    if way is None:
        return False
    rows = kind._base_manager.filter(pk=key, **{f"{way}__in": sites_for(user=user, today=today)})
    return rows.exists()

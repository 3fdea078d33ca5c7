"""Visits for leaks that the water meters show."""

from __future__ import annotations

from collections import defaultdict
from datetime import date

from fleet.calc.visits.settings import VisitSettings
from fleet.calc.visits.value import water_value
from fleet.models import MeterLeak, VisitKind, VisitNeed
from fleet.selectors.visits.need_sources import SiteFacts
from fleet.services.visits.wanted import Wanted, rounded_parts

_HOURS_A_WEEK = 168.0


def leak_wants(
    *, day: date, settings: VisitSettings, sites: dict[int, SiteFacts], prices: dict[str, float]
) -> list[Wanted]:
    """A repair for each garden whose meter does not stand still, unless somebody asked for one already.

    Parameters
    ----------
    day
        Day of the needs.
    settings
        The company's settings.
    sites
        Every site.
    prices
        Price of water by supplier [money/m3].
    """
    asked = set(
        VisitNeed.objects.filter(state=VisitNeed.State.OPEN, kind=VisitKind.REPAIR)
        .exclude(origin=VisitNeed.Origin.METER)
        .values_list("site_id", flat=True)
    )
    by_site: dict[int, list[MeterLeak]] = defaultdict(list)
    rows = MeterLeak.objects.filter(is_open=True, since__lte=day).select_related("meter")
    for leak in rows.order_by("since", "meter_id"):
        by_site[leak.meter.site_id].append(leak)
    return [
        _want(sites[pk], leaks, prices.get(sites[pk].supplier, settings.water_price_per_m3), settings)
        for pk, leaks in by_site.items()
        if pk not in asked
    ]


def _want(site: SiteFacts, leaks: list[MeterLeak], price: float, settings: VisitSettings) -> Wanted:
    """The repair of one garden."""
    first, rate = leaks[0], sum(leak.rate_l_h for leak in leaks)
    parts = {"water": water_value(rate * _HOURS_A_WEEK, price)}
    if parts["water"] < settings.change_per_day:
        parts["priority"] = settings.change_per_day - parts["water"]
    house = " The meter feeds the house too." if first.meter.kind == "whole_house" else ""
    return Wanted(
        site_id=site.site_id,
        controller_id=None,
        kind=VisitKind.REPAIR,
        origin=VisitNeed.Origin.METER,
        key=f"leak/{site.code}/{first.meter_id}/{first.since.isoformat()}",
        reason=f"Leak: the meter has not stood still since {first.since.isoformat()}, about {rate:.0f} L an "
        f"hour by {first.get_basis_display()}; look for a valve that does not close, a broken pipe or head."
        f"{house}",
        value_parts=rounded_parts(parts),
    )

"""The balance stage: computes what is new or out of date, month by month, and stores it.

A site's balance begins with its weather (at most KEPT_DAYS back) from half of the allowed depletion, as good
as unknown. No days are hidden as a spin-up: the wide uncertainty of the first weeks tells it. Afterwards each
update begins with the state stored at the start of the first month that is new or out of date, so that
computing again gives the same bits.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt
from django.db import transaction
from django.db.models import Max, Min

from sites.calc.balance.blob import unpack_months
from sites.calc.balance.parts import BalanceState
from sites.calc.zone_table import ZoneTable
from sites.models import BalanceFront, BalanceMonth, Site
from sites.selectors.zones import zone_table
from sites.services.balance_span import Span, compute_span
from weather.models import DailyWeather, Location

# Three years of bills and a month: what the ledger's baselines reach back to.
KEPT_DAYS: Final = 1_126
SITES_AT_ONCE: Final = 400
_ROWS_AT_ONCE: Final = 2_000
IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class BalanceUpdate:
    """What the stage did.

    Parameters
    ----------
    sites
        Sites that were computed.
    zone_days
        Zone-days that were computed.
    without_weather
        Codes of the sites that have no weather location, or one without any day.
    """

    sites: int
    zone_days: int
    without_weather: tuple[str, ...]

    def summary(self) -> str:
        """One line for a command's end."""
        lacking = f"; {len(self.without_weather)} sites without weather" if self.without_weather else ""
        return f"Balance of {self.sites} sites, {self.zone_days} zone-days computed{lacking}."


def update_balance(*, until_day: date, site_ids: Iterable[int] | None = None) -> BalanceUpdate:
    """Compute the balance of all sites up to a day, starting where it is missing or out of date.

    Parameters
    ----------
    until_day
        Last day wanted, inclusive; a site ends earlier where its weather does.
    site_ids
        Only these sites; None: all.
    """
    chosen = Site.objects.select_related("location", "rain_location", "balance_front").order_by("code")
    if site_ids is not None:
        chosen = chosen.filter(pk__in=list(site_ids))
    sites = list(chosen)
    first_days, last_days = _weather_reach(until_day)
    known = [site for site in sites if site.location_id in first_days]
    done_sites, zone_days = 0, 0
    for left in range(0, len(known), SITES_AT_ONCE):
        some = known[left : left + SITES_AT_ONCE]
        table = zone_table(site_ids=[site.pk for site in some])
        marks = _fingerprints(table)
        plans = [
            plan
            for site in some
            if site.pk in marks and (plan := _plan(site, marks[site.pk], first_days, last_days)) is not None
        ]
        for group in _groups(plans):
            zone_days += _compute(group, table, marks)
            done_sites += len(group)
    if site_ids is None:
        Location.objects.filter(stale_from__lte=until_day).update(stale_from=None)
    lacking = tuple(site.code for site in sites if site.location_id not in first_days)
    return BalanceUpdate(done_sites, zone_days, lacking)


@dataclass(frozen=True, slots=True)
class _Plan:
    """A site to compute: `anew` from the start of its record, else from the start of a stored month."""

    site_id: int
    start: date
    last: date
    anew: bool


def _weather_reach(until_day: date) -> tuple[dict[int, date], dict[int, date]]:
    """First day measured and last day known, by location.

    The newest measured day may lie a week back: filled and foretold days carry the balance on to the day
    wanted, with their wider uncertainty, and are computed again when the measured day comes.
    """
    known = DailyWeather.objects.filter(day__lte=until_day, eto_mm__isnull=False).order_by()
    observed = known.filter(kind=DailyWeather.Kind.OBSERVED)
    first = dict(observed.values_list("location_id").annotate(first=Min("day")))
    last = dict(known.values_list("location_id").annotate(last=Max("day")))
    return first, last


def _plan(site: Site, mark: str, first_days: dict[int, date], last_days: dict[int, date]) -> _Plan | None:
    """What to compute of a site; None where all is there and true."""
    location = site.location
    if location is None:
        return None
    first_weather, last = first_days[location.pk], last_days[location.pk]
    front: BalanceFront | None = getattr(site, "balance_front", None)
    gauge_stale = site.rain_location.stale_from if site.rain_location is not None else None
    marks = (site.stale_from, location.stale_from, gauge_stale)
    stale = min((day for day in marks if day is not None), default=None)
    begin = max(first_weather, last - timedelta(days=KEPT_DAYS))
    if front is None or front.fingerprint != mark or (stale is not None and begin < front.first_day):
        return _Plan(site.pk, begin, last, anew=True) if begin <= last else None
    wanted = front.last_day + timedelta(days=1)
    if stale is not None and stale < wanted:
        wanted = max(stale, front.first_day)
        last = max(last, front.last_day)
    if wanted > last:
        return None
    start = max(min(wanted, front.last_day).replace(day=1), front.first_day)
    return _Plan(site.pk, start, last, anew=False)


def _groups(plans: Sequence[_Plan]) -> list[list[_Plan]]:
    """Plans with the same span together, so that arrays stay rectangular."""
    groups: dict[tuple[date, date, bool], list[_Plan]] = {}
    for plan in plans:
        groups.setdefault((plan.start, plan.last, plan.anew), []).append(plan)
    return list(groups.values())


def _fingerprints(table: ZoneTable) -> dict[int, str]:
    """A mark by site of everything that the balance takes from the book."""
    columns = np.column_stack([getattr(table, field.name).astype(np.float64) for field in fields(table)])
    edges = np.flatnonzero(np.diff(table.site_id)) + 1
    rows_of = np.split(np.ascontiguousarray(columns), edges)
    sites = table.site_id[np.concatenate([[0], edges])] if len(table) else []
    return {
        int(site): hashlib.blake2s(rows.tobytes(), digest_size=16).hexdigest()
        for site, rows in zip(sites, rows_of, strict=False)
    }


def _compute(group: list[_Plan], whole: ZoneTable, marks: dict[int, str]) -> int:
    """Compute one span for some sites and store it; how many zone-days that were."""
    one = group[0]
    site_ids = [plan.site_id for plan in group]
    table = whole.take(np.isin(whole.site_id, np.array(site_ids)))
    span = Span(one.start, one.last)
    state = None if one.anew else stored_state(table, one.start)
    with transaction.atomic():
        if one.anew:
            BalanceMonth.objects.filter(zone_id__in=table.zone_id.tolist()).delete()
        for months in compute_span(table, span, state):
            for left in range(0, len(months), _ROWS_AT_ONCE):
                BalanceMonth.objects.bulk_create(
                    months[left : left + _ROWS_AT_ONCE],
                    update_conflicts=True,
                    unique_fields=["zone", "month"],
                    update_fields=["values", "allowed_mm", "available_mm"],
                )
        _move_fronts(group, marks)
        Site.objects.filter(pk__in=site_ids, stale_from__lte=one.last).update(stale_from=None)
    return ((one.last - one.start).days + 1) * len(table)


def _move_fronts(group: list[_Plan], marks: dict[int, str]) -> None:
    """How far each site now is."""
    fronts = [
        BalanceFront(
            site_id=plan.site_id,
            first_day=plan.start,
            last_day=plan.last,
            fingerprint=marks[plan.site_id],
        )
        for plan in group
    ]
    moved = ["last_day", "fingerprint", *(["first_day"] if group[0].anew else [])]
    BalanceFront.objects.bulk_create(
        fronts, update_conflicts=True, unique_fields=["site"], update_fields=moved
    )


def stored_state(table: ZoneTable, start: date) -> BalanceState:
    """State before the first computed day of a stored month."""
    rows = dict(
        BalanceMonth.objects.filter(
            zone_id__in=table.zone_id.tolist(), month=start.replace(day=1)
        ).values_list("zone_id", "values")
    )
    months = unpack_months([bytes(rows[zone]) for zone in table.zone_id.tolist()])
    return BalanceState(*(np.ascontiguousarray(column) for column in months.start_state.T))

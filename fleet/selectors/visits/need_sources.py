"""What the stages before say about who should be visited, read for many sites at once."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
from django.db.models import Max, Q

from fleet.calc.visits.season import HARD_FREEZE_C, SeasonDates
from fleet.models import Finding, Flag, LocationSeason, Tariff, VisitKind, VisitNeed, WatchState, WatchStatus
from sites.models import BypassLog, Controller, ProgramSet, Recommendation, Site, Zone
from sites.models.choices import Plant, ProgramStatus
from sites.selectors.balance import balance_days
from weather.models import DailyWeather

COLD_NIGHT_DAYS = 5
TURF = (Plant.COOL_TURF, Plant.WARM_TURF)


@dataclass(frozen=True, slots=True)
class SiteFacts:
    """What needs must know of a site."""

    site_id: int
    code: str
    supplier: str
    location_id: int | None
    imported_on: date
    latitude: float | None


def site_facts() -> dict[int, SiteFacts]:
    """Every site by id."""
    rows = Site.objects.values_list("id", "code", "supplier", "location_id", "imported_on", "latitude")
    return {row[0]: SiteFacts(*row) for row in rows}


def water_prices(*, day: date) -> dict[str, float]:
    """Price of the first tier in force on a day [money/m3], by supplier."""
    prices: dict[str, float] = {}
    rows = Tariff.objects.filter(starts_on__lte=day).order_by("supplier", "-starts_on", "tier_from_m3")
    for supplier, price in rows.values_list("supplier", "price_per_m3"):
        prices.setdefault(supplier, price)
    return prices


def open_flags(*, day: date) -> list[Flag]:
    """Flags that are open and do not rest on a day, with controller and site."""
    return list(
        Flag.objects.filter(closed_on__isnull=True, raised_on__lte=day)
        .exclude(resting_until__gt=day)
        .select_related("controller__site")
        .order_by("controller__site__code", "controller__code")
    )


def dry_turf_m2(*, controller_ids: list[int], day: date) -> dict[int, float]:
    """Area [m2] of turf beyond allowed depletion on the newest computed day, by controller."""
    rows = list(
        Zone.objects.filter(controller_id__in=controller_ids, plant__in=TURF).values_list(
            "id", "controller_id", "area_m2"
        )
    )
    if not rows:
        return {}
    balance = balance_days(zone_ids=[row[0] for row in rows], start=day - timedelta(days=7), end=day)
    dry: dict[int, float] = {}
    for column, (_, controller_id, area_m2) in enumerate(rows):
        depletion = balance.depletion_mm[:, column]
        known = np.flatnonzero(np.isfinite(depletion))
        if len(known) and depletion[known[-1]] > balance.allowed_mm[column]:
            dry[controller_id] = dry.get(controller_id, 0.0) + area_m2
    return dry


def turf_zone_m2(*, controller_ids: list[int]) -> dict[int, float]:
    """Mean area of a controller's turf zones [m2], by controller."""
    areas: dict[int, list[float]] = {}
    rows = Zone.objects.filter(controller_id__in=controller_ids, plant__in=TURF)
    for controller_id, area_m2 in rows.values_list("controller_id", "area_m2"):
        areas.setdefault(controller_id, []).append(area_m2)
    return {number: float(np.mean(values)) for number, values in areas.items()}


def newest_recommendations(*, day: date) -> list[Recommendation]:
    """Newest recommendation of each controller not later than a day's week, unless a person holds it."""
    newest = dict(
        Recommendation.objects.filter(week__lte=day + timedelta(days=7))
        .values_list("controller_id")
        .annotate(week=Max("week"))
        .values_list("controller_id", "week")
    )
    earliest = min(newest.values(), default=day)
    rows = (
        Recommendation.objects.filter(week__gte=earliest)
        .filter(Q(is_change=True) | Q(needs_wire_move=True))
        .exclude(status=ProgramStatus.HELD)
        .select_related("controller__site")
        .order_by("controller__site__code", "controller__code")
    )
    return [row for row in rows if newest[row.controller_id] == row.week]


def controllers_without_log(*, day: date, days: int) -> list[tuple[Controller, date | None]]:
    """Governed controllers with a sensor whose newest log ends more than so many days ago, with that end.

    Controllers that the watch calls off season are left out.
    """
    since = day - timedelta(days=days)
    resting = WatchState.objects.filter(status=WatchStatus.OFF_SEASON).values("controller_id")
    rows = (
        Controller.objects.filter(governed=True, sensor__isnull=False, site__imported_on__lt=day)
        .filter(Q(sensor__installed_on__isnull=True) | Q(sensor__installed_on__lte=since))
        .exclude(pk__in=resting)
        .annotate(newest_log=Max("bypass_logs__end"))
        .filter(Q(newest_log__isnull=True) | Q(newest_log__lte=since))
        .select_related("site")
        .order_by("site__code", "code")
    )
    return [(row, row.newest_log) for row in rows]


def last_audits() -> dict[int, date]:
    """Day of the last audit of each site that had one."""
    done = VisitNeed.objects.filter(kind=VisitKind.AUDIT, state=VisitNeed.State.DONE, closed_on__isnull=False)
    last: dict[int, date] = dict(done.values_list("site_id").annotate(last=Max("closed_on")))
    found: list[tuple[int, datetime]] = list(
        Finding.objects.that_count()
        .filter(kind=VisitKind.AUDIT)
        .values_list("visit__site_id")
        .annotate(last=Max("recorded_at"))
    )
    for site_id, at in found:
        last[site_id] = max(last.get(site_id, at.date()), at.date())
    return last


def last_done(*, kinds: Collection[str]) -> dict[tuple[int, str], date]:
    """Day of the last visit that met a need of a kind, by site and kind, whoever asked for it."""
    rows = (
        VisitNeed.objects.filter(kind__in=kinds, state=VisitNeed.State.DONE, closed_on__isnull=False)
        .order_by()
        .values_list("site_id", "kind")
        .annotate(last=Max("closed_on"))
    )
    return {(site, kind): last for site, kind, last in rows if last is not None}


def sites_seen_running(*, year: int) -> set[int]:
    """Sites whose garden has run this year: a log or a program set says so."""
    first = date(year, 1, 1)
    logged = BypassLog.objects.filter(start__gte=first).values_list("controller__site_id", flat=True)
    keyed = ProgramSet.objects.filter(as_of__gte=first).values_list("controller__site_id", flat=True)
    return set(logged.distinct()) | set(keyed.distinct())


def location_seasons() -> dict[int, SeasonDates]:
    """Season dates of every location whose record is long enough, as last computed."""
    return {
        row.location_id: SeasonDates(
            row.start_up_from, row.winterize_by, row.seasons, row.freezing_share, row.is_short
        )
        for row in LocationSeason.objects.all()
    }


def last_backflow_tests() -> dict[int, date]:
    """Day of the last backflow test of each site that had one."""
    done = VisitNeed.objects.filter(
        kind=VisitKind.BACKFLOW_TEST, state=VisitNeed.State.DONE, closed_on__isnull=False
    )
    return dict(done.values_list("site_id").annotate(last=Max("closed_on")))


def cold_nights(*, day: date) -> dict[int, tuple[date, float]]:
    """First night within five days whose newest forecast is a hard freeze, with its minimum [degC]."""
    rows = (
        DailyWeather.objects.filter(
            kind=DailyWeather.Kind.FORECAST,
            day__gte=day,
            day__lt=day + timedelta(days=COLD_NIGHT_DAYS),
            issued__gte=day - timedelta(days=2),
            tmin_c__isnull=False,
        )
        .order_by("location_id", "day", "issued")
        .values_list("location_id", "day", "tmin_c")
    )
    newest = {(location, night): tmin for location, night, tmin in rows if tmin is not None}
    found: dict[int, tuple[date, float]] = {}
    for (location, night), tmin in sorted(newest.items()):
        if tmin <= HARD_FREEZE_C:
            found.setdefault(location, (night, tmin))
    return found

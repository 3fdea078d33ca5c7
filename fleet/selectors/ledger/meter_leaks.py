"""Meters that are read by the hour or by the day, as days for the search of leaks, and leaks of a garden."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta

import numpy as np
from django.db.models import Count

from fleet.calc.ledger.leaks import MeterDays, hourly_floors, meter_days
from fleet.calc.ledger.periods import UsePeriods, joined, no_periods, sound_periods
from fleet.calc.ledger.readings import RegisterReads, volumes_of_reads
from fleet.models import MeterLeak
from fleet.selectors.ledger.inputs import need_of_sites
from fleet.selectors.ledger.meter_periods import register_reads, volume_periods, without_shared
from sites.models import Meter, MeterReading, MeterVolume, Site
from weather.calc.arrays import FloatArray

DAYS_BACK = 400
_QUICK_DAYS = 60
_QUICK_READS = 14  # in those days: a meter read less often tells no leak
_METERS_AT_ONCE = 200


def quick_days(*, day: date) -> Iterator[tuple[list[int], MeterDays]]:
    """Days of the meters that are read at least daily, some meters at a time.

    Parameters
    ----------
    day
        Day before which reads count.
    """
    quick = _quick_meters(day)
    for first in range(0, len(quick), _METERS_AT_ONCE):
        some = quick[first : first + _METERS_AT_ONCE]
        yield some, _days_of(some, day)


def leaks_of_site(*, site: Site) -> list[MeterLeak]:
    """Leaks that the meters of a garden showed, the newest first."""
    return list(MeterLeak.objects.filter(meter__site=site).select_related("meter").order_by("-since"))


def _quick_meters(day: date) -> list[int]:
    """Meters with at least a fortnight of reads in the last sixty days."""
    since = day - timedelta(days=_QUICK_DAYS)
    found: set[int] = set()
    for rows in (
        MeterVolume.objects.filter(start__gte=since, end__lte=day),
        MeterReading.objects.filter(read_at__date__gte=since, read_at__date__lte=day),
    ):
        counted = rows.order_by().values("meter_id").annotate(n=Count("pk")).filter(n__gte=_QUICK_READS)
        found |= set(counted.values_list("meter_id", flat=True))
    return sorted(found)


def _days_of(meter_ids: Sequence[int], day: date) -> MeterDays:
    """Days of some meters."""
    since = day - timedelta(days=DAYS_BACK)
    meters = list(
        Meter.objects.filter(pk__in=meter_ids).values_list("pk", "site_id", "kind", "site__timezone")
    )
    zones = {site: zone for _, site, _, zone in meters}
    site_ids = sorted(zones)
    index = {pk: place for place, pk in enumerate(site_ids)}
    reads = register_reads(index=index, zones=zones, since=since, end=day, meter_ids=meter_ids)
    volumes = volume_periods(index=index, since=since, end=day, meter_ids=meter_ids)
    periods = sound_periods(without_shared(joined(volumes.periods, _periods(reads)), index=index)[0]).periods
    need_l, peak_l = _need(site_ids, periods, since, day)
    return meter_days(
        periods=periods,
        floors=hourly_floors(reads) if reads is not None else _NO_FLOORS,
        need_l=need_l,
        peak_need_l=peak_l,
        is_whole_house={pk: kind == "whole_house" for pk, _, kind, _ in meters},
    )


_NO_FLOORS = (np.zeros(0, dtype=np.int64), np.zeros(0, dtype="datetime64[D]"), np.zeros(0))


def _periods(reads: RegisterReads | None) -> UsePeriods:
    """Volumes between readings."""
    return no_periods() if reads is None else volumes_of_reads(reads).periods


def _need(site_ids: list[int], periods: UsePeriods, since: date, day: date) -> tuple[FloatArray, FloatArray]:
    """Need of each period, and the largest need of a day of its garden [L]; NaN without weather."""
    nothing = np.full(periods.site.shape, np.nan)
    need = need_of_sites(site_ids=site_ids, since=since, until_day=day - timedelta(days=1))
    if need is None:
        return nothing, nothing
    largest = np.max(np.diff(need.cumulative_l, axis=0), axis=0, initial=0.0)
    return need.between(periods.site, periods.start, periods.end), largest[periods.site]

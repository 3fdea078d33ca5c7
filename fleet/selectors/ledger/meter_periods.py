"""Meters as arrays: volumes as they came in, and registers as volumes between their readings."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date
from typing import TypeVar
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Count, QuerySet

from fleet.calc.ledger.periods import (
    METER_OF_TWO_SITES,
    MeteredUse,
    UsePeriods,
    UseProblem,
    estimates_made_good,
    no_periods,
)
from fleet.calc.ledger.readings import RegisterReads
from fleet.selectors.day_numbers import DayNumber
from sites.models import Meter, MeterReading, MeterVolume
from weather.calc.units import litres_per_unit

Row = TypeVar("Row", MeterVolume, MeterReading)
_WHOLE_HOUSE = "whole_house"


def volume_periods(
    *, index: dict[int, int], since: date, end: date, meter_ids: Sequence[int] | None = None
) -> MeteredUse:
    """Volumes of all meters or of some, estimated ones made good by those that follow.

    Parameters
    ----------
    index
        Place of each site.
    since, end
        First day, and the day after the last.
    meter_ids
        Meters wanted; None: all.
    """
    rows = list(
        _of(MeterVolume.objects.filter(start__gte=since, end__lte=end), meter_ids)
        .order_by()
        .values_list("meter_id", DayNumber("start"), DayNumber("end"), "volume_l", "is_estimated")
    )
    if not rows:
        return MeteredUse(no_periods(), ())
    meter, start, until, volume, guessed = zip(*rows, strict=True)
    meters = np.array(meter, dtype=np.int64)
    pks, place = np.unique(meters, return_inverse=True)
    meters_wanted = Meter.objects.all() if meter_ids is None else Meter.objects.filter(pk__in=meter_ids)
    owners = meters_wanted.order_by("pk").values_list("pk", "site_id", "kind")
    of_meter = {pk: (index[site], kind == _WHOLE_HOUSE) for pk, site, kind in owners}
    site, is_house = zip(*[of_meter[pk] for pk in pks.tolist()], strict=True)
    volumes = UsePeriods(
        site=np.array(site, dtype=np.int64)[place],
        meter=meters,
        start=np.array(start, dtype=np.int64).astype("datetime64[D]"),
        end=np.array(until, dtype=np.int64).astype("datetime64[D]"),
        volume_l=np.array(volume, dtype=np.float64),
        spans_estimate=np.zeros(len(rows), dtype=np.bool_),
        is_whole_house=np.array(is_house, dtype=np.bool_)[place],
    )
    return estimates_made_good(volumes, np.array(guessed, dtype=np.bool_))


def register_reads(
    *,
    index: dict[int, int],
    zones: dict[int, str],
    since: date,
    end: date,
    meter_ids: Sequence[int] | None = None,
) -> RegisterReads | None:
    """Readings by meter and moment, with their site-local days; None without any.

    Parameters
    ----------
    index
        Place of each site.
    zones
        Time zone of each site.
    since, end
        First day, and the day after the last.
    meter_ids
        Meters wanted; None: all.
    """
    rows = list(
        _of(MeterReading.objects.filter(read_at__date__gte=since, read_at__date__lte=end), meter_ids)
        .order_by("pk")
        .values_list(
            "meter__site_id",
            "meter_id",
            "meter__kind",
            "read_at",
            "reading",
            "unit",
            "digits",
            "read_kind",
            "event",
        )
    )
    if not rows:
        return None
    clocks = {name: ZoneInfo(name) for name in set(zones.values())}
    site, meter, kind, read_at, reading, unit, digits, read_kind, event = zip(*rows, strict=True)
    days = [at.astimezone(clocks[zones[pk]]).date() for pk, at in zip(site, read_at, strict=True)]
    moments = np.array([at.astimezone(UTC).replace(tzinfo=None) for at in read_at], dtype="datetime64[s]")
    # stored rows have no order of writing any more; the import names reads that came out of order
    order = np.lexsort((moments, np.array(meter)))
    return RegisterReads(
        site=np.array([index[pk] for pk in site], dtype=np.int64),
        meter=np.array(meter, dtype=np.int64),
        read_at=moments,
        day=np.array(days, dtype="datetime64[D]"),
        reading=np.array(reading, dtype=np.float64),
        litres_per_unit=np.array([litres_per_unit(word) for word in unit]),
        digits=np.array([number or 0 for number in digits], dtype=np.int64),
        is_estimated=np.array([word == "estimated" for word in read_kind], dtype=np.bool_),
        is_restart=np.array([bool(word) for word in event], dtype=np.bool_),
        is_whole_house=np.array([word == _WHOLE_HOUSE for word in kind], dtype=np.bool_),
    ).where(order)


def without_shared(periods: UsePeriods, *, index: dict[int, int]) -> tuple[UsePeriods, list[UseProblem]]:
    """Periods without meters whose number stands in the book of two sites; whose water it was cannot be told.

    Parameters
    ----------
    periods
        Periods of all meters [L].
    index
        Place of each site.
    """
    numbers = (
        Meter.objects.exclude(code="").order_by().values("code").annotate(n=Count("site", distinct=True))
    )
    shared = set(numbers.filter(n__gt=1).values_list("code", flat=True))
    if not shared or periods.site.size == 0:
        return periods, []
    meters = dict(Meter.objects.filter(code__in=shared).values_list("pk", "site_id"))
    bad = np.isin(periods.meter, np.array(list(meters), dtype=np.int64))
    problems = []
    for pk, site in meters.items():
        own = periods.where(periods.meter == pk)
        if own.site.size and site in index:
            problems.append(
                UseProblem(index[site], METER_OF_TWO_SITES, str(own.start.min()), str(own.end.max()))
            )
    return periods.where(~bad), problems


def _of(rows: QuerySet[Row], meter_ids: Sequence[int] | None) -> QuerySet[Row]:
    """Rows of all meters, or of some."""
    return rows if meter_ids is None else rows.filter(meter_id__in=meter_ids)

"""What the ledger is computed from: meters, zones and sky as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.db.models import Min

from fleet.calc.ledger_need import NeedZones, SiteNeed, site_need
from fleet.calc.ledger_periods import MeteredUse, UsePeriods, joined, no_periods, site_periods, sound_periods
from fleet.calc.ledger_readings import RegisterReads, volumes_of_reads
from sites.calc.run_off import lawn_curve_number
from sites.models import MeterReading, MeterVolume, Sensor, Site
from sites.selectors.zones import zone_table
from weather.calc.arrays import BoolArray, DayArray, IntArray
from weather.calc.units import litres_per_unit
from weather.selectors import weather_days

YEARS_BACK = 4  # two of baseline, and what came after it


@dataclass(frozen=True, slots=True)
class LedgerBook:
    """Sites with their metered use and need.

    Parameters
    ----------
    site_ids, codes, suppliers, soils
        Of each site, in one order; empty words where not known.
    use
        One stream of sound periods a site, and what was wrong with the others.
    need
        Need by day; None where there is no weather at all.
    change_on
        Day of the first sensor; NaT: no sensor; the first day of 1970: a sensor without a known day.
    has_meter
        Whether the site has any meter data.
    """

    site_ids: IntArray
    codes: list[str]
    suppliers: list[str]
    soils: list[str]
    use: MeteredUse
    need: SiteNeed | None
    change_on: DayArray
    has_meter: BoolArray


SENSOR_DAY_UNKNOWN = np.datetime64("1970-01-01", "D")


def ledger_book(*, until_day: date) -> LedgerBook:
    """All sites with their metered use and need up to and with a day."""
    sites = list(Site.objects.order_by("code").values_list("pk", "code", "supplier", "soil", "timezone"))
    ids = np.array([row[0] for row in sites], dtype=np.int64)
    index = {row[0]: place for place, row in enumerate(sites)}
    since = date(until_day.year - YEARS_BACK, until_day.month, 1)
    zones = {row[0]: row[4] for row in sites}
    use = _metered(index, zones, since, until_day + timedelta(days=1))
    return LedgerBook(
        site_ids=ids,
        codes=[row[1] for row in sites],
        suppliers=[row[2] for row in sites],
        soils=[row[3] for row in sites],
        use=use,
        need=_need(ids, index, since, until_day),
        change_on=_changes(ids, index),
        has_meter=np.isin(np.arange(ids.size), use.periods.site),
    )


def _metered(index: dict[int, int], zones: dict[int, str], since: date, end: date) -> MeteredUse:
    """One stream of periods a site from volumes and readings."""
    from_reads = _register_periods(index, zones, since, end)
    volumes = _volume_periods(index, since, end)
    sound = sound_periods(joined(volumes, from_reads.periods))
    return site_periods(MeteredUse(sound.periods, tuple(sorted([*from_reads.problems, *sound.problems]))))


def _volume_periods(index: dict[int, int], since: date, end: date) -> UsePeriods:
    """Volumes as they came in."""
    rows = list(
        MeterVolume.objects.filter(start__gte=since, end__lte=end)
        .order_by()
        .values_list("meter__site_id", "meter_id", "meter__kind", "start", "end", "volume_l")
    )
    if not rows:
        return no_periods()
    site, meter, kind, start, until, volume = zip(*rows, strict=True)
    return UsePeriods(
        site=np.array([index[pk] for pk in site], dtype=np.int64),
        meter=np.array(meter, dtype=np.int64),
        start=np.array(start, dtype="datetime64[D]"),
        end=np.array(until, dtype="datetime64[D]"),
        volume_l=np.array(volume, dtype=np.float64),
        spans_estimate=np.zeros(len(rows), dtype=np.bool_),
        is_whole_house=np.array([word == "whole_house" for word in kind], dtype=np.bool_),
    )


def _register_periods(index: dict[int, int], zones: dict[int, str], since: date, end: date) -> MeteredUse:
    """Volumes between readings, on site-local days."""
    rows = list(
        MeterReading.objects.filter(read_at__date__gte=since, read_at__date__lte=end)
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
        return MeteredUse(no_periods(), ())
    clocks = {name: ZoneInfo(name) for name in set(zones.values())}
    site, meter, kind, read_at, reading, unit, digits, read_kind, event = zip(*rows, strict=True)
    local = [
        at.astimezone(clocks[zones[pk]]).replace(tzinfo=None) for pk, at in zip(site, read_at, strict=True)
    ]
    # stored rows have no order of writing any more; the import names reads that came out of order
    order = np.lexsort((np.array(local, dtype="datetime64[s]"), np.array(meter)))
    return volumes_of_reads(
        RegisterReads(
            site=np.array([index[pk] for pk in site], dtype=np.int64),
            meter=np.array(meter, dtype=np.int64),
            read_at=np.array(local, dtype="datetime64[s]"),
            reading=np.array(reading, dtype=np.float64),
            litres_per_unit=np.array([litres_per_unit(word) for word in unit]),
            digits=np.array([number or 0 for number in digits], dtype=np.int64),
            is_estimated=np.array([word == "estimated" for word in read_kind], dtype=np.bool_),
            is_restart=np.array([bool(word) for word in event], dtype=np.bool_),
            is_whole_house=np.array([word == "whole_house" for word in kind], dtype=np.bool_),
        ).where(order)
    )


def _need(ids: IntArray, index: dict[int, int], since: date, until_day: date) -> SiteNeed | None:
    """Need of every site by day; None without any located zone."""
    table = zone_table()
    located = table.take(table.location_id > 0)
    if len(located) == 0:
        return None
    places = np.unique(np.concatenate([located.location_id, located.rain_location_id]))
    sky = weather_days(location_ids=places[places > 0], start=since, end=until_day + timedelta(days=1))
    rain = sky.rain_of(located.location_id, located.rain_location_id)
    zones = NeedZones(
        site=np.array([index[pk] for pk in located.site_id.tolist()], dtype=np.int64),
        et_column=sky.columns_of(located.location_id),
        rain_column=rain.column,
        area_m2=located.area_m2,
        landscape_coefficient=located.landscape_coefficient,
        store_mm=located.allowed_depletion_mm,
        curve_number=lawn_curve_number(located.soil, located.slope_pct),
        application_efficiency=located.application_efficiency,
    )
    need = site_need(
        first_day=np.datetime64(since, "D"),
        reference_et_mm=sky.reference_et_mm,
        rain_mm=rain.rain_mm,
        zones=zones,
        site_count=ids.size,
    )
    # a site without a located zone needs nothing known, which is not "nothing"
    blind = ~np.isin(np.arange(ids.size), zones.site)
    need.cumulative_unknown[1:, blind] = np.arange(1, sky.days.size + 1)[:, None]
    return need


def _changes(ids: IntArray, index: dict[int, int]) -> DayArray:
    """Day of each site's first sensor."""
    change = np.full(ids.size, np.datetime64("NaT", "D"))
    rows: Sequence[tuple[int, date | None]] = list(
        Sensor.objects.order_by()
        .values("controller__site_id")
        .annotate(first=Min("installed_on"))
        .values_list("controller__site_id", "first")
    )
    for pk, first in rows:
        change[index[pk]] = SENSOR_DAY_UNKNOWN if first is None else np.datetime64(first, "D")
    return change

"""What the ledger is computed from: meters, zones and sky as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db.models import Count, F, Min

from fleet.calc.ledger.need import NeedZones, SiteNeed, site_need
from fleet.calc.ledger.periods import MeteredUse, joined, no_periods, sound_periods
from fleet.calc.ledger.readings import volumes_of_reads
from fleet.calc.ledger.slips import plausible_use
from fleet.calc.ledger.streams import followed_meters, site_periods
from fleet.selectors.ledger.meter_periods import register_reads, volume_periods, without_shared
from sites.calc.balance.run_off import lawn_curve_number
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, Meter, ProgramSet, Sensor, Site
from sites.selectors.zones import zone_table
from weather.calc.arrays import BoolArray, DayArray, IntArray
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
        Day of the first sensor, else of the first program that was keyed in as recommended; NaT: neither;
        the first day of 1970: a sensor without a known day.
    sensor_on
        The same of the sensor alone.
    has_meter
        Whether the site has any meter data.
    place
        Location whose weather the site's largest zone has; 0: none.
    is_mixed
        Whether one controller of the site has a sensor and another has none.
    followed
        Sites and days (ISO) on which a register of another number took over.
    """

    site_ids: IntArray
    codes: list[str]
    suppliers: list[str]
    soils: list[str]
    use: MeteredUse
    need: SiteNeed | None
    change_on: DayArray
    sensor_on: DayArray
    has_meter: BoolArray
    place: IntArray
    is_mixed: BoolArray
    followed: tuple[tuple[int, str], ...] = ()


SENSOR_DAY_UNKNOWN = np.datetime64("1970-01-01", "D")


def ledger_book(*, until_day: date) -> LedgerBook:
    """All sites with their metered use and need up to and with a day."""
    sites = list(Site.objects.order_by("code").values_list("pk", "code", "supplier", "soil", "timezone"))
    ids = np.array([row[0] for row in sites], dtype=np.int64)
    index = {row[0]: place for place, row in enumerate(sites)}
    since = first_day(until_day)
    zones = {row[0]: row[4] for row in sites}
    sensor_on = _sensors(ids, index)
    use, followed = metered_use(index=index, zones=zones, since=since, end=until_day + timedelta(days=1))
    table = zone_table()
    need = _need(table, ids, index, since, until_day)
    if need is not None:
        use = plausible_use(use, need, ids.size)
    return LedgerBook(
        site_ids=ids,
        codes=[row[1] for row in sites],
        suppliers=[row[2] for row in sites],
        soils=[row[3] for row in sites],
        use=use,
        need=need,
        change_on=np.where(np.isnat(sensor_on), _programs(ids, index), sensor_on),
        sensor_on=sensor_on,
        has_meter=np.isin(np.arange(ids.size), use.periods.site),
        place=_places(table, ids),
        is_mixed=_mixed(ids),
        followed=followed,
    )


def first_day(until_day: date) -> date:
    """The oldest day that a ledger up to a day looks at."""
    return date(until_day.year - YEARS_BACK, until_day.month, 1)


def metered_use(
    *,
    index: dict[int, int],
    zones: dict[int, str],
    since: date,
    end: date,
    meter_ids: Sequence[int] | None = None,
) -> tuple[MeteredUse, tuple[tuple[int, str], ...]]:
    """One stream of periods a site from bills and readings, and where a register followed another.

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
    reads = register_reads(index=index, zones=zones, since=since, end=end, meter_ids=meter_ids)
    from_reads = volumes_of_reads(reads) if reads is not None else MeteredUse(no_periods(), ())
    volumes = volume_periods(index=index, since=since, end=end, meter_ids=meter_ids)
    told, shared = without_shared(joined(volumes.periods, from_reads.periods), index=index)
    sound = sound_periods(told)
    problems = tuple(sorted([*from_reads.problems, *volumes.problems, *shared, *sound.problems]))
    bills = np.array(Meter.objects.filter(code="").order_by().values_list("pk", flat=True), dtype=np.int64)
    of_registers = sound.periods.where(~np.isin(sound.periods.meter, bills))
    followed = tuple(followed_meters(MeteredUse(of_registers, ())))
    return site_periods(MeteredUse(sound.periods, problems), bill_meters=bills), followed


def need_of_sites(*, site_ids: Sequence[int], since: date, until_day: date) -> SiteNeed | None:
    """Need of some sites by day; None without any located zone.

    Parameters
    ----------
    site_ids
        Sites, in the order of the columns.
    since, until_day
        First and last day.
    """
    ids = np.asarray(site_ids, dtype=np.int64)
    index = {int(pk): place for place, pk in enumerate(ids)}
    return _need(zone_table(site_ids=list(site_ids)), ids, index, since, until_day)


def _need(
    table: ZoneTable, ids: IntArray, index: dict[int, int], since: date, until_day: date
) -> SiteNeed | None:
    """Need of every site by day; None without any located zone."""
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


def _places(table: ZoneTable, ids: IntArray) -> IntArray:
    """Location of each site's largest zone, 0 where none is located."""
    order = np.argsort(table.area_m2, kind="stable")
    found = dict(zip(table.site_id[order].tolist(), table.location_id[order].tolist(), strict=True))
    return np.array([max(found.get(pk, 0), 0) for pk in ids.tolist()], dtype=np.int64)


def _sensors(ids: IntArray, index: dict[int, int]) -> DayArray:
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


def _programs(ids: IntArray, index: dict[int, int]) -> DayArray:
    """Day on which each site's first recommended program was keyed in."""
    change = np.full(ids.size, np.datetime64("NaT", "D"))
    rows = (
        ProgramSet.objects.filter(origin=ProgramSet.Origin.KEYED_IN)
        .order_by()
        .values("controller__site_id")
        .annotate(first=Min("as_of"))
        .values_list("controller__site_id", "first")
    )
    for pk, first in rows:
        change[index[pk]] = np.datetime64(first, "D")
    return change


def _mixed(ids: IntArray) -> BoolArray:
    """Sites of several controllers of which some have a sensor and some none."""
    rows = (
        Controller.objects.order_by()
        .values("site_id")
        .annotate(all=Count("pk"), governed=Count("sensor"))
        .filter(governed__gt=0, governed__lt=F("all"))
    )
    return np.isin(ids, np.array([row["site_id"] for row in rows], dtype=np.int64))

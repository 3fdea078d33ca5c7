"""The days behind a zone's plot and its table."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from sites.calc import soil
from sites.calc.balance.irrigation import IrrigationSource
from sites.calc.program.passes import program_passes
from sites.charts import WaterStack, water_stack_svg
from sites.models import BalanceMonth, Sensor, Zone
from sites.selectors.balance import balance_days
from sites.selectors.programs_set import bypass_rows, program_lines
from sites.selectors.rain_source import first_report
from sites.selectors.zones import zone_table
from sites.start_ticks import StartsRow
from weather.calc.arrays import BoolArray
from weather.calc.units import mm_to_inches
from weather.selectors import weather_days

# Where irrigation comes from, in words for the table.
SOURCE_WORDS = {
    IrrigationSource.AS_NEEDED: "not known, taken as needed",
    IrrigationSource.ASSUMED: "program as set, assumed",
    IrrigationSource.ASSUMED_SHARE: "program as set, share of the days before",
    IrrigationSource.LOG_PERIOD: "log of several days",
    IrrigationSource.LOG: "log",
}
SPANS = ((45, "6 weeks"), (120, "4 months"), (365, "1 year"))
# Most days of a plot; a file holds all.
MOST_DAYS = 1_100


@dataclass(frozen=True, slots=True)
class WaterDay:
    """A zone's day [mm]; None: not computed."""

    day: date
    rain_mm: float | None
    landscape_et_mm: float | None
    effective_rain_mm: float | None
    irrigation_mm: float | None
    source: str
    depletion_mm: float | None
    depletion_sd_mm: float | None
    is_dry: bool
    is_filled: bool
    is_rain_stood_in: bool  # the gauge was silent, the location's rain stands in


@dataclass(frozen=True, slots=True)
class ZoneWater:
    """A zone's plot as SVG (empty: nothing to show), and its days, newest first."""

    plot: str
    days: tuple[WaterDay, ...]
    first: date
    last: date
    filled_days: int
    assumed_days: int
    skipped: int
    threshold_mm: float
    allowed_mm: float


@dataclass(frozen=True, slots=True)
class WaterSpan:
    """Days that are shown, length of the usual span [d] (0: asked freely), and days that are stored."""

    first: date
    last: date
    usual: int
    oldest: date
    newest: date

    @property
    def is_cut(self) -> bool:
        """Whether more is stored than a plot takes."""
        return (self.newest - self.oldest).days >= MOST_DAYS


def water_span(
    *, zone_id: int, newest: date, first: date | None, last: date | None, usual: int, most: int | None
) -> WaterSpan:
    """The days that were asked for, within what is stored of a zone.

    Parameters
    ----------
    zone_id
        The zone.
    newest
        Last computed day.
    first, last
        Days that were asked for; None: as the usual span has it.
    usual
        Days of the usual span that was asked for [d].
    most
        Most days that are shown [d]: of a longer span the newest; None: all.
    """
    month = (
        BalanceMonth.objects.filter(zone_id=zone_id).order_by("month").values_list("month", flat=True).first()
    )
    oldest = min(month or newest, newest)
    if first is None and last is None:
        usual = usual if usual in dict(SPANS) else SPANS[0][0]
        return WaterSpan(newest - timedelta(days=usual - 1), newest, usual, oldest, newest)
    end = min(max(last or newest, oldest), newest)
    # Somebody who mixes them up means the days between.
    begin = min(max(first or oldest, oldest), newest)
    begin, end = min(begin, end), max(begin, end)
    if most is not None:
        begin = max(begin, end - timedelta(days=most - 1))
    # A line needs two points.
    return WaterSpan(min(begin, end - timedelta(days=1)), end, 0, oldest, newest)


def zone_water(*, zone_id: int, first: date, until: date, is_us: bool) -> ZoneWater:
    """Days of a zone from one day to another, with its plot in the reader's unit of depth."""
    zone = Zone.objects.select_related("controller__site").get(pk=zone_id)
    start, end = first, until + timedelta(days=1)
    balance = balance_days(zone_ids=[zone_id], start=start, end=end)
    days = [start + timedelta(days=n) for n in range((end - start).days)]
    filled, stood_in = _filled(zone, start, end)
    starts = _starts_rows(zone, start, end)
    allowed, threshold = _marks(zone)
    depletion = balance.depletion_mm[:, 0]
    plot = water_stack_svg(
        WaterStack(
            days=days,
            rain_mm=balance.rain_mm[:, 0],
            landscape_et_mm=balance.landscape_et_mm[:, 0],
            depletion_mm=depletion,
            depletion_sd_mm=balance.depletion_sd_mm[:, 0],
            is_filled=filled,
            allowed_mm=allowed,
            threshold_mm=threshold,
            starts=starts,
            per_mm=mm_to_inches(1.0) if is_us else 1.0,
            unit="in" if is_us else "mm",
        )
    )
    known = np.isfinite(depletion)
    rows = [
        WaterDay(
            day=day,
            rain_mm=_known(balance.rain_mm[at, 0]),
            landscape_et_mm=_known(balance.landscape_et_mm[at, 0]),
            effective_rain_mm=_known(balance.effective_rain_mm[at, 0]),
            irrigation_mm=_known(balance.irrigation_net_mm[at, 0]),
            depletion_mm=_known(depletion[at]),
            depletion_sd_mm=_known(balance.depletion_sd_mm[at, 0]),
            is_dry=bool(known[at] and depletion[at] > allowed),
            is_filled=bool(filled[at]),
            is_rain_stood_in=bool(stood_in[at]),
            source=SOURCE_WORDS[IrrigationSource(int(balance.irrigation_source[at, 0]))] if known[at] else "",
        )
        for at, day in enumerate(days)
    ]
    return ZoneWater(
        plot=plot,
        days=tuple(reversed(rows)),
        first=start,
        last=until,
        filled_days=int(filled.sum()),
        assumed_days=_assumed_days(balance.irrigation_source[:, 0], balance.irrigation_net_mm[:, 0]),
        skipped=round(sum(row.skipped for row in starts)),
        threshold_mm=threshold,
        allowed_mm=allowed,
    )


def _assumed_days(
    source: np.ndarray[tuple[int], np.dtype[np.uint8]],
    irrigation_mm: np.ndarray[tuple[int], np.dtype[np.float32]],
) -> int:
    """Days on which water was given that no log tells of."""
    return int(((irrigation_mm > 0) & (source < IrrigationSource.LOG_PERIOD)).sum())


def _known(value: np.floating) -> float | None:
    """A number, or None where it is not known."""
    return float(value) if np.isfinite(value) else None


def _filled(zone: Zone, start: date, end: date) -> tuple[BoolArray, BoolArray]:
    """Days whose weather was filled, and those of them on which a silent gauge's rain is the location's."""
    site = zone.controller.site
    if site.location_id is None:
        nothing = np.zeros((end - start).days, dtype=np.bool_)
        return nothing, nothing
    here, gauge = np.array([site.location_id]), np.array([site.rain_location_id or 0])
    sky = weather_days(location_ids=np.concatenate([here, gauge[gauge > 0]]), start=start, end=end)
    stood_in = sky.rain_of(here, gauge).is_stood_in[:, 0] & ~sky.is_forecast[:, sky.columns_of(here)[0]]
    # Before its first report there was no gauge that could be silent.
    first = first_report(location_id=site.rain_location_id) if site.rain_location_id else None
    stood_in &= sky.days >= np.datetime64(first or end)
    return sky.is_filled[:, sky.columns_of(here)[0]] | stood_in, stood_in


def _marks(zone: Zone) -> tuple[float, float]:
    """Allowed depletion, and the depletion at which the sensor lets starts through (NaN: none) [mm]."""
    table = zone_table(site_ids=[zone.controller.site_id])
    at = int(table.positions_of([zone.pk])[0])
    allowed = float(table.allowed_depletion_mm[at])
    sensor = Sensor.objects.filter(controller=zone.controller, station=zone.station).first()
    if sensor is None or sensor.threshold_kpa is None:
        return allowed, float("nan")
    try:
        threshold = soil.threshold_depletion_mm(table.soil[at], sensor.threshold_kpa, table.root_depth_mm[at])
    except soil.ThresholdTooWet:
        return allowed, float("nan")
    return allowed, float(threshold)


def _starts_rows(zone: Zone, start: date, end: date) -> list[StartsRow]:
    """Logged starts of the zone's controller on the plot's days; a row that began before is cut."""
    ids = np.array([zone.controller_id])
    rows = bypass_rows(controller_ids=ids, start=start, end=end)
    if rows.start.size == 0:
        return []
    days = np.arange(min(rows.start.min(), np.datetime64(start)), max(rows.end.max(), np.datetime64(end)))
    passes = program_passes(
        program_lines(controller_ids=ids), days=days, controller_ids=ids, zone_ids=np.array([zone.pk])
    )
    found = []
    for at in range(rows.start.size):
        inside = (days >= rows.start[at]) & (days < rows.end[at])
        scheduled = rows.scheduled[at]
        if np.isnan(scheduled):
            scheduled = float(passes.starts[inside, 0].sum())
        ran = max(0.0, scheduled - rows.bypassed[at] - rows.skipped[at])
        first = int((rows.start[at] - np.datetime64(start)).astype(np.int64))
        last = int((rows.end[at] - np.datetime64(start)).astype(np.int64))
        first, last = max(first, 0), min(last, (end - start).days)
        found.append(StartsRow(first, last - first, ran, float(rows.bypassed[at]), float(rows.skipped[at])))
    return found

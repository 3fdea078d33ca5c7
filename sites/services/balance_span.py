"""One span of the balance for some sites: gathers what acts on their zones, computes, packs into months."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
import numpy.typing as npt

from sites.calc.balance.blob import COLUMNS, ZoneMonths, pack_months
from sites.calc.balance.irrigation import LOOK_BACK_DAYS, Irrigation, net_irrigation, starts_ran
from sites.calc.balance.parts import BalanceState, Forcing, RootZones, root_zones, unknown_start
from sites.calc.balance.trailing_values import carried_forward
from sites.calc.balance.water_balance import WaterBalance, water_balance
from sites.calc.program.passes import program_passes
from sites.calc.zone_table import ZoneTable
from sites.models import BalanceMonth
from sites.selectors.programs_set import bypass_rows, governed_from, program_lines
from weather.calc.weather_days import WeatherDays
from weather.selectors import weather_days

FloatArray = npt.NDArray[np.float64]
# A day whose ETo nobody knows takes the day before's, unsure by this share; rain that nobody knows counts as
# none, unsure by this much. Both are rare: the weather stage fills gaps before.
CARRIED_ET_ERROR: Final = 0.3
UNKNOWN_RAIN_SD_MM: Final = 4.0
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Span:
    """Days to compute and to store, both ends inclusive."""

    start: date
    last: date

    def __post_init__(self) -> None:
        """Refuse a span that runs backwards."""
        if self.last < self.start:
            raise ValueError("a span ends on or after its start")


def compute_span(table: ZoneTable, span: Span, state: BalanceState | None) -> Iterator[list[BalanceMonth]]:
    """The months of the span, ready to store; without a state the zones begin as good as unknown."""
    zones = root_zones(table)
    irrigation = irrigation_of(table, span)
    forcing = forcing_of(table, sky_of(table, span), irrigation)
    now = unknown_start(zones) if state is None else state
    first = span.start
    while first <= span.last:
        month_end = first.replace(day=monthrange(first.year, first.month)[1])
        last = min(month_end, span.last)
        days = slice((first - span.start).days, (last - span.start).days + 1)
        balance = water_balance(zones, _part(forcing, days), now)
        yield _rows(table, zones, first, balance, now, irrigation.source[days])
        now = balance.end
        first = last + _ONE_DAY


def sky_of(table: ZoneTable, span: Span) -> WeatherDays:
    """Weather of the zones' locations and gauges on the days of a span."""
    places = np.unique(np.concatenate([table.location_id, table.rain_location_id]))
    return weather_days(location_ids=places[places > 0], start=span.start, end=span.last + _ONE_DAY)


def forcing_of(table: ZoneTable, sky: WeatherDays, irrigation: Irrigation) -> Forcing:
    """Weather and irrigation of a span, as they act on the zones."""
    rain = sky.rain_of(table.location_id, table.rain_location_id)
    reference_et = carried_forward(sky.reference_et_mm)
    return Forcing(
        reference_et_mm=np.asarray(reference_et, dtype=np.float64),
        reference_et_sd_mm=np.where(
            np.isnan(sky.reference_et_sd_mm), CARRIED_ET_ERROR * reference_et, sky.reference_et_sd_mm
        ),
        rain_mm=np.nan_to_num(rain.rain_mm),
        rain_sd_mm=np.where(np.isnan(rain.rain_mm), UNKNOWN_RAIN_SD_MM, np.nan_to_num(rain.rain_sd_mm)),
        location=sky.columns_of(table.location_id),
        rain_location=rain.column,
        irrigation_net_mm=irrigation.net_mm,
        irrigation_sd_mm=irrigation.sd_mm,
    )


def irrigation_of(table: ZoneTable, span: Span) -> Irrigation:
    """What ran in the span, from logs and from the programs as set.

    The days before that a borrowed share looks back on are gathered too, and every log that touches them as a
    whole: a span that begins later must give the same days.
    """
    controllers, column = np.unique(table.controller_id, return_inverse=True)
    first, end = span.start - timedelta(days=LOOK_BACK_DAYS), span.last + _ONE_DAY
    logs = bypass_rows(controller_ids=controllers, start=first, end=end)
    days = np.arange(min([np.datetime64(first, "D"), *logs.start]), max([np.datetime64(end, "D"), *logs.end]))
    passes = program_passes(
        program_lines(controller_ids=controllers),
        days=days,
        controller_ids=controllers,
        zone_ids=table.zone_id,
    )
    irrigation = net_irrigation(
        starts_ran(logs, passes, governed_from(controller_ids=controllers)),
        passes,
        controller_column=column,
        precipitation_rate_mm_h=table.precipitation_rate_mm_h,
        application_efficiency=table.application_efficiency,
        runoff_limit_min=table.runoff_limit_min,
        is_governing=table.is_governing,
    )
    at = int((np.datetime64(span.start, "D") - days[0]).astype(np.int64))
    wanted = slice(at, at + (span.last - span.start).days + 1)
    return Irrigation(irrigation.net_mm[wanted], irrigation.sd_mm[wanted], irrigation.source[wanted])


def _part(forcing: Forcing, days: slice) -> Forcing:
    """Some days of what acts on the zones."""
    sd = forcing.irrigation_sd_mm
    return Forcing(
        reference_et_mm=forcing.reference_et_mm[days],
        reference_et_sd_mm=forcing.reference_et_sd_mm[days],
        rain_mm=forcing.rain_mm[days],
        rain_sd_mm=forcing.rain_sd_mm[days],
        location=forcing.location,
        rain_location=forcing.rain_location,
        irrigation_net_mm=forcing.irrigation_net_mm[days],
        irrigation_sd_mm=None if sd is None else sd[days],
    )


def _rows(
    table: ZoneTable,
    zones: RootZones,
    first: date,
    balance: WaterBalance,
    before: BalanceState,
    source: npt.NDArray[np.uint8],
) -> list[BalanceMonth]:
    """Rows of one calendar month; days that are not computed are NaN."""
    length = monthrange(first.year, first.month)[1]
    computed = slice(first.day - 1, first.day - 1 + source.shape[0])
    values = np.full((len(table), len(COLUMNS), length), np.nan, dtype=np.float32)
    sources = np.zeros((len(table), length), dtype=np.uint8)
    for row, name in enumerate(COLUMNS):
        values[:, row, computed] = getattr(balance, name).T
    sources[:, computed] = source.T
    states = np.column_stack(
        [
            before.depletion_mm,
            before.variance_mm2,
            before.coefficient_effect_mm,
            before.rate_effect_mm,
        ]
    )
    packed = pack_months(ZoneMonths(values=values, source=sources, start_state=states))
    month = first.replace(day=1)
    return [
        BalanceMonth(zone_id=zone, month=month, values=blob, allowed_mm=allowed, available_mm=available)
        for zone, blob, allowed, available in zip(
            table.zone_id.tolist(),
            packed,
            zones.allowed_depletion_mm.tolist(),
            zones.total_available_water_mm.tolist(),
            strict=True,
        )
    ]

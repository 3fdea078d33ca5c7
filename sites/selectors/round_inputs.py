"""What the weekly round computes with: controllers, their open days, weather of past seasons."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from sites.calc import soil
from sites.calc.program_controllers import ControllerTable, RuleCase
from sites.calc.program_patterns import day_choices
from sites.calc.program_settings import ProgramSettings
from sites.calc.program_weather import DaySpan, Seasons, seasons, with_forecast
from sites.calc.rule_file import parse_stage
from sites.calc.rule_hours import permitted_hours
from sites.calc.rules import AddressUnknownError, Stage, Watered, house_number, tightest
from sites.calc.zone_table import ZoneTable
from sites.models import Controller, RuleSet
from weather.calc.arrays import DayArray, FloatArray, IntArray
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.models import Location
from weather.selectors import weather_days

RECENT_DAYS: Final = 60
# Spread of a zone's ratio to the governing zone [1]: rate and uniformity measured, or assumed.
RATIO_SPREAD: Final = (0.12, 0.21)


@dataclass(frozen=True, slots=True)
class RoundControllers:
    """Controllers with their rule cases; `codes` (site, controller) and `frozen` in the same order."""

    table: ControllerTable
    cases: tuple[RuleCase, ...]
    site_ids: IntArray
    governing_station: IntArray
    threshold_kpa: FloatArray
    codes: tuple[tuple[str, str], ...]
    frozen: tuple[bool, ...]
    unknown_address: tuple[bool, ...]


def round_controllers(*, zones: ZoneTable, week: date, settings: ProgramSettings) -> RoundControllers:
    """The controllers of the zones, in the zones' order, each with the days that its rules leave open."""
    ids = zones.controller_id[np.sort(np.unique(zones.controller_id, return_index=True)[1])]
    rows = {
        row.pk: row for row in Controller.objects.filter(pk__in=ids.tolist()).select_related("site", "sensor")
    }
    stages = _stages({row.site.rule_set for row in rows.values()})
    cases: dict[tuple[object, ...], int] = {}
    found: list[RuleCase] = []
    unknown: list[bool] = []
    case_of = []
    for pk in ids.tolist():
        row = rows[pk]
        number = house_number(row.site.address)
        key = (row.site.rule_set, None if number is None else number % 10, row.day_modes)
        if key not in cases:
            cases[key] = len(found)
            case, is_unknown = _case(stages.get(row.site.rule_set, ()), number, row.day_modes, week, settings)
            found.append(case)
            unknown.append(is_unknown)
        case_of.append(cases[key])
    governing = {int(c): at for at, c in enumerate(zones.controller_id) if zones.is_governing[at]}
    threshold_kpa = np.array([_threshold(rows[pk]) for pk in ids.tolist()])
    is_governed = np.array([rows[pk].governed and pk in governing for pk in ids.tolist()], dtype=np.bool_)
    return RoundControllers(
        table=ControllerTable(
            controller_id=ids,
            is_governed=is_governed,
            stops_midway=np.array([rows[pk].gating == "any_time" for pk in ids.tolist()], dtype=np.bool_),
            has_free_order=np.array(
                [rows[pk].station_order == "free" for pk in ids.tolist()], dtype=np.bool_
            ),
            program_count=np.array([rows[pk].program_count for pk in ids.tolist()]),
            starts_per_program=np.array([rows[pk].starts_per_program for pk in ids.tolist()]),
            max_run_min=np.array([float(rows[pk].max_run_min) for pk in ids.tolist()]),
            minute_step=np.array([float(rows[pk].minute_step) for pk in ids.tolist()]),
            threshold_mm=np.array(
                [
                    _threshold_mm(zones, governing[pk], kpa) if is_on else np.nan
                    for pk, kpa, is_on in zip(ids.tolist(), threshold_kpa, is_governed, strict=True)
                ]
            ),
            case=np.array(case_of, dtype=np.int64),
        ),
        cases=tuple(found),
        site_ids=np.array([rows[pk].site_id for pk in ids.tolist()], dtype=np.int64),
        governing_station=np.array(
            [
                int(zones.station[governing[pk]]) if is_on else 0
                for pk, is_on in zip(ids.tolist(), is_governed, strict=True)
            ]
        ),
        threshold_kpa=threshold_kpa,
        codes=tuple((rows[pk].site.code, rows[pk].code) for pk in ids.tolist()),
        frozen=tuple(rows[pk].site.program_frozen for pk in ids.tolist()),
        unknown_address=tuple(unknown[case] for case in case_of),
    )


def _threshold(row: Controller) -> float:
    """Threshold as set [kPa], NaN where none is known."""
    sensor = getattr(row, "sensor", None)
    return float(sensor.threshold_kpa) if sensor is not None and sensor.threshold_kpa else math.nan


def _threshold_mm(zones: ZoneTable, at: int, kpa: float) -> float:
    """Depletion at the threshold [mm]; half of the allowed depletion where nobody told the threshold."""
    if math.isnan(kpa) or kpa <= soil.FIELD_CAPACITY_KPA:
        return float(0.5 * zones.allowed_depletion_mm[at])
    texture = int(zones.soil[at])
    return float(soil.threshold_depletion_mm(texture, kpa, float(zones.root_depth_mm[at])))


def _stages(codes: set[str]) -> dict[str, tuple[Stage, ...]]:
    """Stages of the rule sets by code."""
    sets = RuleSet.objects.filter(code__in=codes).prefetch_related("stages")
    return {one.code: tuple(parse_stage(stage.spec) for stage in one.stages.all()) for one in sets}


def _case(
    stages: Sequence[Stage], number: int | None, day_modes: str, week: date, settings: ProgramSettings
) -> tuple[RuleCase, bool]:
    """Open days under the rules, and whether they could not be told for want of a house number."""
    days = _days(week, week + timedelta(days=settings.horizon_days))
    watered = Watered(number)
    try:
        hours = permitted_hours(stages, watered, week, settings.horizon_days)
        most_days, most_minutes = tightest(stages, watered, days)
    except AddressUnknownError:
        return RuleCase(()), True
    choices = day_choices(hours, days, day_modes=day_modes.split(","), max_days_per_week=most_days)
    return RuleCase(choices, math.inf if most_minutes is None else float(most_minutes)), False


def _days(start: date, end: date) -> DayArray:
    """Days from `start` to `end` (exclusive)."""
    return np.arange(np.datetime64(start), np.datetime64(end))


def zone_margins(*, zones: ZoneTable, factors: FloatArray, settings: ProgramSettings) -> FloatArray:
    """Factor on each zone's demand that covers what is not known of it, times what visits taught [1]."""
    is_assumed = zones.precipitation_rate_assumed | zones.distribution_uniformity_assumed
    spread = np.where(is_assumed, RATIO_SPREAD[1], RATIO_SPREAD[0])
    return np.asarray(np.exp(settings.margin_strength * spread) * factors)


def round_weather(*, location_ids: IntArray, week: date, today: date, settings: ProgramSettings) -> Seasons:
    """The horizon's days in past seasons with the forecast in front, (days, locations, seasons)."""
    length = timedelta(days=settings.horizon_days)
    past = []
    for years in range(1, settings.seasons + 1):
        start = _years_before(week, years)
        past.append(_span(location_ids, start, start + length))
    recent = _span(location_ids, today - timedelta(days=RECENT_DAYS), today)
    found = seasons(past, recent, _radiation_ratio(location_ids, week, today, settings), settings)
    ahead = week + timedelta(days=settings.forecast_days)
    return with_forecast(found, _span(location_ids, week, ahead), settings)


def _years_before(day: date, years: int) -> date:
    """The same calendar day years before; 29 February counts as the 28th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


def _span(location_ids: IntArray, start: date, end: date) -> DaySpan:
    """Weather of a span, NaN where unknown, columns in the order of the ids."""
    sky = weather_days(location_ids=location_ids, start=start, end=end)
    order = np.searchsorted(sky.location_ids, location_ids)
    return DaySpan(sky.reference_et_mm[:, order], sky.rain_mm[:, order])


def _radiation_ratio(
    location_ids: IntArray, week: date, today: date, settings: ProgramSettings
) -> FloatArray:
    """Extraterrestrial radiation of each horizon day over the mean of the recent days, (days, locations)."""
    latitude = dict(Location.objects.filter(pk__in=location_ids.tolist()).values_list("pk", "latitude"))
    degrees = np.array([latitude.get(int(pk), 0.0) for pk in location_ids])
    ahead = _days(week, week + timedelta(days=settings.horizon_days))
    recent = _days(today - timedelta(days=RECENT_DAYS), today)
    above = extraterrestrial_radiation(day_of_year(ahead), degrees)
    return np.asarray(above / extraterrestrial_radiation(day_of_year(recent), degrees).mean(axis=0))

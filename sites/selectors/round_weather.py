"""Weather that the weekly round tries programs on: the horizon's days in past seasons, and the forecast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from sites.calc.search.settings import ProgramSettings
from sites.calc.search.weather import DaySpan, Seasons, seasons, with_forecast
from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.calc.weather_days import WeatherDays
from weather.models import Location
from weather.selectors import weather_days

RECENT_DAYS: Final = 60
# No source foretells farther than this [d].
_FARTHEST_FORECAST_DAYS: Final = 45


@dataclass(frozen=True, slots=True)
class RoundWeather:
    """Weather of pairs of location and gauge.

    Parameters
    ----------
    seasons
        Weather of the horizon in several seasons, (days, pairs, seasons).
    stood_in_days
        Days of the past seasons on which the location's rain stands in for a silent gauge, (pairs,).
    forecast_days
        First days of the horizon that a forecast tells, (pairs,).
    """

    seasons: Seasons
    stood_in_days: IntArray
    forecast_days: IntArray


def pairs_of(location_ids: IntArray, gauge_ids: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return the distinct pairs of location and gauge (0: none), and the pair of each place.

    Parameters
    ----------
    location_ids, gauge_ids
        Location of each place, and the gauge that tells its rain; 0 or less where there is none.
    """
    gauges = np.where((gauge_ids > 0) & (gauge_ids != location_ids), gauge_ids, 0)
    pairs, column = np.unique(np.column_stack([location_ids, gauges]), axis=0, return_inverse=True)
    return pairs[:, 0], pairs[:, 1], column.reshape(-1).astype(np.int64)


def past_sky(
    *,
    location_ids: IntArray,
    gauge_ids: IntArray,
    weeks: Sequence[date],
    today: date,
    settings: ProgramSettings,
) -> WeatherDays:
    """All past days that the weather of several weeks rests on, read once.

    Parameters
    ----------
    location_ids, gauge_ids
        Pairs, as for `round_weather`.
    weeks
        Mondays of the weeks.
    today
        Day of computing.
    settings
        Settings of the round.
    """
    first = _years_before(min(weeks), settings.seasons)
    last = _years_before(max(weeks), 1) + timedelta(days=settings.horizon_days)
    return _sky(location_ids, gauge_ids, min(first, today - timedelta(days=RECENT_DAYS)), max(last, today))


def round_weather(
    *,
    location_ids: IntArray,
    gauge_ids: IntArray,
    week: date,
    today: date,
    settings: ProgramSettings,
    past_days: WeatherDays | None = None,
) -> RoundWeather:
    """The horizon's days in past seasons with the forecast in front, (days, pairs, seasons) [mm/d].

    Parameters
    ----------
    location_ids, gauge_ids
        Pairs as of `pairs_of`: on days on which the gauge is silent the location's own rain counts.
    week
        Monday of the week.
    today
        Day of computing; only forecasts issued until then count.
    settings
        Settings of the round.
    past_days
        The past days, where they were read before; None: they are read here.
    """
    length = timedelta(days=settings.horizon_days)
    past, stood_in = [], np.zeros(location_ids.size, dtype=np.int64)
    for years in range(1, settings.seasons + 1):
        start = _years_before(week, years)
        span, marks = _span(location_ids, gauge_ids, start, start + length, past_days)
        past.append(span)
        stood_in += marks.sum(axis=0)
    recent, _ = _span(location_ids, gauge_ids, today - timedelta(days=RECENT_DAYS), today, past_days)
    found = seasons(past, recent, _radiation_ratio(location_ids, week, today, settings), settings)
    if week > today + timedelta(days=_FARTHEST_FORECAST_DAYS):
        return RoundWeather(found, stood_in, np.zeros_like(stood_in))
    ahead, foretold = _forecast(location_ids, gauge_ids, week, today, settings)
    return RoundWeather(with_forecast(found, ahead, settings), stood_in, foretold)


def _years_before(day: date, years: int) -> date:
    """The same calendar day years before; 29 February counts as the 28th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


def _span(
    location_ids: IntArray, gauge_ids: IntArray, start: date, end: date, read: WeatherDays | None
) -> tuple[DaySpan, BoolArray]:
    """Weather of a span, NaN where unknown, and where a location's rain stands in; columns are pairs."""
    sky = _sky(location_ids, gauge_ids, start, end) if read is None else read.between(start, end)
    rain = sky.rain_of(location_ids, gauge_ids)
    et = sky.reference_et_mm[:, sky.columns_of(location_ids)]
    stood_in = rain.is_stood_in & np.isfinite(rain.rain_mm)
    return DaySpan(et, rain.rain_mm[:, rain.column]), stood_in[:, rain.column]


def _sky(
    location_ids: IntArray, gauge_ids: IntArray, start: date, end: date, issued_by: date | None = None
) -> WeatherDays:
    """Weather of locations and gauges on the days of a span."""
    both = np.unique(np.concatenate([location_ids, gauge_ids[gauge_ids > 0]]))
    return weather_days(location_ids=both, start=start, end=end, forecast_issued_by=issued_by)


def _forecast(
    location_ids: IntArray, gauge_ids: IntArray, week: date, today: date, settings: ProgramSettings
) -> tuple[DaySpan, IntArray]:
    """Forecast of the first days and how many it tells; what was measured only later is not known then."""
    end = week + timedelta(days=settings.forecast_days)
    sky = _sky(location_ids, gauge_ids, week, end, today)
    columns, rain = sky.columns_of(location_ids), sky.rain_of(location_ids, gauge_ids)
    is_past = (sky.days < np.datetime64(today))[:, None]
    is_known = sky.is_forecast[:, columns] | is_past
    # A gauge foretells nothing: from today on the location's forecast counts.
    told = np.where(is_past, rain.rain_mm[:, rain.column], sky.rain_mm[:, columns])
    span = DaySpan(
        np.where(is_known, sky.reference_et_mm[:, columns], np.nan), np.where(is_known, told, np.nan)
    )
    return span, (np.isfinite(span.reference_et_mm) & ~is_past).sum(axis=0)


def _radiation_ratio(
    location_ids: IntArray, week: date, today: date, settings: ProgramSettings
) -> FloatArray:
    """Extraterrestrial radiation of each horizon day over the mean of the recent days, (days, locations)."""
    latitude = dict(Location.objects.filter(pk__in=location_ids.tolist()).values_list("pk", "latitude"))
    degrees = np.array([latitude.get(int(pk), 0.0) for pk in location_ids])
    ahead = np.arange(np.datetime64(week), np.datetime64(week) + settings.horizon_days)
    recent = np.arange(np.datetime64(today) - RECENT_DAYS, np.datetime64(today))
    above = extraterrestrial_radiation(day_of_year(ahead), degrees)
    return np.asarray(above / extraterrestrial_radiation(day_of_year(recent), degrees).mean(axis=0))

"""Weather that the weekly round tries programs on: the horizon's days in past seasons, and the forecast."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

import numpy as np

from sites.calc.program_settings import ProgramSettings
from sites.calc.program_weather import DaySpan, Seasons, seasons, with_forecast
from weather.calc.arrays import FloatArray, IntArray
from weather.calc.radiation import day_of_year, extraterrestrial_radiation
from weather.models import Location
from weather.selectors import weather_days

RECENT_DAYS: Final = 60


def round_weather(*, location_ids: IntArray, week: date, today: date, settings: ProgramSettings) -> Seasons:
    """The horizon's days in past seasons with the forecast in front, (days, locations, seasons) [mm/d].

    Parameters
    ----------
    location_ids
        Locations, sorted.
    week
        Monday of the week.
    today
        Day of computing; only forecasts issued until then count.
    settings
        Settings of the round.
    """
    length = timedelta(days=settings.horizon_days)
    past = []
    for years in range(1, settings.seasons + 1):
        start = _years_before(week, years)
        past.append(_span(location_ids, start, start + length))
    recent = _span(location_ids, today - timedelta(days=RECENT_DAYS), today)
    found = seasons(past, recent, _radiation_ratio(location_ids, week, today, settings), settings)
    return with_forecast(found, _forecast(location_ids, week, today, settings), settings)


def _years_before(day: date, years: int) -> date:
    """The same calendar day years before; 29 February counts as the 28th."""
    try:
        return day.replace(year=day.year - years)
    except ValueError:
        return day.replace(year=day.year - years, day=28)


def _span(location_ids: IntArray, start: date, end: date) -> DaySpan:
    """Weather of a span, NaN where unknown, columns in the order of the ids."""
    sky = weather_days(location_ids=location_ids, start=start, end=end)
    columns = sky.columns_of(location_ids)
    return DaySpan(sky.reference_et_mm[:, columns], sky.rain_mm[:, columns])


def _forecast(location_ids: IntArray, week: date, today: date, settings: ProgramSettings) -> DaySpan:
    """Forecast of the first days; what was measured only after the day of computing is not known then."""
    end = week + timedelta(days=settings.forecast_days)
    sky = weather_days(location_ids=location_ids, start=week, end=end, forecast_issued_by=today)
    columns = sky.columns_of(location_ids)
    is_known = sky.is_forecast[:, columns] | (sky.days < np.datetime64(today))[:, None]
    return DaySpan(
        np.where(is_known, sky.reference_et_mm[:, columns], np.nan),
        np.where(is_known, sky.rain_mm[:, columns], np.nan),
    )


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

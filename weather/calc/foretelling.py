"""Forecast days: ET from what the forecast tells, with a spread that grows with lead."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.fill_codes import FillArray
from weather.calc.filling import substitute_fills
from weather.calc.reference_et import reference_et
from weather.calc.substitutes import Assumptions
from weather.calc.uncertainty import et_sd_mm, forecast_et_sd_mm, forecast_rain_sd_mm


@dataclass(frozen=True, slots=True)
class ForecastDays:
    """Forecast days ready for use. All arrays are (days, locations); NaN = not foretold.

    Parameters
    ----------
    reference_et_raw_mm, reference_et_mm, reference_et_sd_mm
        ET as the equation gave it, for scheduling, and its standard deviation [mm/d].
    rain_mm, rain_sd_mm
        Rain and its standard deviation [mm/d].
    fills
        Sums of `fill_codes.Fill` [1].
    """

    reference_et_raw_mm: FloatArray
    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    fills: FillArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        shapes = {getattr(self, field.name).shape for field in fields(self)}
        if len(shapes) != 1:
            raise ValueError("all arrays of forecast days must share one shape (days, locations)")


def forecast_days(
    weather: DailyWeather, places: Places, assumptions: Assumptions, issued: np.datetime64
) -> ForecastDays:
    """ET and rain of the days of one issue of a forecast.

    Parameters
    ----------
    weather
        Forecast days, NaN = not foretold [as named], shape (days, locations).
    places
        Positions and heights [deg, m], shape (locations,).
    assumptions
        What the locations' last 60 days taught of their sun and dryness [as named], shape (locations,):
        most forecasts carry no solar radiation (FAO-56, Eq. 50 stands in, and is told).
    issued
        Day of issue, datetime64[D]; a day's lead counts from it [d].

    Returns
    -------
    ForecastDays
        Arrays of shape (days, locations) [as named].
    """
    lead = (weather.days - issued).astype(np.float64)[:, np.newaxis]
    if bool(np.any(lead < 0.0)):
        raise ValueError("a forecast cannot be issued after its day")
    computed = reference_et(weather, places, assumptions)
    scheduling = computed.scheduling_mm()
    fallbacks = computed.fallbacks.astype(np.int64)
    own = et_sd_mm(scheduling, fallbacks, np.zeros(weather.shape), np.zeros(weather.shape, dtype=np.bool_))
    return ForecastDays(
        reference_et_raw_mm=computed.raw_mm,
        reference_et_mm=scheduling,
        reference_et_sd_mm=forecast_et_sd_mm(scheduling, own, lead),
        rain_mm=weather.rain_mm,
        rain_sd_mm=forecast_rain_sd_mm(weather.rain_mm, lead),
        fills=substitute_fills(weather, computed),
    )

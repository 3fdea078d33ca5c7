"""Forecast days: ET from what the forecast tells, with a spread that grows with lead."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from weather.calc.arrays import FloatArray
from weather.calc.daily_weather import DailyWeather, Places
from weather.calc.et_spread import total_mm
from weather.calc.fill_codes import FillArray
from weather.calc.filling import substitute_fills
from weather.calc.spread_rules import GROUP_OF, REMARKED, TOLD, forecast_spread
from weather.calc.substitutes import Assumptions
from weather.calc.taken_inputs import kept_inputs, spreads_at_level, taken_inputs, with_dew
from weather.calc.told_quality import Quality
from weather.calc.value_spreads import Spreads, with_substitutes


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
    used, spreads
        Values that were put in, and standard deviations, as of `filling.FilledDays` [as named].
    """

    reference_et_raw_mm: FloatArray
    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    fills: FillArray
    used: Spreads
    spreads: Spreads

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        alone = [getattr(self, field.name) for field in fields(self)[:-2]]
        shapes = {array.shape for array in (*alone, *self.used.values(), *self.spreads.values())}
        if len(shapes) != 1:
            raise ValueError("all arrays of forecast days must share one shape (days, locations)")


def forecast_days(
    weather: DailyWeather,
    places: Places,
    assumptions: Assumptions,
    issued: np.datetime64,
    quality: Quality | None = None,
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
    quality
        What a check remarked [1]; None = nothing. Who foretold makes no difference.

    Returns
    -------
    ForecastDays
        Arrays of shape (days, locations) [as named].
    """
    lead = (weather.days - issued).astype(np.float64)[:, np.newaxis]
    if bool(np.any(lead < 0.0)):
        raise ValueError("a forecast cannot be issued after its day")
    remarked = {} if quality is None else quality.is_remarked
    told = {
        name: forecast_spread(name, getattr(weather, name), lead)
        * np.where(remarked.get(GROUP_OF[name], False), REMARKED, 1.0)
        for name in TOLD
    }
    level = with_dew(weather)
    taken = taken_inputs(level, places, assumptions)
    spreads = with_substitutes(
        spreads_at_level(weather, level, told),
        {name: forecast_spread(name, values, lead) for name, values in taken.values.items()},
        taken.fallbacks,
        has_learned=np.broadcast_to(np.asarray(assumptions.dew_gap_c) > 0.0, weather.shape),
        clear_sky_mj_m2=taken.clear_sky_mj_m2,
        tmin_c=weather.tmin_c,
    )
    return ForecastDays(
        reference_et_raw_mm=taken.raw_mm,
        reference_et_mm=np.maximum(taken.raw_mm, 0.0),
        reference_et_sd_mm=total_mm(taken.parts_of_et(spreads)),
        rain_mm=weather.rain_mm,
        rain_sd_mm=told["rain_mm"],
        fills=substitute_fills(weather, taken.fallbacks),
        **kept_inputs(weather, told, taken, spreads),
    )

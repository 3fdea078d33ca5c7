"""Weather as the filter uses it: effective rain, ET, and how much wider a missing day makes the depletion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import pandas as pd

from fleet.calc.watch.day import effective_rain
from fleet.calc.watch.inputs import BadWatchInputs, WatchInputs

FloatArray: TypeAlias = npt.NDArray[np.float64]

_MISSING_ET_CV = 0.3


@dataclass(frozen=True, slots=True)
class FilterWeather:
    """Rain and ET without gaps, all (days, sites).

    Parameters
    ----------
    rain_mm
        Effective rain; on a day whose rain is unknown the mean of the known days [mm/d].
    et_mm
        Reference ET; unknown days interpolated [mm/d].
    missing_sd_mm
        Extra standard deviation of the depletion from what is unknown; 0 on known days [mm].
    """

    rain_mm: FloatArray
    et_mm: FloatArray
    missing_sd_mm: FloatArray


def filter_weather(inputs: WatchInputs) -> FilterWeather:
    """Weather without gaps and the uncertainty that each gap adds [mm/d].

    An unknown day is never a dry day: it takes the mean of the site's known days and their spread.

    Parameters
    ----------
    inputs
        The sites with their raw weather.
    """
    rain = effective_rain(inputs.rain_mm)
    et = inputs.reference_et_mm
    missing = np.zeros(rain.shape)
    no_rain = np.isnan(rain)
    if no_rain.any():
        if no_rain.all(axis=0).any():
            raise BadWatchInputs("a site has no day with known rain")
        rain = np.where(no_rain, np.nanmean(rain, axis=0)[None, :], rain)
        missing = np.where(no_rain, np.nanstd(effective_rain(inputs.rain_mm), axis=0)[None, :], missing)
    no_et = np.isnan(et)
    if no_et.any():
        if no_et.all(axis=0).any():
            raise BadWatchInputs("a site has no day with known reference ET")
        et = pd.DataFrame(et).interpolate(limit_direction="both").to_numpy()
        missing = np.hypot(missing, np.where(no_et, _MISSING_ET_CV * et, 0.0))
    return FilterWeather(rain_mm=rain, et_mm=et, missing_sd_mm=missing)

"""Generated daily weather of three climates for the simulated fleets of the watch.

Rain is a two-state Markov chain of wet and dry days with gamma amounts; reference ET a yearly wave with a
memory of a few days, lower on wet days. The monthly numbers were taken from public station records (Maricopa
AZ 2003-2020 for the arid one, Gainesville FL 2018-2024 for the humid one, McLean County IL 2015 for the
continental one), rounded and smoothed by hand; ET of the last two is our own estimate from temperature. No
year of any place is copied.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]

GAMMA_SHAPE: Final = 0.75
_ET_MEMORY: Final = 0.6
_DAYS_A_YEAR: Final = 365.25


@dataclass(frozen=True, slots=True)
class Climate:
    """Monthly numbers of a climate, April to October, seven values each.

    Parameters
    ----------
    name
        Name in the table.
    wet_share
        Share of days with at least 1 mm of rain [1].
    wet_after_wet
        Probability of rain on the day after a wet day [1].
    wet_day_mm
        Mean rain of a wet day [mm].
    et_mm, et_sd_mm
        Mean reference ET and its spread from day to day [mm/d].
    """

    name: str
    wet_share: tuple[float, ...]
    wet_after_wet: tuple[float, ...]
    wet_day_mm: tuple[float, ...]
    et_mm: tuple[float, ...]
    et_sd_mm: tuple[float, ...]


CLIMATES: Final = {
    "arid": Climate(
        name="arid",
        wet_share=(0.026, 0.014, 0.011, 0.10, 0.11, 0.057, 0.043),
        wet_after_wet=(0.10, 0.12, 0.17, 0.22, 0.18, 0.19, 0.29),
        wet_day_mm=(6.0, 8.0, 5.0, 7.0, 6.0, 7.5, 9.0),
        et_mm=(6.3, 7.7, 8.8, 8.2, 7.1, 5.9, 4.2),
        et_sd_mm=(1.2, 1.2, 1.0, 1.3, 1.15, 1.15, 1.05),
    ),
    "humid": Climate(
        name="humid",
        wet_share=(0.20, 0.23, 0.40, 0.48, 0.45, 0.32, 0.17),
        wet_after_wet=(0.28, 0.44, 0.57, 0.54, 0.57, 0.52, 0.28),
        wet_day_mm=(15.0, 14.0, 16.0, 13.5, 15.5, 12.5, 10.0),
        et_mm=(4.4, 5.1, 5.0, 4.9, 4.6, 4.0, 3.3),
        et_sd_mm=(1.0, 1.1, 1.2, 1.1, 1.1, 1.0, 0.9),
    ),
    "continental": Climate(
        name="continental",
        wet_share=(0.34, 0.42, 0.40, 0.27, 0.22, 0.23, 0.23),
        wet_after_wet=(0.45, 0.52, 0.50, 0.32, 0.42, 0.35, 0.40),
        wet_day_mm=(7.0, 10.0, 14.0, 16.0, 13.0, 13.0, 7.0),
        et_mm=(3.4, 4.5, 5.3, 5.5, 4.7, 3.6, 2.2),
        et_sd_mm=(1.2, 1.4, 1.4, 1.2, 1.2, 1.1, 0.9),
    ),
}


@dataclass(frozen=True, slots=True)
class SeasonWeather:
    """True weather of a season's locations, both (days, locations) [mm/d]."""

    rain_mm: FloatArray
    reference_et_mm: FloatArray

    def __post_init__(self) -> None:
        """Reject gaps: the truth has none."""
        if self.rain_mm.shape != self.reference_et_mm.shape:
            raise ValueError("rain and ET need the same days and locations")
        if not (np.isfinite(self.rain_mm).all() and np.isfinite(self.reference_et_mm).all()):
            raise ValueError("the true weather has no gaps")


def generated_season(climate: Climate, days: int, locations: int, rng: np.random.Generator) -> SeasonWeather:
    """A season from 1 April for several locations that share a climate [mm/d].

    Parameters
    ----------
    climate
        Monthly numbers.
    days, locations
        Shape of the result [1].
    rng
        Source of chance.
    """
    month = np.minimum((np.arange(days) / _DAYS_A_YEAR * 12.0).astype(np.int64), len(climate.et_mm) - 1)
    wet_share = np.asarray(climate.wet_share)[month]
    after_wet = np.asarray(climate.wet_after_wet)[month]
    after_dry = np.clip(wet_share * (1.0 - after_wet) / (1.0 - wet_share), 0.0, 1.0)
    wet = np.zeros((days, locations), dtype=np.bool_)
    yesterday = rng.random(locations) < wet_share[0]
    noise = np.zeros((days, locations))
    for day in range(days):
        wet[day] = rng.random(locations) < np.where(yesterday, after_wet[day], after_dry[day])
        yesterday = wet[day]
        fresh = rng.normal(0.0, np.sqrt(1.0 - _ET_MEMORY**2), locations)
        noise[day] = (_ET_MEMORY * noise[day - 1] if day else 0.0) + fresh
    amount = rng.gamma(GAMMA_SHAPE, 1.0, (days, locations)) / GAMMA_SHAPE
    rain = np.where(wet, 1.0 + amount * (np.asarray(climate.wet_day_mm)[month, None] - 1.0), 0.0)
    spread = np.asarray(climate.et_sd_mm)[month, None]
    et = np.asarray(climate.et_mm)[month, None] + spread * (0.8 * noise - 0.8 * (wet - wet_share[:, None]))
    return SeasonWeather(rain_mm=rain, reference_et_mm=np.clip(et, 0.3, None))

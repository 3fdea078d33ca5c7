"""How far off each value may be, in its own unit: by who told it, what stood in for it, and its lead.

Spreads are standard deviations. A rule is a depth and a share of the value, both of which may grow with a way
[km] or a lead [d]. Each names its source; the page shows this table, and nothing else holds such numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from weather.calc.arrays import BoolArray, FloatArray

# Values with a spread of their own, as the columns are called; K stands for a difference of temperatures.
TOLD: Final = ("tmin_c", "tmax_c", "tdew_c", "rh_min_pct", "rh_max_pct", "wind_m_s", "solar_mj_m2", "rain_mm")
# What the equation of ET takes; its spread is made of theirs.
INPUTS: Final = ("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2")
# Where they are stored: the value that the equation took where none was told, and the spread of either.
USED_COLUMN: Final[Mapping[str, str]] = {
    "tmin_c": "tmin_used_c",
    "tmax_c": "tmax_used_c",
    "tdew_c": "tdew_used_c",
    "wind_m_s": "wind_used_m_s",
    "solar_mj_m2": "solar_used_mj_m2",
}
SPREAD_COLUMN: Final[Mapping[str, str]] = {
    "tmin_c": "tmin_sd_k",
    "tmax_c": "tmax_sd_k",
    "tdew_c": "tdew_sd_k",
    "rh_min_pct": "rh_min_sd_pct",
    "rh_max_pct": "rh_max_sd_pct",
    "wind_m_s": "wind_sd_m_s",
    "solar_mj_m2": "solar_sd_mj_m2",
    "rain_mm": "rain_sd_mm",
}
GROUP_OF: Final[Mapping[str, str]] = {
    "tmin_c": "temperature",
    "tmax_c": "temperature",
    "tdew_c": "humidity",
    "rh_min_pct": "humidity",
    "rh_max_pct": "humidity",
    "wind_m_s": "wind",
    "solar_mj_m2": "solar",
    "rain_mm": "rain",
}


@dataclass(frozen=True, slots=True)
class Rule:
    """A spread: `least + share * value`, each with what it grows by.

    Parameters
    ----------
    least
        Spread of a value of zero [its unit].
    share
        Share of the value [1].
    least_per, share_per
        What these grow by for each km of way or day of lead [per km or d].
    """

    least: float
    share: float = 0.0
    least_per: float = 0.0
    share_per: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a rule that could shrink."""
        if min(self.least, self.share, self.least_per, self.share_per) < 0.0:
            raise ValueError("no part of a spread is negative")

    def spread(self, values: FloatArray, reach: FloatArray | float = 0.0) -> FloatArray:
        """Spread of values [their unit].

        Parameters
        ----------
        values
            Values, NaN = unknown [their unit], any shape.
        reach
            Way or lead, a number or of a shape that fits [km or d].

        Returns
        -------
        FloatArray
            Standard deviations [same unit], NaN where the value is unknown.
        """
        share = self.share + self.share_per * np.asarray(reach)
        return np.asarray(self.least + self.least_per * np.asarray(reach) + share * np.abs(values))


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Rules of one kind for all values, with where their numbers come from.

    Parameters
    ----------
    name
        What the page calls them [1].
    rules
        Rules by column [as named].
    reach
        Unit of what they grow with: `km`, `d`, or nothing [1].
    source
        Author, year and place, "from memory", or "common practice, no source" [1].
    """

    name: str
    rules: Mapping[str, Rule]
    reach: str
    source: str


STATION: Final = RuleSet(
    "a station's or file's value",
    {
        "tmin_c": Rule(0.5),
        "tmax_c": Rule(0.5),
        "tdew_c": Rule(1.0),
        "rh_min_pct": Rule(3.0),
        "rh_max_pct": Rule(3.0),
        "wind_m_s": Rule(0.15, 0.05),
        "solar_mj_m2": Rule(0.2, 0.04),
        "rain_mm": Rule(0.1, 0.10),
    },
    "",
    "WMO-No. 8, Annex 1.A, achievable uncertainty, from memory; widened for shields without a fan and for "
    "the catch of a gauge: common practice, no source",
)
GRID: Final = RuleSet(
    "a value of a grid",
    {
        "tmin_c": Rule(2.5),
        "tmax_c": Rule(2.0),
        "tdew_c": Rule(2.0),
        "rh_min_pct": Rule(10.0),
        "rh_max_pct": Rule(10.0),
        "wind_m_s": Rule(0.4, 0.20),
        "solar_mj_m2": Rule(0.5, 0.08),
        "rain_mm": Rule(0.5, 0.40),
    },
    "",
    "Rodrigues and Braga 2021, Agronomy 11(6) 1207, abstract: NRMSE of NASA POWER against 14 stations 8 % "
    "(highest) and 20.5 % (lowest temperature), 11.2 % (sun), 12.1 % (humidity), never under 19.6 % (wind); "
    "rain and dew point: common practice, no source",
)
FORECAST: Final = RuleSet(
    "a forecast's value",
    {
        "tmin_c": Rule(1.8, 0.0, 0.3),
        "tmax_c": Rule(1.8, 0.0, 0.3),
        "tdew_c": Rule(1.8, 0.0, 0.3),
        "rh_min_pct": Rule(9.0, 0.0, 1.0),
        "rh_max_pct": Rule(9.0, 0.0, 1.0),
        "wind_m_s": Rule(0.4, 0.10, 0.03, 0.01),
        "solar_mj_m2": Rule(0.8, 0.06, 0.05, 0.008),
        "rain_mm": Rule(1.0, 0.50, 0.4, 0.07),
    },
    "d",
    "common practice, no source; held under the spread of days around their own month at two stations, under "
    "that of taking yesterday for tomorrow, and beside the error of ETo foretold for three days at seven "
    "stations, 0.68 mm/d (Comparing the use of past and forecast weather data for estimating reference "
    "evapotranspiration, 2020, abstract)",
)
LENT: Final = RuleSet(
    "what a neighbour's value adds",
    {
        "tmin_c": Rule(0.5, 0.0, 0.035),
        "tmax_c": Rule(0.5, 0.0, 0.02),
        "tdew_c": Rule(0.6, 0.0, 0.03),
        "wind_m_s": Rule(0.0, 0.12, 0.0, 0.004),
        "solar_mj_m2": Rule(0.0, 0.05, 0.0, 0.0007),
        "rain_mm": Rule(0.0, 0.0, 0.05, 0.03),
    },
    "km",
    "Hubbard 1994, Agric. For. Meteorol. 68, 29-41, distances at which a tenth of the variance is left "
    "(60 km highest, 30 km lowest temperature, humidity and sun, 10 km wind), from memory; rain: common "
    "practice, no source",
)
# Root mean squares over the days above 2 mm/d of both test stations, weighed alike; a test computes them.
SUBSTITUTE: Final = RuleSet(
    "what a substitute adds",
    {
        "tdew_c:from_tmin": Rule(8.6),
        "tdew_c:from_tmin_learned": Rule(4.2),
        "tdew_c:from_rh_max": Rule(2.4),
        "wind_m_s:default": Rule(1.6),
        "solar_mj_m2:from_range": Rule(0.0, 0.12),  # share of a clear sky's
    },
    "",
    "FAO-56 chapter 3 against the measured days of Maricopa AZ (AZMET 2003-2020) and McLean IL (2015)",
)
RULE_SETS: Final = (STATION, GRID, FORECAST, LENT, SUBSTITUTE)
# Common practice, no source.
LENT_LONG: Final = 1.5  # factor on what a neighbour adds beyond the third day of a gap
REMARKED: Final = 2.0  # factor on a value that a check remarked
EQUATION_MM: Final = 0.15  # what the equation leaves open on any day [mm/d]


def told_spread(name: str, values: FloatArray, is_grid: BoolArray) -> FloatArray:
    """Spread that values have by who told them.

    Parameters
    ----------
    name
        Column of the values, one of `TOLD` [1].
    values
        Values, NaN = unknown [their unit], any shape.
    is_grid
        True where a gridded product told them [1], a shape that fits.

    Returns
    -------
    FloatArray
        Standard deviations [same unit; K for temperatures], NaN where the value is unknown.
    """
    by_grid, by_station = (rules.rules[name].spread(values) for rules in (GRID, STATION))
    return np.where(is_grid, by_grid, by_station)


def forecast_spread(name: str, values: FloatArray, lead_d: FloatArray) -> FloatArray:
    """Spread that foretold values have by lead.

    Parameters
    ----------
    name
        Column of the values, one of `TOLD` [1].
    values
        Values, NaN = not foretold [their unit], shape (days, locations).
    lead_d
        Days from issue to the day, 0 for the same day [d], shape (days, 1) or same.

    Returns
    -------
    FloatArray
        Standard deviations [same unit; K for temperatures], growing with lead.
    """
    return FORECAST.rules[name].spread(values, lead_d)

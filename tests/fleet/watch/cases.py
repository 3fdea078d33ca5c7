"""Small inputs of the sensor watch for tests."""

from __future__ import annotations

from typing import Any

import numpy as np

from fleet.calc.watch.habits import no_habits
from fleet.calc.watch.inputs import WatchInputs, no_periods
from fleet.scoring.watch_climates import CLIMATES, SeasonWeather, generated_season

FIRST_DAY = np.datetime64("2026-04-01")


def plain_inputs(days: int = 40, sites: int = 3, **columns: Any) -> WatchInputs:
    """Two starts a day on a lawn over loam in dry weather, nothing logged; keyword arguments override."""
    shape = (days, sites)
    given: dict[str, Any] = {
        "days": np.arange(FIRST_DAY, FIRST_DAY + days),
        "location": np.zeros(sites, dtype=np.int64),
        "use_group": np.zeros(sites, dtype=np.int64),
        "soil_group": np.zeros(sites, dtype=np.int64),
        "landscape_coefficient": np.full(sites, 0.7),
        "threshold_depletion_mm": np.full(sites, 13.0),
        "available_water_mm": np.full(sites, 35.0),
        "excess_water_mm": np.full(sites, 25.0),
        "tension_slope_mm": np.full(sites, 6.0),
        "first_day": np.zeros(sites, dtype=np.int64),
        "reference_et_mm": np.full(shape, 6.0),
        "rain_mm": np.zeros(shape),
        "dose_mm": np.full(shape, 4.0),
        "starts": np.full(shape, 2, dtype=np.int16),
        "ran": np.full(shape, -1, dtype=np.int16),
        **no_periods(days, sites),
        "habits": no_habits(sites),
        **columns,
    }
    return WatchInputs(**given)


def season(
    climate: str = "continental", *, days: int = 120, locations: int = 4, seed: int = 3
) -> SeasonWeather:
    """A generated season."""
    return generated_season(CLIMATES[climate], days, locations, np.random.default_rng(seed))

"""Worlds for the score of issued programs: invented gardens under generated or measured weather."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.scoring.program_gardens import Gardens, invented_gardens
from fleet.scoring.watch_climates import CLIMATES, generated_season
from sites.calc.search.weather import DaySpan
from weather.calc.arrays import FloatArray

SEASON_DAYS: Final = 214
_PAST_SEASONS: Final = 10
# Errors of a garden's rain against its location's [1].
_RAIN_ERROR: Final = 0.10
_DAILY_RAIN_ERROR: Final = 0.20


@dataclass(frozen=True, slots=True)
class World:
    """One seed's gardens and weather, (days, ...) from 1 April.

    Parameters
    ----------
    gardens
        Gardens with their truth.
    past
        Past seasons, each (days, 1).
    et_mm
        Reference ET of the season [mm/d], (days,).
    rain_mm
        Rain at the location [mm/d], (days,).
    garden_rain_mm
        Rain of each garden [mm/d], (days, controllers).
    """

    gardens: Gardens
    past: tuple[DaySpan, ...]
    et_mm: FloatArray
    rain_mm: FloatArray
    garden_rain_mm: FloatArray

    @property
    def is_governed(self) -> bool:
        """Whether sensors govern the gardens."""
        return bool(self.gardens.controllers.is_governed.all())


def make_world(
    *, seed: int, climate: str, gardens: int, is_governed: bool, record: Sequence[DaySpan] = ()
) -> World:
    """Gardens, ten past seasons and a season to be scored on.

    Parameters
    ----------
    seed
        Seed of all chance.
    climate
        Name of the climate.
    gardens
        Number of gardens [1].
    is_governed
        Whether sensors govern them.
    record
        Measured seasons from 1 April, oldest first, the last one to be scored on; none: generated ones.
    """
    rng = np.random.default_rng([seed, list(CLIMATES).index(climate), int(is_governed)])
    spans = list(record)
    if not spans:
        for _ in range(_PAST_SEASONS + 1):
            season = generated_season(CLIMATES[climate], SEASON_DAYS, 1, rng)
            spans.append(DaySpan(season.reference_et_mm, season.rain_mm))
    found = invented_gardens(gardens, is_governed=is_governed, is_dry=climate != "humid", rng=rng)
    last = spans[-1]
    place = np.exp(rng.normal(0, _RAIN_ERROR, gardens))
    daily = np.exp(rng.normal(0, _DAILY_RAIN_ERROR, (SEASON_DAYS, gardens)))
    return World(
        found,
        tuple(spans[-2::-1][:_PAST_SEASONS]),
        last.reference_et_mm[:, 0],
        last.rain_mm[:, 0],
        last.rain_mm * place * daily,
    )

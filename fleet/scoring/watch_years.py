"""The season after the first: the same gardens, mended or not, with new faults."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.scoring.watch_climates import SeasonWeather
from fleet.scoring.watch_faults import NO_FAULT, Faults, draw_faults
from fleet.scoring.watch_fleets import Gardens, SimulatedFleet, season_of
from fleet.scoring.watch_gardens import Errors, a_year_later

BoolArray: TypeAlias = npt.NDArray[np.bool_]


def season_after(
    first: SimulatedFleet,
    found: BoolArray,
    weather: SeasonWeather,
    *,
    physics: str,
    seed: int,
    errors: Errors,
) -> SimulatedFleet:
    """The next season of a fleet: a fault that was found is mended, any other goes on from the first day.

    Parameters
    ----------
    first
        The season before.
    found
        Controllers that were flagged in it, (sites,).
    weather
        True weather of the season.
    physics
        Name in PHYSICS.
    seed
        Seed of everything that is drawn.
    errors
        How far book, weather and log stray from the truth, and how far gardens change.
    """
    rng = np.random.default_rng(seed)
    before = first.gardens
    days, sites = weather.rain_mm.shape[0], found.size
    goes_on = (before.faults.fault != NO_FAULT) & ~found
    fresh = draw_faults(sites, days, rng)
    faults = Faults(
        fault=np.where(goes_on, before.faults.fault, fresh.fault),
        onset=np.where(goes_on, 0, fresh.onset),
        dose=np.where(goes_on, before.faults.dose, fresh.dose),
        erratic=np.where(goes_on, before.faults.erratic, fresh.erratic),
    )
    gardens = Gardens(before.book, a_year_later(before.garden, errors, rng), faults)
    return season_of(gardens, weather, physics=physics, errors=errors, rng=rng)

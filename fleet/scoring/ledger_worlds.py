"""Invented portfolios whose savings are known: gardens, weather, people and meters from one seed.

The gardens do not follow the ledger's model. People water after their own rule and by their own mood, the
weather record is wrong by location and month, use drifts from year to year, a campaign moves everybody, and
meters are read on odd days and round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from fleet.calc.ledger.need import NeedZones, SiteNeed, site_need
from fleet.calc.ledger.periods import UsePeriods
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray
from weather.calc.units import L_PER_GALLON

FIRST_DAY = np.datetime64("2021-01-01", "D")
DAYS = 3 * 365
_LOCATIONS = 4


@dataclass(frozen=True, slots=True)
class World:
    """How a portfolio behaves.

    Parameters
    ----------
    name
        Name in the table.
    mood, mood_memory
        Relative standard deviation of a month's watering, and its correlation from month to month [1].
    drift
        Relative standard deviation of a garden's watering from year to year [1].
    lag_d
        Days by which people follow the season [d]; 0: they follow need exactly.
    idle_share
        Share of the largest daily need below which nobody waters [1].
    campaign
        Relative change of everybody's watering in the last year [1].
    weather_error
        Relative error of the recorded reference ET, by location and month [1].
    whole_house_share
        Share of gardens whose meter feeds the house too [1].
    saved, saved_spread
        Mean and standard deviation of the share that the change really saves [1].
    comparison_share
        Share of gardens without a change [1].
    """

    name: str
    mood: float
    mood_memory: float
    drift: float
    lag_d: float
    idle_share: float
    campaign: float
    weather_error: float
    whole_house_share: float
    saved: float = 0.20
    saved_spread: float = 0.12
    comparison_share: float = 0.2


STEADY = World("steady", 0.12, 0.2, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
PEOPLE = World("people", 0.18, 0.3, 0.06, 0.0, 0.05, -0.04, 0.05, 0.25)
LATE_TIMERS = World("late timers", 0.15, 0.4, 0.06, 25.0, 0.0, -0.03, 0.06, 0.15)
WORLDS = (STEADY, PEOPLE, LATE_TIMERS)


@dataclass(frozen=True, slots=True)
class Portfolio:
    """One portfolio: what the ledger sees, and the truth.

    Parameters
    ----------
    periods, need, change_on
        What the ledger is given; NaT: no change.
    without_l, actual_l
        Use without the change, and as it was [L/d], shape (days, sites).
    house_l
        Use of the house, shape (sites,) [L/d].
    hoped_l
        Mean of the use without the change for one who knows every parameter but the moods [L/d].
    mood, mood_memory
        As in the world [1].
    place
        Weather record of each garden, shape (sites,) [1].
    """

    periods: UsePeriods
    need: SiteNeed
    change_on: DayArray
    without_l: FloatArray
    actual_l: FloatArray
    house_l: FloatArray
    hoped_l: FloatArray
    mood: float
    mood_memory: float
    place: IntArray


def portfolio(world: World, *, seed: int, sites: int = 200) -> Portfolio:
    """One invented portfolio.

    Parameters
    ----------
    world
        How it behaves [1].
    seed
        Seed of all that is random [1].
    sites
        Count of gardens [1].
    """
    rng = np.random.default_rng(seed)
    location = rng.integers(0, _LOCATIONS, sites)
    true_et, rain = _sky(rng)
    month = (FIRST_DAY + np.arange(DAYS)).astype("datetime64[M]").astype(np.int64)
    month -= month[0]
    area = rng.lognormal(np.log(350.0), 0.5, sites)
    zones = NeedZones(
        site=np.arange(sites),
        et_column=location,
        rain_column=location,
        area_m2=area,
        landscape_coefficient=rng.uniform(0.55, 0.8, sites),
        store_mm=rng.uniform(8.0, 30.0, sites),
        curve_number=np.full(sites, 74.0),
        application_efficiency=rng.uniform(0.65, 0.85, sites),
    )
    error = 1.0 + world.weather_error * rng.normal(0, 1, (int(month[-1]) + 1, _LOCATIONS))
    true_need = _daily(
        site_need(first_day=FIRST_DAY, reference_et_mm=true_et, rain_mm=rain, zones=zones, site_count=sites)
    )
    need = site_need(
        first_day=FIRST_DAY,
        reference_et_mm=true_et * np.maximum(error, 0.5)[month],
        rain_mm=rain,
        zones=zones,
        site_count=sites,
    )
    change_on = _changes(rng, sites, world.comparison_share)
    hoped, without = _watering(world, rng, true_need, month)
    whole_house = rng.random(sites) < world.whole_house_share
    house = np.where(whole_house, rng.uniform(250.0, 900.0, sites), 0.0)
    share = rng.normal(world.saved, world.saved_spread, sites)
    day = (FIRST_DAY + np.arange(DAYS))[:, None]
    actual = without * np.where(day >= change_on, 1.0 - share, 1.0) + house
    periods = _metered(rng, actual, whole_house)
    return Portfolio(
        periods=periods,
        need=need,
        change_on=change_on,
        without_l=without + house,
        actual_l=actual,
        house_l=house,
        hoped_l=hoped + house,
        mood=world.mood,
        mood_memory=world.mood_memory,
        place=location,
    )


def _daily(need: SiteNeed) -> FloatArray:
    """Need of each day [L]."""
    return np.diff(need.cumulative_l, axis=0)


def _sky(rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Reference ET and rain of a semi-arid place with some storms [mm/d], (days, locations)."""
    season = np.cos((np.arange(DAYS) - 195) / 365.25 * 2 * np.pi)[:, None]
    yearly = np.repeat(rng.normal(1.0, 0.06, (3, 1)), 365, axis=0)
    et = yearly * (4.2 + 3.2 * season) * rng.lognormal(0, 0.2, (DAYS, 1))
    et = np.maximum(et * rng.normal(1.0, 0.05, (DAYS, _LOCATIONS)), 0.1)
    wet = rng.random((DAYS, 1)) < 0.14 - 0.06 * season
    rain = np.where(wet, rng.exponential(7.0, (DAYS, 1)), 0.0) * rng.lognormal(0, 0.4, (DAYS, _LOCATIONS))
    return et, rain


def _changes(rng: np.random.Generator, sites: int, comparison_share: float) -> DayArray:
    """Days of change spread over the second half of the second year; NaT: none."""
    day = FIRST_DAY + 450 + rng.integers(0, 240, sites)
    return np.where(rng.random(sites) < comparison_share, np.datetime64("NaT", "D"), day)


def _watering(
    world: World, rng: np.random.Generator, need: FloatArray, month: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Watering without any change [L/d]: its mean for one who knows all but the moods, and as it was."""
    sites = need.shape[1]
    if world.lag_d > 0:
        decay = np.exp(-1.0 / world.lag_d)
        need = lfilter([1.0 - decay], [1.0, -decay], need, axis=0)
    slope = rng.lognormal(np.log(1.2), 0.3, sites)
    rule = slope * np.maximum(need - world.idle_share * np.quantile(need, 0.95, axis=0), 0.0)
    year = np.arange(DAYS) // 365
    drift = np.maximum(1.0 + world.drift * rng.normal(0, 1, (3, sites)), 0.3)[year]
    campaign = np.where(year == 2, 1.0 + world.campaign, 1.0)[:, None]
    months = int(month[-1]) + 1
    mood = np.zeros((months, sites))
    mood[0] = rng.normal(0, 1, sites)
    fresh = np.sqrt(1.0 - world.mood_memory**2)
    for k in range(1, months):
        mood[k] = world.mood_memory * mood[k - 1] + fresh * rng.normal(0, 1, sites)
    factor = np.exp(world.mood * mood - world.mood**2 / 2.0)
    hoped = rule * drift * campaign
    return hoped, hoped * factor[month]


def _metered(rng: np.random.Generator, actual: FloatArray, whole_house: BoolArray) -> UsePeriods:
    """Bills of 28 to 33 days, rounded down to the register's unit, with some estimated reads passed over."""
    sites = actual.shape[1]
    lengths = rng.integers(28, 34, (sites, 40))
    edges = np.minimum(rng.integers(0, 20, (sites, 1)) + np.cumsum(lengths, axis=1), DAYS)
    unit = np.where(rng.random(sites) < 0.5, 100.0 * L_PER_GALLON, 100.0)
    total = np.concatenate([np.zeros((1, sites)), np.cumsum(actual, axis=0)])
    kept = rng.random(edges.shape) > 0.03  # others were estimated
    rows: list[tuple[int, int, int, float, bool]] = []
    for one in range(sites):
        at = np.unique(edges[one][kept[one] & (edges[one] < DAYS)])
        shown = np.floor(total[at, one] / unit[one]) * unit[one]
        spans = np.diff(at) > 40
        rows += zip([one] * (at.size - 1), at[:-1], at[1:], np.diff(shown), spans, strict=True)
    site_of, start, end, volume, estimated = zip(*rows, strict=True)
    site = np.array(site_of, dtype=np.int64)
    return UsePeriods(
        site=site,
        meter=np.zeros(site.size, dtype=np.int64),
        start=FIRST_DAY + np.array(start),
        end=FIRST_DAY + np.array(end),
        volume_l=np.array(volume),
        spans_estimate=np.array(estimated, dtype=np.bool_),
        is_whole_house=whole_house[site],
    )

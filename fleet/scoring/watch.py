"""Scores the sensor watch on simulated fleets: what it finds, how late, how often it cries wolf.

The fleet's numbers are learned from the whole season before the filter runs over it, where the product
learns them every week from what it has; sizes of a season are the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.filter import watch_fleet
from fleet.calc.watch.fit import fit_fleet, learned_habits
from fleet.calc.watch.habits import Habits, no_habits, widened
from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.result import WatchRun, fault_score
from fleet.calc.watch.settings import CAUSES, WatchSettings, starting_fit
from fleet.calc.watch.visibility import visibility
from fleet.scoring.watch_climates import CLIMATES, SeasonWeather, generated_season
from fleet.scoring.watch_counts import Alarms, Scores, count_alarms
from fleet.scoring.watch_fleets import SimulatedFleet, simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS, Errors
from fleet.scoring.watch_physics import PHYSICS
from fleet.scoring.watch_truth import told_alarms
from fleet.scoring.watch_years import season_after

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

DAYS: Final = 180
LOCATIONS: Final = 12
_NAIVE_DAYS: Final = 14
_NAIVE_STARTS: Final = 8
SEASONS: Final = ("first season", "season after")


def score_fleets(
    *,
    seeds: Sequence[int],
    climates: Sequence[str],
    physics: Sequence[str],
    sites: int,
    errors: Errors,
    seasons: int = 2,
) -> dict[tuple[str, str, str, str], Scores]:
    """Counts by physics, climate, season and method.

    Parameters
    ----------
    seeds
        One fleet a seed, climate and physics.
    climates, physics
        Names in CLIMATES and PHYSICS.
    sites
        Controllers of a fleet [1].
    errors
        How far book, weather and log stray.
    seasons
        1 for gardens that are new to the watch alone, 2 for the season after as well [1].
    """
    result: dict[tuple[str, str, str, str], Scores] = {}
    for world in physics:
        for climate in climates:
            for seed in seeds:
                number = 10_000 * seed + 100 * sorted(CLIMATES).index(climate) + sorted(PHYSICS).index(world)
                rng = np.random.default_rng(number)
                weather = [generated_season(CLIMATES[climate], DAYS, LOCATIONS, rng) for _ in range(seasons)]
                fleet = simulated_fleet(
                    weather=weather[0], physics=world, sites=sites, seed=number, errors=errors
                )
                years = _years(fleet, weather, world, number, errors)
                for (season, method), (alarms, year) in years.items():
                    scores = result.setdefault((world, climate, season, method), Scores())
                    count_alarms(scores, alarms, year.inputs, year.truth)
    return result


def _years(
    fleet: SimulatedFleet, weather: list[SeasonWeather], physics: str, seed: int, errors: Errors
) -> dict[tuple[str, str], tuple[Alarms, SimulatedFleet]]:
    """What each method says of a fleet in its first season, and in the one after what the watch found."""
    settings, year = WatchSettings(), fleet
    years: dict[tuple[str, str], tuple[Alarms, SimulatedFleet]] = {}
    habits = no_habits(fleet.inputs.site_count)
    for number, season in enumerate(SEASONS[: len(weather)]):
        if number:
            found = np.asarray(years[SEASONS[number - 1], "watch"][0].flagged.any(axis=0))
            year = season_after(
                year, found, weather[number], physics=physics, seed=seed + number, errors=errors
            )
        run, habits = watched(replace(year.inputs, habits=habits), settings)
        watch = alarms_of(run, year.inputs, settings, settings.flag_score_for(year.inputs.site_count))
        years[season, "naive rule"] = naive_alarms(year.inputs), year
        years[season, "watch"] = watch, year
        years[season, "told the truth"] = told_alarms(year.evidence, year.truth), year
    return years


def watched(inputs: WatchInputs, settings: WatchSettings) -> tuple[WatchRun, Habits]:
    """What the filter says day by day, and what the watch will know of the gardens in the next season.

    Parameters
    ----------
    inputs
        A season of a fleet.
    settings
        Fixed settings.
    """
    fit = fit_fleet(inputs, starting_fit(USE_GROUPS, soil_groups()), settings)
    run = watch_fleet(inputs, fit, settings)
    learned = learned_habits(inputs, fit, run, settings)
    return run, widened(learned, settings.habit_use_drift, settings.habit_threshold_drift)


def alarms_of(run: WatchRun, inputs: WatchInputs, settings: WatchSettings, flag_score: float) -> Alarms:
    """Flags, causes and what stays open, as the product would say them.

    Parameters
    ----------
    run
        The filter's result.
    inputs
        The season it ran over.
    settings
        Fixed settings.
    flag_score
        Log odds from which a controller is flagged [1].
    """
    score = fault_score(run.probability)
    nats = visibility(run.expected_rate, inputs.starts.astype(np.float64), inputs.seen, settings)
    open_at_end = score[-1] > settings.watch_score
    return Alarms(
        flagged=score > flag_score,
        cause=run.probability[..., 1:].argmax(axis=-1),
        left_open=(nats < settings.healthy_nats) | open_at_end[:, None],
    )


def naive_alarms(inputs: WatchInputs) -> Alarms:
    """A rule of thumb: a fortnight with eight starts or more, all blocked or none.

    Parameters
    ----------
    inputs
        A season of a fleet.
    """
    starts = _trailing(np.where(inputs.seen, inputs.starts, 0))
    ran = _trailing(np.where(inputs.seen, inputs.ran, 0))
    enough = starts >= _NAIVE_STARTS
    all_blocked, none_blocked = enough & (ran == 0), enough & (ran == starts)
    wet, dry = CAUSES.index("stuck_wet"), CAUSES.index("stuck_dry")
    return Alarms(
        flagged=all_blocked | none_blocked,
        cause=np.where(all_blocked, wet, dry),
        left_open=np.zeros((inputs.site_count, len(CAUSES)), dtype=np.bool_),
    )


def _trailing(values: npt.NDArray[np.integer]) -> IntArray:
    """Sum over the last fortnight, (days, sites)."""
    total = np.cumsum(values, axis=0, dtype=np.int64)
    total[_NAIVE_DAYS:] = total[_NAIVE_DAYS:] - total[:-_NAIVE_DAYS].copy()
    return total

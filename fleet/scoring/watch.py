"""Scores the sensor watch on simulated fleets: what it finds, how late, how often it cries wolf.

The fleet's numbers are learned from the whole season before the filter runs over it, where the product
learns them every week from what it has; sizes of a season are the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.proportion import Share, wilson_interval
from fleet.calc.watch_filter import watch_fleet
from fleet.calc.watch_fit import fit_fleet
from fleet.calc.watch_inputs import WatchInputs
from fleet.calc.watch_result import WatchRun, fault_score
from fleet.calc.watch_settings import CAUSES, TOO_DRY, TOO_WET, WatchSettings, starting_fit
from fleet.calc.watch_visibility import visibility
from fleet.scoring.watch_climates import CLIMATES, generated_season
from fleet.scoring.watch_fleets import NO_FAULT, FleetTruth, SimulatedFleet, simulated_fleet, soil_groups
from fleet.scoring.watch_gardens import USE_GROUPS, Errors
from fleet.scoring.watch_physics import PHYSICS

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

DAYS: Final = 180
LOCATIONS: Final = 12
_NAIVE_DAYS: Final = 14
_NAIVE_STARTS: Final = 8
_DIRECTIONS: Final = (TOO_WET, TOO_DRY, ("erratic",))


@dataclass(frozen=True, slots=True)
class Alarms:
    """What a method said of each controller.

    Parameters
    ----------
    flagged
        Whether it is flagged on the day, (days, sites).
    cause
        Most likely cause on the day as a position in CAUSES, (days, sites) [1].
    left_open
        Whether the method says at the season's end that it suspects something or could not have seen this
        fault, (sites, causes).
    """

    flagged: BoolArray
    cause: IntArray
    left_open: BoolArray


@dataclass(slots=True)
class FaultScore:
    """Counts for one fault over fleets; see `ScoreRow`."""

    faults: int = 0
    found: int = 0
    visible: int = 0
    visible_found: int = 0
    unseen_found: int = 0
    unseen_open: int = 0
    cause_at_flag: int = 0
    cause_at_end: int = 0
    direction_at_flag: int = 0
    days: list[int] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Scores:
    """Counts of one method on one kind of fleet.

    Parameters
    ----------
    by_fault
        Counts in the order of CAUSES.
    healthy, false_alarms
        Healthy controllers, and those of them ever flagged [1].
    """

    by_fault: list[FaultScore] = field(default_factory=lambda: [FaultScore() for _ in CAUSES])
    healthy: int = 0
    false_alarms: int = 0

    @property
    def false_alarm_share(self) -> Share:
        """Share of healthy controllers ever flagged in the season."""
        return wilson_interval(self.false_alarms, self.healthy)


METHODS: Final = ("naive rule", "watch", "told the truth")


def score_fleets(
    *, seeds: Sequence[int], climates: Sequence[str], physics: Sequence[str], sites: int, errors: Errors
) -> dict[tuple[str, str, str], Scores]:
    """Counts by physics, climate and method.

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
    """
    result: dict[tuple[str, str, str], Scores] = {}
    for world in physics:
        for climate in climates:
            for seed in seeds:
                number = 10_000 * seed + 100 * sorted(CLIMATES).index(climate) + sorted(PHYSICS).index(world)
                weather = generated_season(CLIMATES[climate], DAYS, LOCATIONS, np.random.default_rng(number))
                fleet = simulated_fleet(
                    weather=weather, physics=world, sites=sites, seed=number, errors=errors
                )
                for method, alarms in _alarms(fleet).items():
                    scores = result.setdefault((world, climate, method), Scores())
                    count_alarms(scores, alarms, fleet.inputs, fleet.truth)
    return result


def _alarms(fleet: SimulatedFleet) -> dict[str, Alarms]:
    """What each method says of a fleet."""
    settings = WatchSettings()
    return {
        "naive rule": naive_alarms(fleet.inputs),
        "watch": watch_alarms(fleet.inputs, settings),
        "told the truth": watch_alarms(fleet.told, settings),
    }


def watch_alarms(inputs: WatchInputs, settings: WatchSettings) -> Alarms:
    """What the watch says day by day.

    Parameters
    ----------
    inputs
        A season of a fleet.
    settings
        Fixed settings.
    """
    fit = fit_fleet(inputs, starting_fit(USE_GROUPS, soil_groups()), settings)
    run = watch_fleet(inputs, fit, settings)
    return alarms_of(run, inputs, settings)


def alarms_of(run: WatchRun, inputs: WatchInputs, settings: WatchSettings) -> Alarms:
    """Flags, causes and what stays open, as the product would say them.

    Parameters
    ----------
    run
        The filter's result.
    inputs
        The season it ran over.
    settings
        Fixed settings.
    """
    score = fault_score(run.probability)
    nats = visibility(run.expected_rate, inputs.starts.astype(np.float64), inputs.seen, settings)
    watched = score[-1] > settings.watch_score
    return Alarms(
        flagged=score > settings.flag_score_for(inputs.site_count),
        cause=run.probability[..., 1:].argmax(axis=-1),
        left_open=(nats < settings.healthy_nats) | watched[:, None],
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


def count_alarms(scores: Scores, alarms: Alarms, inputs: WatchInputs, truth: FleetTruth) -> None:
    """Add a fleet's alarms to the counts; the only place where alarms and truth meet.

    Parameters
    ----------
    scores
        Counts, changed in place.
    alarms
        What a method said.
    inputs
        The fleet's log, for the starts until the flag.
    truth
        The faults.
    """
    healthy = truth.fault == NO_FAULT
    scores.healthy += int(healthy.sum())
    scores.false_alarms += int(alarms.flagged[:, healthy].any(axis=0).sum())
    starts = np.cumsum(np.where(inputs.seen, inputs.starts, 0), axis=0)
    for site in np.flatnonzero(~healthy):
        fault, onset = int(truth.fault[site]), int(truth.onset[site])
        row = scores.by_fault[fault]
        is_visible = bool(truth.visible_nats[site] >= WatchSettings().promise_nats)
        row.faults += 1
        row.visible += is_visible
        after = np.flatnonzero(alarms.flagged[onset:, site])
        if not is_visible:
            row.unseen_found += bool(after.size)
            row.unseen_open += bool(not after.size and alarms.left_open[site, fault])
        if not after.size:
            continue
        day = onset + int(after[0])
        row.found += 1
        row.visible_found += is_visible
        row.days.append(day - onset)
        row.starts.append(int(starts[day, site] - (starts[onset - 1, site] if onset else 0)))
        row.cause_at_flag += int(alarms.cause[day, site]) == fault
        row.cause_at_end += int(alarms.cause[-1, site]) == fault
        row.direction_at_flag += _direction(int(alarms.cause[day, site])) == _direction(fault)


def _direction(cause: int) -> int:
    """Too wet, too dry or random."""
    return next(number for number, names in enumerate(_DIRECTIONS) if CAUSES[cause] in names)


def _trailing(values: npt.NDArray[np.integer]) -> IntArray:
    """Sum over the last fortnight, (days, sites)."""
    total = np.cumsum(values, axis=0, dtype=np.int64)
    total[_NAIVE_DAYS:] = total[_NAIVE_DAYS:] - total[:-_NAIVE_DAYS].copy()
    return total

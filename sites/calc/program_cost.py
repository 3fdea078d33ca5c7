"""What a candidate program costs: missing water, lost water, starts, and hours that it does not fit."""

from __future__ import annotations

import numpy as np

from sites.calc.gating import Outcome, ZoneState
from sites.calc.program_problem import Problem
from weather.calc.arrays import FloatArray, IntArray


def need_mm(state: ZoneState) -> FloatArray:
    """Water that irrigation has to bring over the horizon, mean of the seasons [mm], (zones,).

    Parameters
    ----------
    state
        Zones with demand and rain [mm/d], (days, zones, seasons).
    """
    demand, rain = state.demand_mm.sum(axis=0), state.rain_mm.sum(axis=0)
    return np.asarray(np.maximum(demand - rain, 0.1 * demand).mean(axis=1), dtype=np.float64)


def zone_cost(
    given: Problem, outcome: Outcome, *, need_mm: FloatArray, is_dry_counted: bool = True
) -> FloatArray:
    """Cost of what is missing and lost by zone, (zones, candidates) [1].

    Parameters
    ----------
    given
        The problem with its weights.
    outcome
        Outcome of the candidates, (zones, candidates).
    need_mm
        Need over the horizon [mm], (zones,).
    is_dry_counted
        Whether days beyond the allowed depletion count.
    """
    settings = given.settings
    missing = np.maximum(settings.target_adequacy - outcome.adequacy, 0.0)
    lost = outcome.percolated_mm + outcome.passes * settings.run_loss_mm
    cost = settings.shortfall_weight * missing + lost / np.maximum(need_mm, 1.0)[:, None]
    if is_dry_counted:
        cost = cost + settings.dry_weight * np.maximum(outcome.dry_share - settings.most_dry_share, 0.0)
    return np.asarray(cost, dtype=np.float64)


def overrun_min(given: Problem, pattern: IntArray, starts: IntArray, pass_min: FloatArray) -> FloatArray:
    """Minutes by which starts and passes exceed the hours of a day [min], (controllers, candidates).

    Parameters
    ----------
    given
        The problem with its hours.
    pattern, starts
        Day pattern and starts of the candidates [1], (controllers, candidates).
    pass_min
        Minutes of a whole pass [min], (controllers, candidates).
    """
    settle = np.where(given.controllers.is_governed, given.settings.sensor_settle_min, 0.0)[:, None]
    used = starts * pass_min + (starts - 1) * settle
    return np.asarray(np.maximum(used - np.take_along_axis(given.room_min, pattern, axis=1), 0.0))


def broken(given: Problem, pattern: IntArray, overrun_min: FloatArray) -> FloatArray:
    """Cost of not fitting the hours, (controllers, candidates) [1].

    Parameters
    ----------
    given
        The problem with its hours.
    pattern
        Day pattern of the candidates [1], (controllers, candidates).
    overrun_min
        Minutes by which they do not fit [min], (controllers, candidates).
    """
    settings = given.settings
    room = np.maximum(np.take_along_axis(given.room_min, pattern, axis=1), 1.0)
    share = settings.broken_hours + settings.overrun_weight * overrun_min / room
    return np.asarray(np.where(overrun_min > 0, settings.shortfall_weight * share, 0.0))

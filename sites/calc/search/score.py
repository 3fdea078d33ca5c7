"""What a program costs: missing adequacy, water lost, starts, a second letter, hours that do not suffice."""

from __future__ import annotations

import numpy as np

from sites.calc.balance.run_off import start_spacing
from sites.calc.program.lanes import FIRST, LAST, SECOND
from sites.calc.search.gating import Outcome, ZoneState
from sites.calc.search.problem import Problem
from weather.calc.arrays import BoolArray, FloatArray, IntArray


def zone_cost(
    problem: Problem, outcome: Outcome, minutes: FloatArray, zones: IntArray | None = None
) -> FloatArray:
    """Weighted cost of zones: missing adequacy, too many dry days, water lost per water needed [1].

    Parameters
    ----------
    problem
        The problem.
    outcome
        What the programs did, (n, candidates).
    minutes
        Minutes of a run [min], (n, candidates).
    zones
        Positions of the zones, (n,); None: all.
    """
    settings = problem.settings
    some = np.arange(len(problem.owner)) if zones is None else zones
    gross = problem.zones.precipitation_rate_mm_h[some][:, None] / 60.0 * minutes
    lost = outcome.percolated_mm + np.minimum(settings.run_loss_mm, gross) * outcome.passes
    missing = np.maximum(settings.target_adequacy - outcome.adequacy, 0.0)
    dry = np.maximum(outcome.dry_share - settings.most_dry_share, 0.0)
    cost = settings.shortfall_weight * missing + settings.dry_weight * dry
    cost += lost / landscape_need_mm(problem.state)[some][:, None]
    return np.asarray(problem.weight[some][:, None] * cost)


def landscape_need_mm(state: ZoneState) -> FloatArray:
    """Landscape ET of the horizon, mean of the seasons, at least 1 mm so that it can divide [mm], (zones,).

    Parameters
    ----------
    state
        Zones with demand [mm/d], (days, zones, seasons).
    """
    demand = state.demand_mm
    mean: FloatArray = demand.sum(axis=(0, 2), dtype=np.float64) / demand.shape[2]
    return np.maximum(mean, 1.0)


def irrigation_need_mm(state: ZoneState) -> FloatArray:
    """Water that irrigation has to bring over the horizon, mean of the seasons [mm], (zones,).

    Parameters
    ----------
    state
        Zones with demand and rain [mm/d], (days, zones, seasons).
    """
    demand, rain = state.demand_mm.sum(axis=0), state.rain_mm.sum(axis=0)
    return np.asarray(np.maximum(demand - rain, 0.1 * demand).mean(axis=1), dtype=np.float64)


def per_controller(problem: Problem, values: FloatArray) -> FloatArray:
    """Sums over the zones of each controller, same unit [1], (controllers, candidates).

    Parameters
    ----------
    problem
        The problem.
    values
        Values of zones [1], (zones, candidates).
    """
    return np.asarray(np.add.reduceat(values, problem.first, axis=0))


def pass_min(problem: Problem, minutes: FloatArray) -> FloatArray:
    """Time from a start to the end of its pass [min], (controllers, candidates).

    Where stations run side by side, the longer lane counts, and after it what runs alone.

    Parameters
    ----------
    problem
        The problem.
    minutes
        Minutes of each zone's run in the letter, 0 where it has none [min], (zones, candidates).
    """
    if problem.lane is None:
        return per_controller(problem, minutes)
    lane = problem.lane[:, None]
    first, second, last = (
        per_controller(problem, np.where(lane == which, minutes, 0.0)) for which in (FIRST, SECOND, LAST)
    )
    return np.asarray(np.ceil(np.maximum(first, second) - 1e-9) + last)


def spacing_min(problem: Problem, minutes: FloatArray) -> FloatArray:
    """Least time from one start to the next [min], (controllers, candidates), in whole steps.

    The pass must be over, the sensor must have felt it, and what a run left standing must have soaked in:
    minutes x PR / IR from its own start (derived from 60 ASA / (PR - IR)).

    Parameters
    ----------
    problem
        The problem.
    minutes
        Minutes of each zone's run in the letter, 0 where it has none [min], (zones, candidates).
    """
    zones = problem.zones
    ratio = start_spacing(zones.precipitation_rate_mm_h, zones.intake_rate_mm_h)
    soak = np.maximum.reduceat(minutes * ratio[:, None], problem.first, axis=0)
    settle = np.where(problem.controllers.is_governed, problem.settings.sensor_settle_min, 0.0)
    least = np.maximum(pass_min(problem, minutes) + settle[:, None], soak)
    step = problem.settings.start_step_min
    return np.asarray(np.ceil(least / step - 1e-9) * step)


def overrun_min(
    problem: Problem,
    pattern: IntArray,
    minutes: FloatArray,
    starts: FloatArray | IntArray,
    low_minutes: FloatArray | None = None,
) -> FloatArray:
    """Minutes by which programs do not fit into their hours [min], 0 where they fit.

    From the first start to the last end they must lie inside the hours, and all starts before midnight.

    Parameters
    ----------
    problem
        The problem.
    pattern
        Day pattern of the main letter, (controllers, candidates).
    minutes
        Minutes of each zone's run in the main letter [min], (zones, candidates).
    starts
        Starts of the main letter [1/d], (controllers, candidates).
    low_minutes
        Minutes of each zone's run in the letter for low demand, which runs before [min], (zones, candidates).
    """
    rows = np.arange(len(pattern))[:, None]
    step = problem.settings.start_step_min
    length = pass_min(problem, minutes)
    last_start = (starts - 1.0) * spacing_min(problem, minutes)
    if low_minutes is not None:
        last_start += np.ceil(per_controller(problem, low_minutes) / step - 1e-9) * step
    # A letter of its own for the governing station starts when the others have ended.
    own = np.where(needs_own_letter(problem)[:, None], length, 0.0)
    return np.asarray(
        np.maximum.reduce(
            [
                last_start + length - problem.room_min[rows, pattern],
                last_start + own - problem.start_room_min[rows, pattern],
                np.zeros(last_start.shape),
            ]
        )
    )


def broken_hours_cost(problem: Problem, pattern: IntArray, over_min: FloatArray) -> FloatArray:
    """Cost of not fitting into the hours [1], 0 where it fits, (controllers, candidates).

    Parameters
    ----------
    problem
        The problem.
    pattern
        Day pattern of the main letter, (controllers, candidates).
    over_min
        Minutes by which the program does not fit [min], (controllers, candidates).
    """
    settings = problem.settings
    room = np.maximum(problem.room_min[np.arange(len(pattern))[:, None], pattern], 1.0)
    cost = settings.shortfall_weight * (settings.broken_hours + settings.overrun_weight * over_min / room)
    return np.where(over_min > 0, cost, 0.0)


def needs_own_letter(problem: Problem) -> BoolArray:
    """Whether the governing station takes a letter of its own to close the pass, (controllers,).

    Parameters
    ----------
    problem
        The problem.
    """
    if problem.lane is not None:
        return np.asarray(np.logical_or.reduceat(problem.lane == LAST, problem.first))
    station = problem.zones.station
    last = np.maximum.reduceat(station, problem.first)
    own = np.where(problem.governing >= 0, station[np.maximum(problem.governing, 0)], last)
    table = problem.controllers
    return np.asarray((own < last) & table.stops_midway & ~table.has_free_order)


def letters_needed(problem: Problem, starts: IntArray) -> IntArray:
    """Program letters that the starts of a day take [1], (controllers, candidates).

    A governing station with a letter of its own takes one more for each; where it takes only one of each and
    the timer has no second, its run is cut short instead.

    Parameters
    ----------
    problem
        The problem.
    starts
        Starts a day [1], (controllers, candidates).
    """
    table = problem.controllers
    if problem.lane is not None:
        used = [np.logical_or.reduceat(problem.lane == lane, problem.first) for lane in (FIRST, SECOND, LAST)]
        return np.asarray(-(-starts // table.starts_per_program[:, None]) * np.sum(used, axis=0)[:, None])
    each = -(-starts // table.starts_per_program[:, None])
    return np.where(each > 1, each * (1 + needs_own_letter(problem).astype(np.int64)[:, None]), 1)

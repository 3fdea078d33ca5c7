"""A second program letter for zones of low demand: fewer starts, fewer losses of filling and drain-down.

It starts once, just before the main letter's first start of the day, so that the sensor has not yet seen the
main letter's water: behind it, it would be blocked whenever the main letter had run.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.search.candidates import start_cost, station_cap_min
from sites.calc.search.gating import Counts
from sites.calc.search.minutes import smallest_minutes
from sites.calc.search.outer import Outer
from sites.calc.search.problem import MOST_PATTERNS, Problem
from sites.calc.search.score import (
    broken_hours_cost,
    landscape_need_mm,
    letters_needed,
    needs_own_letter,
    overrun_min,
    per_controller,
    zone_cost,
)
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# A zone moves only where the move is worth something [1].
_LEAST_GAIN = 1e-4


@dataclass(frozen=True, slots=True)
class Low:
    """The second letter of each controller.

    Parameters
    ----------
    pattern
        Its day pattern, -1 where it does not pay, (controllers,).
    in_low
        Whether the zone moves to it, (zones,).
    minutes
        Minutes of all zones, each in its letter [min], (zones,).
    cost
        Objective with it [1], infinite where it is not possible, (controllers,).
    """

    pattern: IntArray
    in_low: BoolArray
    minutes: FloatArray
    cost: FloatArray


def low_letter(
    problem: Problem, outer: Outer, starts: Counts, minutes: FloatArray, main_cost: FloatArray
) -> Low:
    """The best second letter beside one main program of each controller.

    Parameters
    ----------
    problem
        The problem.
    outer
        The main program, (controllers, 1).
    starts
        Its starts that run [1/d], (days, controllers, 1, seasons or 1).
    minutes
        Its minutes [min], (zones,).
    main_cost
        Weighted cost of each zone in it [1], (zones,).
    """
    count = len(problem.controllers)
    pattern = np.broadcast_to(np.arange(MOST_PATTERNS), (count, MOST_PATTERNS))
    low = Outer(pattern, np.ones_like(pattern), np.zeros(pattern.shape))
    before = (starts > 0) & problem.offered[:, :, :, None]
    others = np.setdiff1d(np.arange(len(problem.owner)), problem.governing)
    cap = station_cap_min(problem, others, low.starts[problem.owner[others]])
    state = problem.with_margin().take(others)
    events = np.maximum(before.mean(axis=3).sum(axis=0), 1.0)[problem.owner[others]]
    need = (landscape_need_mm(problem.state) * problem.margin)[others][:, None]
    seed = np.zeros((len(problem.owner), MOST_PATTERNS))
    seed[others] = need / events
    found = smallest_minutes(
        problem, others, state, before.astype(np.uint8), problem.minutes_for(seed)[others], cap
    )
    low_cost = np.full((len(problem.owner), MOST_PATTERNS), np.inf)
    low_cost[others] = zone_cost(problem, found.outcome, found.minutes, others)
    low_minutes = np.zeros(low_cost.shape)
    low_minutes[others] = found.minutes
    moves = low_cost < main_cost[:, None] - _LEAST_GAIN
    total = np.where(moves, low_cost, main_cost[:, None])
    over = overrun_min(
        problem,
        np.broadcast_to(outer.pattern, pattern.shape),
        np.where(moves, 0.0, minutes[:, None]),
        np.broadcast_to(outer.starts, pattern.shape),
        np.where(moves, low_minutes, 0.0),
    )
    rows = np.arange(count)
    cost = (
        per_controller(problem, total)
        + start_cost(problem, outer)
        + start_cost(problem, low)
        + problem.settings.letter_weight
        + broken_hours_cost(problem, np.broadcast_to(outer.pattern, pattern.shape), over)
    )
    any_moves = np.logical_or.reduceat(moves, problem.first, axis=0)
    all_move = np.logical_and.reduceat(moves, problem.first, axis=0)
    cost = np.where(_is_possible(problem, outer) & any_moves & ~all_move, cost, np.inf)
    best = np.argmin(cost, axis=1)
    column = best[problem.owner]
    zone = np.arange(len(column))
    in_low = moves[zone, column]
    return Low(
        best,
        in_low,
        np.where(in_low, low_minutes[zone, column], minutes),
        cost[rows, best],
    )


def _is_possible(problem: Problem, outer: Outer) -> BoolArray:
    """Whether the controller has a letter left, and the pattern is open on days of the main one only."""
    rows = np.arange(len(outer.pattern))
    main = problem.offered[:, rows, outer.pattern[:, 0]]
    inside = ~(problem.offered & ~main[:, :, None]).any(axis=0)
    letters = problem.controllers.program_count - needs_own_letter(problem).astype(np.int64)
    has_room = (letters >= 2) & (letters_needed(problem, outer.starts)[:, 0] == 1)
    return np.asarray(problem.is_open & inside & has_room[:, None])

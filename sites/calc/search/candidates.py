"""Candidates: day patterns x starts x minutes of the governing zone, and which deserve a full run."""

from __future__ import annotations

import numpy as np

from sites.calc.search.gating import Outcome
from sites.calc.search.outer import Outer, pass_depth_mm
from sites.calc.search.problem import MOST_PATTERNS, Problem
from sites.calc.search.score import (
    broken_hours_cost,
    landscape_need_mm,
    letters_needed,
    overrun_min,
    per_controller,
    zone_cost,
)
from weather.calc.arrays import FloatArray, IntArray

# Minutes of the governing zone are tried at these factors of the analytic guess.
_FACTORS = np.array([0.4, 0.55, 0.7, 0.85, 1.0, 1.2, 1.5, 1.9, 2.5, 3.2])


def first_candidates(problem: Problem) -> Outer:
    """All patterns, one to four starts and ten lengths of the governing run around the analytic one.

    The analytic run refills the depletion at the threshold: 60 (threshold / efficiency + loss) / PR.

    Parameters
    ----------
    problem
        Governed controllers.
    """
    zone = problem.governing
    guess = problem.threshold_mm() / problem.zones.application_efficiency[zone]
    guess = 60.0 * (guess + problem.settings.run_loss_mm) / problem.zones.precipitation_rate_mm_h[zone]
    pattern, starts, factor = (
        axis.ravel()
        for axis in np.meshgrid(np.arange(MOST_PATTERNS), problem.starts_tried(), _FACTORS, indexing="ij")
    )
    shape = (len(problem.controllers), len(pattern))
    return Outer(
        np.broadcast_to(pattern, shape),
        np.broadcast_to(starts, shape),
        allowed_minutes(problem, guess[:, None] * factor[None, :], np.broadcast_to(starts, shape)),
    )


def clock_candidates(problem: Problem) -> Outer:
    """All patterns with one to four starts; no zone governs, so no minutes are given.

    Parameters
    ----------
    problem
        Clock-only controllers.
    """
    pattern, starts = (
        axis.ravel() for axis in np.meshgrid(np.arange(MOST_PATTERNS), problem.starts_tried(), indexing="ij")
    )
    shape = (len(problem.controllers), len(pattern))
    return Outer(np.broadcast_to(pattern, shape), np.broadcast_to(starts, shape), np.zeros(shape))


def near_candidates(problem: Problem, around: Outer) -> Outer:
    """The same patterns and starts with minutes a little shorter and longer than those given.

    Parameters
    ----------
    problem
        Governed controllers.
    around
        One candidate of each controller, (controllers, 1).
    """
    step = problem.controllers.minute_step[:, None]
    stride = np.maximum(step, np.round(around.minutes * 0.05 / step) * step)
    minutes = around.minutes + stride * np.array([-2.0, -1.0, 1.0, 2.0])
    starts = np.broadcast_to(around.starts, minutes.shape)
    return Outer(
        np.broadcast_to(around.pattern, minutes.shape), starts, allowed_minutes(problem, minutes, starts)
    )


def allowed_minutes(problem: Problem, minutes: FloatArray, starts: IntArray) -> FloatArray:
    """Minutes of the governing zone in whole steps, rounded down, within its bounds [min].

    Parameters
    ----------
    problem
        Governed controllers.
    minutes
        Minutes wanted [min], (controllers, candidates).
    starts
        Starts a day [1], (controllers, candidates).
    """
    step = problem.controllers.minute_step[:, None]
    zone = problem.governing
    cap = station_cap_min(problem, zone, starts)
    floored = np.floor(minutes / step + 1e-9) * step
    return np.clip(floored, np.minimum(problem.least_min[zone][:, None], cap), cap)


def station_cap_min(problem: Problem, zones: IntArray, starts: IntArray) -> FloatArray:
    """Longest run of zones [min], (n, candidates), in whole steps: run-off, controller, rule of a day.

    Parameters
    ----------
    problem
        The problem.
    zones
        Positions of the zones, (n,).
    starts
        Starts a day [1], (n, candidates).
    """
    owner = problem.owner[zones]
    step = problem.controllers.minute_step[owner][:, None]
    daily = problem.max_station_min[owner][:, None] / starts
    return np.minimum(problem.cap_min[zones][:, None], np.floor(daily / step + 1e-9) * step)


def is_possible(problem: Problem, outer: Outer) -> FloatArray:
    """0 where the controller can hold the candidate and the pattern is open, infinite elsewhere [1].

    Parameters
    ----------
    problem
        The problem.
    outer
        Candidates.
    """
    rows = np.arange(len(outer.pattern))[:, None]
    possible = problem.is_open[rows, outer.pattern]
    letters = letters_needed(problem, outer.starts)
    possible &= (letters == 1) | (letters <= problem.controllers.program_count[:, None])
    return np.where(possible, 0.0, np.inf)


def estimated_cost(problem: Problem, outer: Outer, governing: Outcome) -> FloatArray:
    """Objective of candidates with the other zones in ratio to the governing one [1].

    Zone j uses KL_j / KL_g of what the governing zone uses between passes, so its pass is that much deeper;
    what a cap cuts off is missing, what each run loses is lost.

    Parameters
    ----------
    problem
        Governed controllers.
    outer
        Candidates.
    governing
        What they do to the governing zones.
    """
    settings, owner, zone = problem.settings, problem.owner, problem.governing
    share = problem.zones.landscape_coefficient * problem.margin
    share = share / problem.zones.landscape_coefficient[zone][owner]
    wanted = pass_depth_mm(problem, outer)[owner] * share[:, None]
    cap = station_cap_min(problem, np.arange(len(owner)), outer.starts[owner])
    minutes = np.clip(problem.minutes_for(wanted), np.minimum(problem.least_min[:, None], cap), cap)
    minutes[zone] = outer.minutes
    given = problem.net_mm(minutes)
    missing = np.maximum(settings.target_adequacy - given / np.maximum(wanted, 1e-6), 0.0)
    excess = np.maximum(given - wanted, 0.0) + settings.run_loss_mm
    cost = settings.shortfall_weight * missing
    cost += excess * governing.passes[owner] / landscape_need_mm(problem.state)[:, None]
    cost *= problem.weight[:, None]
    cost[zone] = zone_cost(problem, governing, outer.minutes, zone)
    over = overrun_min(problem, outer.pattern, minutes, outer.starts)
    return np.asarray(
        per_controller(problem, cost)
        # A program that leaves the governing zone short leaves all zones short.
        + settings.shortfall_weight
        * np.maximum(settings.target_adequacy - governing.adequacy, 0.0)
        * (1.0 - problem.weight[zone][:, None])
        + broken_hours_cost(problem, outer.pattern, over)
        + start_cost(problem, outer)
        + is_possible(problem, outer)
    )


def start_cost(problem: Problem, outer: Outer) -> FloatArray:
    """Cost of the starts offered in a week [1], (controllers, candidates).

    Parameters
    ----------
    problem
        The problem.
    outer
        Candidates.
    """
    rows = np.arange(len(outer.pattern))[:, None]
    a_week = problem.offered.mean(axis=0)[rows, outer.pattern] * 7.0
    return np.asarray(problem.settings.start_weight * a_week * outer.starts)

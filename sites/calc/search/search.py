"""The search for programs: day patterns x starts x minutes, each run against several seasons.

The gate of a sensor depends on the governing zone alone. So the candidates (pattern, starts, governing
minutes) are run with the governing zones first; a shortlist of each controller is then run with all zones,
whose minutes are found one by one: the smallest whole step that meets the target. The winner's neighbours are
tried last. Clock-only is the same with the gate open.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.program.low import low_letter
from sites.calc.search.candidates import (
    clock_candidates,
    estimated_cost,
    first_candidates,
    is_possible,
    near_candidates,
    start_cost,
    station_cap_min,
)
from sites.calc.search.chosen import Chosen, squeezed
from sites.calc.search.gating import Counts, Outcome, ZoneState
from sites.calc.search.minutes import ZoneRuns, smallest_minutes
from sites.calc.search.outer import (
    Outer,
    governed_runs,
    governing_outcome,
    offered_starts,
    pass_depth_mm,
)
from sites.calc.search.problem import Problem
from sites.calc.search.score import (
    broken_hours_cost,
    landscape_need_mm,
    overrun_min,
    per_controller,
    zone_cost,
)
from weather.calc.arrays import FloatArray, IntArray


@dataclass(frozen=True, slots=True)
class Tried:
    """Candidates with all their zones.

    Parameters
    ----------
    outer
        The candidates, (controllers, candidates).
    minutes
        Minutes of each zone [min], (zones, candidates).
    zone_cost
        Weighted cost of each zone [1], (zones, candidates).
    cost
        Objective of each candidate [1], infinite where it is not possible, (controllers, candidates).
    """

    outer: Outer
    minutes: FloatArray
    zone_cost: FloatArray
    cost: FloatArray


def best_programs(given: Problem) -> Chosen:
    """The best program of each controller of one problem.

    Parameters
    ----------
    given
        Controllers of one kind with all their zones.
    """
    if np.all(given.governing >= 0):
        first = first_candidates(given)
        estimate = estimated_cost(given, first, governing_outcome(given, first))
        order = np.argsort(estimate, axis=1, kind="stable")[:, : given.settings.shortlist]
        short = tried_governed(given, first.take(order))
        near = tried_governed(given, near_candidates(given, short.outer.take(_best(short))))
        tried = np.isfinite(estimate).sum(axis=1) + near.cost.shape[1]
        found = _beside(short, near)
    else:
        found = tried_clock(given, clock_candidates(given))
        tried = np.isfinite(found.cost).sum(axis=1)
    return _chosen(given, found, tried)


def _beside(one: Tried, other: Tried) -> Tried:
    """Candidates of two lists in one."""
    outer = Outer(
        np.hstack([one.outer.pattern, other.outer.pattern]),
        np.hstack([one.outer.starts, other.outer.starts]),
        np.hstack([one.outer.minutes, other.outer.minutes]),
    )
    return Tried(
        outer,
        np.hstack([one.minutes, other.minutes]),
        np.hstack([one.zone_cost, other.zone_cost]),
        np.hstack([one.cost, other.cost]),
    )


def _running(given: Problem, outer: Outer) -> tuple[Outcome | None, Counts]:
    """What candidates do to the governing zones, if any, and the starts that run."""
    if given.governing[0] >= 0:
        return governed_runs(given, outer)
    offered = offered_starts(given, np.arange(len(given.controllers)), outer)[:, :, :, None]
    return None, offered if given.gate is None else offered * given.gate[:, :, None, :]


def tried_governed(given: Problem, outer: Outer) -> Tried:
    """Candidates of governed controllers with the smallest minutes of all zones.

    Parameters
    ----------
    given
        Governed controllers.
    outer
        Their candidates, (controllers, candidates).
    """
    zone = given.governing
    outcome, starts = _running(given, outer)
    if outcome is None:
        raise ValueError("these controllers have no governing zone")
    others = np.setdiff1d(np.arange(len(given.owner)), zone)
    share = given.margin * given.zones.landscape_coefficient
    share = share / given.zones.landscape_coefficient[zone][given.owner]
    seed = given.minutes_for(pass_depth_mm(given, outer)[given.owner] * share[:, None])
    found = _zones(given, others, outer, starts, seed)
    minutes = np.empty((len(given.owner), outer.minutes.shape[1]))
    minutes[zone], minutes[others] = outer.minutes, found.minutes
    return _tried(given, outer, minutes, _merged(outcome, zone, found.outcome, others, len(minutes)))


def tried_clock(given: Problem, outer: Outer) -> Tried:
    """Candidates of clock-only controllers with the smallest minutes of all zones.

    Parameters
    ----------
    given
        Clock-only controllers.
    outer
        Their candidates, (controllers, candidates).
    """
    _, starts = _running(given, outer)
    events = np.maximum(starts.mean(axis=3).sum(axis=0), 1)[given.owner]
    need = (landscape_need_mm(given.state) * given.margin)[:, None]
    everyone = np.arange(len(given.owner))
    found = _zones(given, everyone, outer, starts, given.minutes_for(need / events))
    return _tried(given, outer, found.minutes, found.outcome)


def _zones(given: Problem, zones: IntArray, outer: Outer, starts: Counts, seed: FloatArray) -> ZoneRuns:
    """Smallest minutes of some zones under the starts of their candidates."""
    state: ZoneState = given.with_margin().take(zones)
    cap = station_cap_min(given, zones, outer.starts[given.owner[zones]])
    return smallest_minutes(given, zones, state, starts, seed[zones], cap)


def _merged(one: Outcome, at: IntArray, other: Outcome, rest: IntArray, count: int) -> Outcome:
    """Outcome of all zones from that of two groups."""
    columns = []
    for name in ("adequacy", "percolated_mm", "dry_share", "end_depletion_mm", "passes"):
        column = np.empty((count, one.adequacy.shape[1]), dtype=np.float32)
        column[at], column[rest] = getattr(one, name), getattr(other, name)
        columns.append(column)
    return Outcome(*columns)


def _tried(given: Problem, outer: Outer, minutes: FloatArray, outcome: Outcome) -> Tried:
    """Candidates with their costs."""
    by_zone = zone_cost(given, outcome, minutes)
    over = overrun_min(given, outer.pattern, minutes, outer.starts)
    cost = per_controller(given, by_zone) + start_cost(given, outer) + is_possible(given, outer)
    return Tried(
        outer,
        minutes,
        by_zone,
        cost + broken_hours_cost(given, outer.pattern, over),
    )


def _best(found: Tried) -> IntArray:
    """Column of the cheapest candidate of each controller, (controllers, 1)."""
    return np.asarray(np.argmin(found.cost, axis=1)[:, None])


def _chosen(given: Problem, found: Tried, tried: IntArray) -> Chosen:
    """The cheapest candidate of each controller, with a second letter where that pays."""
    best = _best(found)
    outer = found.outer.take(best)
    minutes = np.take_along_axis(found.minutes, best[given.owner], axis=1)[:, 0]
    by_zone = np.take_along_axis(found.zone_cost, best[given.owner], axis=1)[:, 0]
    cost = np.take_along_axis(found.cost, best, axis=1)[:, 0]
    low = low_letter(given, outer, _running(given, outer)[1], minutes, by_zone)
    wins = low.cost < cost - 1e-9
    in_low = low.in_low & wins[given.owner]
    minutes = np.where(wins[given.owner], low.minutes, minutes)
    chosen = Chosen(
        pattern=np.where(np.isfinite(cost), outer.pattern[:, 0], -1),
        starts=outer.starts[:, 0],
        low_pattern=np.where(wins, low.pattern, -1),
        in_low=in_low,
        lane=np.zeros(len(given.owner), dtype=np.int64) if given.lane is None else given.lane,
        minutes=minutes,
        cost=np.minimum(cost, low.cost),
        overrun_min=np.zeros(len(best)),
        tried=tried + given.is_open.sum(axis=1),
    )
    return squeezed(given, chosen)

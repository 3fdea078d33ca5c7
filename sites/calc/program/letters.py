"""Programs that take more letters: more starts than one holds, and stations that run two at once.

Soil that takes little at a time asks for many short passes; hours that are too few ask for two stations at
once, where somebody told what flow the supply gives. Both are tried only where the usual program falls short,
since every start has to be keyed in and every litre has to come through one pipe.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sites.calc.program.lanes import LaneLimits, planned_flow_l_min, share_first, station_lanes
from sites.calc.program.slots import chosen_slots
from sites.calc.search.chosen import Chosen
from sites.calc.search.part import part_of
from sites.calc.search.problem import Problem
from sites.calc.search.search import best_programs
from sites.calc.search.short import is_short
from sites.calc.search.trial import Trial, trial
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Passes of a watering day that are tried beyond the usual four [1].
MANY_STARTS = (6, 8)


def best_programs_and_letters(given: Problem) -> tuple[Chosen, Trial]:
    """The best program of each controller, with further letters where it is short of them, and its trial.

    Parameters
    ----------
    given
        Controllers of one kind with all their zones.
    """
    chosen = best_programs(given)
    done = trial(given, chosen_slots(given, chosen))
    rows = _short(given, chosen, done)
    if rows.size == 0:
        return chosen, done
    more = best_programs(replace(part_of(given, rows), more_starts=MANY_STARTS))
    better = (more.cost < chosen.cost[rows] - 1e-9) & (more.starts > chosen.starts[rows])
    chosen, done = _with_better(given, chosen, done, more, rows, better)
    return _side_by_side(given, chosen, done)


def _short(given: Problem, chosen: Chosen, done: Trial) -> IntArray:
    """Positions of the controllers whose program falls short, or does not fit its hours."""
    is_bad = is_short(given, done) | (chosen.overrun_min > 0)
    return np.flatnonzero(is_bad & given.is_open.any(axis=1))


def _side_by_side(given: Problem, chosen: Chosen, done: Trial) -> tuple[Chosen, Trial]:
    """The programs, two stations at once where one at a time falls short and the flow allows it."""
    table = given.controllers
    may = (table.stations_at_once >= 2) & np.isfinite(table.flow_limit_l_min)
    if not may.any():
        return chosen, done
    lanes = {int(row): lanes_of(given, int(row)) for row in _short(given, chosen, done) if may[row]}
    rows = np.array([row for row, lane in lanes.items() if lane is not None], dtype=np.int64)
    if rows.size == 0:
        return chosen, done
    part = part_of(given, rows)
    part = replace(part, lane=np.concatenate([lane for lane in lanes.values() if lane is not None]))
    more = best_programs(part)
    better = more.cost < chosen.cost[rows] - given.settings.letter_weight
    return _with_better(given, chosen, done, more, rows, better)


def lanes_of(given: Problem, at: int) -> IntArray | None:
    """Lanes of one controller's stations, in the order of its zones; None where one at a time is all.

    Parameters
    ----------
    given
        The problem.
    at
        Position of the controller.
    """
    zones, table = np.flatnonzero(given.owner == at), given.controllers
    governing = int(given.governing[at])
    lane = station_lanes(
        given.zones.station[zones],
        planned_flow_l_min(given.zones)[zones],
        run_loads(given)[zones],
        LaneLimits(
            flow_limit_l_min=float(table.flow_limit_l_min[at]),
            program_count=int(table.program_count[at]),
            has_free_order=bool(table.has_free_order[at]),
            governing=governing - int(zones[0]) if governing >= 0 else -1,
            stops_midway=bool(table.stops_midway[at]),
        ),
    )
    return None if lane is None else share_first(lane, given.zones.station[zones])


def run_loads(given: Problem) -> FloatArray:
    """Length of each zone's run against the others [1], (zones,): demand over net rate.

    Parameters
    ----------
    given
        The problem.
    """
    wanted = given.margin * given.zones.landscape_coefficient
    return np.asarray(
        wanted / (given.zones.precipitation_rate_mm_h * given.zones.application_efficiency), dtype=np.float64
    )


def _with_better(
    given: Problem, chosen: Chosen, done: Trial, more: Chosen, rows: IntArray, better: BoolArray
) -> tuple[Chosen, Trial]:
    """The programs and their trial, with the better ones of some controllers in their place."""
    if not better.any():
        return chosen, done
    chosen = _replaced(given, chosen, more, rows, better)
    return chosen, trial(given, chosen_slots(given, chosen))


def _replaced(given: Problem, chosen: Chosen, more: Chosen, rows: IntArray, better: BoolArray) -> Chosen:
    """The chosen programs with the better ones of some controllers in their place."""
    mine = np.flatnonzero(np.isin(given.owner, rows))
    wins = better[np.searchsorted(rows, given.owner[mine])]
    by_controller = {}
    for name in ("pattern", "starts", "low_pattern", "cost", "overrun_min", "tried"):
        column = getattr(chosen, name).copy()
        column[rows[better]] = getattr(more, name)[better]
        by_controller[name] = column
    by_zone = {}
    for name in ("in_low", "minutes", "lane"):
        column = getattr(chosen, name).copy()
        column[mine[wins]] = getattr(more, name)[wins]
        by_zone[name] = column
    return Chosen(**by_controller, **by_zone)

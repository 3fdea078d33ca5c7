"""More starts a day than one program letter holds: the same stations keyed into a second or third letter.

Soil that takes little at a time asks for many short passes. Only where the usual number leaves a zone short
are more tried, since every start has to be keyed in.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sites.calc.program_chosen import Chosen
from sites.calc.program_part import part_of
from sites.calc.program_problem import Problem
from sites.calc.program_search import best_programs
from sites.calc.program_short import is_short
from sites.calc.program_slots import chosen_slots
from sites.calc.program_trial import Trial, trial
from weather.calc.arrays import IntArray

# Passes of a watering day that are tried beyond the usual four [1].
MANY_STARTS = (6, 8)


def best_programs_and_letters(given: Problem) -> tuple[Chosen, Trial]:
    """The best program of each controller, with further letters where it is short of starts, and its trial.

    Parameters
    ----------
    given
        Controllers of one kind with all their zones.
    """
    chosen = best_programs(given)
    done = trial(given, chosen_slots(given, chosen))
    rows = np.flatnonzero((is_short(given, done) | (chosen.overrun_min > 0)) & given.is_open.any(axis=1))
    if rows.size == 0:
        return chosen, done
    part = replace(part_of(given, rows), more_starts=MANY_STARTS)
    more = best_programs(part)
    better = (more.cost < chosen.cost[rows] - 1e-9) & (more.starts > chosen.starts[rows])
    if not better.any():
        return chosen, done
    chosen = _replaced(given, chosen, more, rows, better)
    return chosen, trial(given, chosen_slots(given, chosen))


def _replaced(given: Problem, chosen: Chosen, more: Chosen, rows: IntArray, better: np.ndarray) -> Chosen:
    """The chosen programs with the better ones of some controllers in their place."""
    mine = np.flatnonzero(np.isin(given.owner, rows))
    wins = better[np.searchsorted(rows, given.owner[mine])]
    by_controller = {}
    for name in ("pattern", "starts", "low_pattern", "cost", "overrun_min", "tried"):
        column = getattr(chosen, name).copy()
        column[rows[better]] = getattr(more, name)[better]
        by_controller[name] = column
    by_zone = {}
    for name in ("in_low", "minutes"):
        column = getattr(chosen, name).copy()
        column[mine[wins]] = getattr(more, name)[wins]
        by_zone[name] = column
    return Chosen(**by_controller, **by_zone)

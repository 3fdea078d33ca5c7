"""The chosen program of each controller, shortened where its hours are too few."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sites.calc.search.problem import Problem
from sites.calc.search.score import overrun_min
from weather.calc.arrays import BoolArray, FloatArray, IntArray

_ROUNDS = 40
_SHRINK = 0.9


@dataclass(frozen=True, slots=True)
class Chosen:
    """The best program of each controller.

    Parameters
    ----------
    pattern
        Position of the day pattern, -1 where nothing may run, (controllers,).
    starts
        Starts of a watering day [1], (controllers,).
    low_pattern
        Day pattern of the letter for zones of low demand, which starts once, before the main letter; -1 where
        there is none, (controllers,).
    in_low
        Whether the zone runs in that letter, (zones,).
    lane
        Lane of each zone where two stations run at once, as `lanes` names them; 0: one after the
        other, (zones,).
    minutes
        Minutes of one start [min], (zones,).
    cost
        Value of the objective [1], (controllers,).
    overrun_min
        Minutes by which the program that was wanted does not fit its hours [min], (controllers,). The one
        here was shortened until it fits, or has no pattern where even the shortest does not.
    tried
        Candidates tried [1], (controllers,).
    """

    pattern: IntArray
    starts: IntArray
    low_pattern: IntArray
    in_low: BoolArray
    lane: IntArray
    minutes: FloatArray
    cost: FloatArray
    overrun_min: FloatArray
    tried: IntArray

    def __post_init__(self) -> None:
        """Refuse programs that no controller could hold."""
        if np.any(self.starts < 1) or np.any(self.minutes < 0):
            raise ValueError("a program has at least one start and no negative minutes")


def squeezed(problem: Problem, chosen: Chosen) -> Chosen:
    """The chosen programs, those that overrun their hours with shorter runs, then with fewer starts.

    Parameters
    ----------
    problem
        The problem.
    chosen
        Its best programs.
    """
    first = over = _over(problem, chosen)
    step = problem.controllers.minute_step[problem.owner]
    least = np.minimum(step, problem.cap_min)
    for _ in range(_ROUNDS):
        if not (over > 0).any():
            break
        shorter = np.maximum(np.floor(chosen.minutes * _SHRINK / step) * step, least)
        minutes = np.where((over > 0)[problem.owner], shorter, chosen.minutes)
        stuck = (over > 0) & (np.add.reduceat(chosen.minutes - minutes, problem.first) <= 0)
        starts = np.where(stuck, np.maximum(chosen.starts - 1, 1), chosen.starts)
        chosen = replace(chosen, minutes=minutes, starts=starts)
        over = _over(problem, chosen)
    return replace(
        chosen,
        pattern=np.where(over > 0, -1, chosen.pattern),
        overrun_min=np.where(chosen.pattern < 0, 0.0, first),
    )


def _over(problem: Problem, chosen: Chosen) -> FloatArray:
    """Minutes by which programs overrun their hours."""
    main, low = np.where(chosen.in_low, 0.0, chosen.minutes), np.where(chosen.in_low, chosen.minutes, 0.0)
    pattern = np.maximum(chosen.pattern, 0)[:, None]
    return overrun_min(problem, pattern, main[:, None], chosen.starts[:, None], low[:, None])[:, 0]

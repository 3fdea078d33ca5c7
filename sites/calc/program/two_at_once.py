"""A garden whose timer and supply let two stations run at once, with the least flow that this takes."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

import numpy as np

from sites.calc.program.lanes import FIRST, LAST, SECOND, planned_flow_l_min
from sites.calc.program.letters import lanes_of, run_loads
from sites.calc.search.garden import Garden
from sites.calc.search.problem import Problem
from weather.calc.arrays import IntArray

# More flow is not worth asking for where it shortens a pass by no more than this share [1].
_LEAST_SHORTER: Final = 0.1


def two_at_once(garden: Garden) -> Garden | None:
    """The garden with two stations at once; its flow limit is what that needs, in whole L/min.

    A limit that somebody told holds on; without one it is the least with which a pass is nearly as short as
    with any. None where no two stations may share, or it would not shorten a pass.

    Parameters
    ----------
    garden
        The garden.
    """
    told = float(garden.controller.flow_limit_l_min[0])
    given = garden.with_timer(stations_at_once=2).problem()
    if np.isfinite(told):
        needed = told if lanes_of(given, 0) is not None else None
    else:
        needed = _least_flow_l_min(given)
    return None if needed is None else garden.with_timer(stations_at_once=2, flow_limit_l_min=needed)


def _least_flow_l_min(given: Problem) -> float | None:
    """Least flow with which two at once are nearly as short as with any [L/min]; None: with none."""
    flow = planned_flow_l_min(given.zones)
    sums = np.unique(np.ceil(np.add.outer(flow, flow)[np.triu_indices(len(flow), 1)]))
    tried = [(float(limit), lanes_of(_with_limit(given, float(limit)), 0)) for limit in sums]
    passes = [(limit, _length(given, lane)) for limit, lane in tried if lane is not None]
    if not passes:
        return None
    shortest = min(length for _, length in passes)
    return next(limit for limit, length in passes if length <= (1.0 + _LEAST_SHORTER) * shortest)


def _with_limit(given: Problem, limit_l_min: float) -> Problem:
    """The problem of one garden with another flow limit."""
    return replace(given, controllers=replace(given.controllers, flow_limit_l_min=np.array([limit_l_min])))


def _length(given: Problem, lane: IntArray) -> float:
    """Length of a pass against that of others [1]."""
    load = run_loads(given)
    side = max(float(load[lane == which].sum()) for which in (FIRST, SECOND))
    return side + float(load[lane == LAST].sum())

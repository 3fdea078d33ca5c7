"""A problem of some of the controllers of another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sites.calc.search.problem import Problem
from weather.calc.arrays import IntArray


def part_of(given: Problem, rows: IntArray) -> Problem:
    """The problem of some of its controllers, in rising order.

    Parameters
    ----------
    given
        The problem.
    rows
        Positions of the controllers, (n,).
    """
    mine = np.isin(given.owner, rows)
    zones = np.flatnonzero(mine)
    owner = np.searchsorted(rows, given.owner[zones])
    governing = np.where(given.governing[rows] >= 0, np.searchsorted(zones, given.governing[rows]), -1)
    return replace(
        given,
        zones=given.zones.take(zones),
        controllers=given.controllers.take(rows),
        owner=owner,
        first=np.searchsorted(owner, np.arange(len(rows))),
        governing=governing,
        weight=given.weight[zones],
        margin=given.margin[zones],
        cap_min=given.cap_min[zones],
        least_min=given.least_min[zones],
        state=given.state.take(zones),
        truth=given.truth.take(zones),
        offered=np.ascontiguousarray(given.offered[:, rows]),
        is_open=given.is_open[rows],
        room_min=given.room_min[rows],
        start_room_min=given.start_room_min[rows],
        max_station_min=given.max_station_min[rows],
        lane=None if given.lane is None else given.lane[zones],
    )

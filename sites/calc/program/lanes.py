"""Stations that may run two at once: lanes that stay within the flow of the supply whatever their minutes.

A timer that runs two programs at the same time takes the stations of each lane into a letter of its own;
both letters start together. The thirstiest station of one lane and that of the other stay within the limit,
so no two stations can exceed it, however long each runs. What is too thirsty to share runs alone behind both,
and the station of a sensor that can stop a run midway runs last of all, with nothing beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sites.calc.zone_table import ZoneTable
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Two lanes side by side, and what runs alone behind both.
FIRST, SECOND, LAST = 0, 1, 2
# A flow that nobody measured counts a quarter higher (own choice: rates of one kind of head scatter so).
UNMEASURED_FACTOR: Final = 1.25
# Lanes are worth their letters only where they shorten a pass by this share [1].
_LEAST_SHORTER: Final = 0.1
_TINY: Final = 1e-9


def planned_flow_l_min(zones: ZoneTable) -> FloatArray:
    """Flow that a station is planned with [L/min], (zones,): measured, else a quarter above PR x area.

    Parameters
    ----------
    zones
        The zones.
    """
    return np.where(zones.flow_assumed, UNMEASURED_FACTOR, 1.0) * zones.flow_l_min


@dataclass(frozen=True, slots=True)
class LaneLimits:
    """What bounds the lanes of one timer.

    Parameters
    ----------
    flow_limit_l_min
        Flow that its supply gives [L/min].
    program_count
        Program letters [1].
    has_free_order
        Whether stations may run in any order.
    governing
        Position of the sensor's zone among its zones; -1: none.
    stops_midway
        Whether the sensor can stop a run midway.
    """

    flow_limit_l_min: float
    program_count: int
    has_free_order: bool
    governing: int
    stops_midway: bool


def station_lanes(
    station: IntArray, flow_l_min: FloatArray, load: FloatArray, limits: LaneLimits
) -> IntArray | None:
    """Lane of each station of one timer, (n,); None where no two may run at once, or it would not help.

    Tried with none, one, two ... of the thirstiest stations behind the lanes. The thirstiest of the rest
    settles who may share with it; those are dealt out by load, the longest first, to the shorter lane.

    Parameters
    ----------
    station
        Station numbers, (n,).
    flow_l_min
        Flow of each station, as planned [L/min], (n,).
    load
        Length of each run against the others [1], (n,).
    limits
        What bounds them.
    """
    speaks_last = limits.governing >= 0 and limits.stops_midway
    others = np.array([at for at in range(len(station)) if not (speaks_last and at == limits.governing)])
    best: IntArray | None = None
    shortest = (1.0 - _LEAST_SHORTER) * float(load.sum())
    order = others[np.argsort(-flow_l_min[others], kind="stable")] if others.size else others
    for alone in range(len(order) - 1):
        lane = _dealt(order[alone:], flow_l_min, load, limits.flow_limit_l_min, len(station))
        if lane is None or not _may_follow(lane, station, limits):
            continue
        length = max(float(load[lane == FIRST].sum()), float(load[lane == SECOND].sum()))
        length += float(load[lane == LAST].sum())
        if length < shortest - _TINY:
            best, shortest = lane, length
    return best


def _dealt(shared: IntArray, flow: FloatArray, load: FloatArray, limit: float, count: int) -> IntArray | None:
    """Some stations, thirstiest first, dealt out to two lanes, the rest behind. None: none may share."""
    lane = np.full(count, LAST)
    may_share = flow[shared] <= limit - flow[shared[0]] + _TINY
    lane[shared[~may_share]] = FIRST
    total = [float(load[shared[~may_share]].sum()), 0.0]
    for at in sorted(shared[may_share].tolist(), key=lambda one: -load[one]):
        shorter = FIRST if total[FIRST] < total[SECOND] else SECOND
        lane[at] = shorter
        total[shorter] += float(load[at])
    return lane if (lane == FIRST).any() and (lane == SECOND).any() else None


def _may_follow(lane: IntArray, station: IntArray, limits: LaneLimits) -> bool:
    """Whether the timer has the letters, and the sensor's station can close the pass."""
    last = lane == LAST
    if limits.program_count < 2 + int(last.any()):
        return False
    if limits.governing < 0:
        return True
    if not limits.stops_midway:
        # Asked only at a start, it may not have seen water when the last letter's comes.
        return not last.any() or bool(last[limits.governing])
    return limits.has_free_order or bool(station[limits.governing] == station[last].max())


def share_first(lane: IntArray, station: IntArray) -> IntArray:
    """The lanes named so that the lowest station of both stands in the first one.

    Parameters
    ----------
    lane
        Lane of each station, (n,).
    station
        Station numbers, (n,).
    """
    side: BoolArray = lane != LAST
    if lane[side][np.argmin(station[side])] == FIRST:
        return lane
    return np.where(side, SECOND - lane, lane)

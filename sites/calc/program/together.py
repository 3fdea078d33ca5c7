"""What runs together: held against the flow of the supply, and told in words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

import numpy as np

from sites.calc.program.lanes import planned_flow_l_min
from sites.calc.program.times import Letter
from sites.calc.search.problem import Problem
from sites.calc.search.trial import Slots
from weather.calc.arrays import BoolArray

Run = tuple[float, float, int]  # begin [min], length [min], station
Pass = tuple[float, float, str]  # begin, end [min], letter
CAUTION: Final = "Pipes and pressure: local codes and licensed practice come first."
_TINY: Final = 1e-6


def beyond_supply(
    runs: Sequence[Run], flow_l_min: Mapping[int, float], limit_l_min: float, at_once: int
) -> str:
    """What runs together beyond the timer or the supply, in a sentence; empty: nothing does.

    Parameters
    ----------
    runs
        Runs of all letters.
    flow_l_min
        Flow of each station, as planned [L/min].
    limit_l_min
        Flow that the supply gives [L/min].
    at_once
        Stations that the timer can run at the same time [1].
    """
    active: list[Run] = []
    for run in sorted(runs):
        active = [one for one in active if one[0] + one[1] > run[0] + _TINY] + [run]
        if len(active) < 2:
            continue
        named = " and ".join(str(station) for station in sorted({one[2] for one in active}))
        if len(active) > at_once:
            return f"Stations {named} run together at {_clock(run[0])}: the timer runs {at_once} at once."
        total = sum(flow_l_min.get(one[2], 0.0) for one in active)
        if total > limit_l_min + _TINY:
            return (
                f"Stations {named} run together at {_clock(run[0])} and take {total:.1f} L/min; the supply is"
                f" said to give {limit_l_min:.1f} L/min."
            )
    return ""


def overlap(passes: Sequence[Pass], *, may_share: bool) -> str:
    """The first pass that begins while another still runs, in a sentence; empty: there is none.

    Parameters
    ----------
    passes
        Passes by begin.
    may_share
        Whether passes of different letters may run side by side.
    """
    letters = sorted({one[2] for one in passes})
    together = [[letter] for letter in letters] if may_share else [letters]
    for some in together:
        for one, other in pairwise([one for one in passes if one[2] in some]):
            if other[0] < one[1] - _TINY:
                return (
                    f"Program {other[2]} starts at {_clock(other[0])} while program {one[2]} still runs,"
                    f" to {_clock(one[1])}."
                )
    return ""


def keeps_apart(given: Problem, slots: Slots) -> BoolArray:
    """Whether each pass ends before the next begins, or the two may run side by side, (controllers,).

    The thirstiest station of each letter counts, so that minutes and order do not matter.

    Parameters
    ----------
    given
        The controllers with their zones.
    slots
        What is set.
    """
    table = given.controllers
    length = np.add.reduceat(slots.minutes, given.first, axis=0)
    flow = np.where(slots.minutes > 0, planned_flow_l_min(given.zones)[:, None], 0.0)
    flow = np.take_along_axis(np.maximum.reduceat(flow, given.first, axis=0), slots.letter, axis=1)
    ends = slots.start_min + np.take_along_axis(length, slots.letter, axis=1)
    runs: BoolArray = np.asarray(slots.runs.any(axis=0))
    fits = np.ones(len(table), dtype=np.bool_)
    for later in range(1, slots.letter.shape[1]):
        side = np.zeros(len(table), dtype=np.int64)
        for one in range(later):
            meets = runs[:, one] & runs[:, later] & (ends[:, one] > slots.start_min[:, later] + _TINY)
            # An unknown limit is no number: nothing is within it.
            within = flow[:, one] + flow[:, later] <= table.flow_limit_l_min + _TINY
            fits &= ~meets | ((slots.letter[:, one] != slots.letter[:, later]) & within)
            side += meets
        fits &= side < table.stations_at_once
    return np.asarray(fits)


def flows_of(given: Problem, at: int = 0) -> dict[int, float]:
    """Flow of each station of a controller, as planned [L/min].

    Parameters
    ----------
    given
        The problem.
    at
        Position of the controller.
    """
    mine = given.owner == at
    planned = planned_flow_l_min(given.zones)[mine]
    return {
        int(station): float(flow) for station, flow in zip(given.zones.station[mine], planned, strict=True)
    }


def side_words(given: Problem, at: int, letters: Sequence[Letter]) -> tuple[str, ...]:
    """Sentences on letters that start together: which stations, how much flows, what is not measured.

    Parameters
    ----------
    given
        The problem.
    at
        Position of the controller.
    letters
        Letters of its program.
    """
    by_starts: dict[tuple[int, ...], list[Letter]] = {}
    for letter in letters:
        by_starts.setdefault(letter.starts_min, []).append(letter)
    pairs = [own for own in by_starts.values() if len(own) > 1]
    if not pairs:
        return ()
    flow = flows_of(given, at)
    side = [[run.station for run in letter.runs] for letter in pairs[0]]
    most = sum(max(flow[station] for station in lane) for lane in side)
    named = " and ".join(
        f"{letter.letter} ({_stations(lane)})" for letter, lane in zip(pairs[0], side, strict=True)
    )
    limit = float(given.controllers.flow_limit_l_min[at])
    words = (
        f"Two stations run at once, one at a time does not fit: programs {named} start together."
        f" At most {_up(most)} L/min flow then, of {limit:.0f} L/min that the"
        " supply is said to give."
    )
    guessed = _unmeasured(given, at, {station for lane in side for station in lane})
    if guessed:
        words += f" Nobody measured the flow of {_stations(guessed)}; measure it before this is keyed in."
    return (f"{words} {CAUTION}",)


def too_thirsty(given: Problem, at: int) -> str:
    """Stations that alone take more than the supply is said to give, in a sentence; empty: none.

    Parameters
    ----------
    given
        The problem.
    at
        Position of the controller.
    """
    limit = float(given.controllers.flow_limit_l_min[at])
    mine = given.owner == at
    over = mine & (given.zones.flow_l_min > limit + _TINY) if np.isfinite(limit) else np.zeros_like(mine)
    if not over.any():
        return ""
    listed = [int(station) for station in given.zones.station[over]]
    most = float(given.zones.flow_l_min[over].max())
    return (
        f"By rate and area {_stations(listed)} alone would take up to {_up(most)} L/min, more than the"
        f" {limit:.0f} L/min that the supply is said to give: measure both, or part the zone."
        if given.zones.flow_assumed[over].any()
        else f"As measured, {_stations(listed)} alone takes up to {_up(most)} L/min, more than the"
        f" {limit:.0f} L/min that the supply is said to give: one of the two is wrong."
    )


def _unmeasured(given: Problem, at: int, stations: set[int]) -> list[int]:
    """Stations of those given whose flow nobody measured."""
    mine = (given.owner == at) & given.zones.flow_assumed
    return [int(station) for station in given.zones.station[mine] if int(station) in stations]


def _stations(numbers: Sequence[int]) -> str:
    """Stations in words."""
    listed = ", ".join(str(number) for number in sorted(numbers))
    return f"stations {listed}" if len(numbers) > 1 else f"station {listed}"


def _up(flow_l_min: float) -> int:
    """A flow in whole L/min, never told too small."""
    return math.ceil(flow_l_min - _TINY)


def _clock(minute: float) -> str:
    """A time of day."""
    return f"{int(minute) // 60 % 24:02d}:{int(minute) % 60:02d}"

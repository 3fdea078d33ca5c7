"""Which limit keeps the best program from being good enough: the one without which there is a good one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Final

import numpy as np

from sites.calc.program.letters import best_programs_and_letters
from sites.calc.search.chosen import Chosen
from sites.calc.search.part import part_of
from sites.calc.search.problem import MOST_PATTERNS, MOST_STARTS, Problem
from sites.calc.search.reach import refill_reach
from sites.calc.search.round_words import WATERING_DAYS
from sites.calc.search.short import is_short
from sites.calc.search.trial import Trial
from weather.calc.arrays import BoolArray

SOIL: Final = "the root zone holds too little between waterings"
_FREE_INTERVALS: Final = (1, 2, 3, 4, 7, 14)


def binding_limits(given: Problem, chosen: Chosen, done: Trial) -> list[str]:
    """The limit that binds each controller, empty where its program is good, (controllers,).

    Each limit is lifted alone, and the search run again: the first without which every zone gets what is
    promised is the one that binds. Where none does alone, all are lifted: then it is named as several limits,
    or as the soil's, if even that does not help.

    Parameters
    ----------
    given
        Controllers of one kind.
    chosen
        Their best programs.
    done
        What these do.
    """
    words = [""] * len(given.controllers)
    bad = is_short(given, done) | (chosen.overrun_min > 0)
    closed = ~given.is_open.any(axis=1)
    for at in np.flatnonzero(closed):
        words[at] = "no watering is allowed"
    left = np.flatnonzero(bad & ~closed)
    # Where even a full refill on every open day is too little, only more days can help.
    too_few = np.minimum.reduceat(refill_reach(given), given.first) < given.settings.promised_adequacy
    for name, lift in _LIFTS.items():
        tried = left if name == WATERING_DAYS else left[~too_few[left]]
        if tried.size == 0:
            continue
        fits = tried[_fits(lift(part_of(given, tried)))]
        for at in fits:
            words[at] = name
        left = np.setdiff1d(left, fits)
    if left.size:
        part = part_of(given, left)
        for lift in _LIFTS.values():
            part = lift(part)
        for at, fits in zip(left, _fits(part), strict=True):
            words[at] = "several limits together" if fits else SOIL
    return words


def _fits(part: Problem) -> BoolArray:
    """Whether the best programs of a problem are good."""
    chosen, done = best_programs_and_letters(part)
    return np.asarray(~is_short(part, done) & (chosen.overrun_min <= 0) & (chosen.pattern >= 0))


def _more_hours(part: Problem) -> Problem:
    """All hours of the day open."""
    free = np.full(part.room_min.shape, 1440.0)
    return replace(part, room_min=free, start_room_min=free)


def _more_days(part: Problem) -> Problem:
    """All days open."""
    days = np.arange(part.offered.shape[0])
    runs = np.stack([days % every == 0 for every in _FREE_INTERVALS[:MOST_PATTERNS]], axis=1)
    room = np.repeat(part.room_min.max(axis=1)[:, None], MOST_PATTERNS, axis=1)
    start = np.repeat(part.start_room_min.max(axis=1)[:, None], MOST_PATTERNS, axis=1)
    return replace(
        part,
        offered=np.broadcast_to(runs[:, None], part.offered.shape).copy(),
        is_open=np.ones(part.is_open.shape, dtype=np.bool_),
        room_min=room,
        start_room_min=start,
    )


def _more_starts(part: Problem) -> Problem:
    """As many starts as the search knows."""
    table = part.controllers
    return replace(
        part,
        controllers=replace(
            table, starts_per_program=np.full(len(table), MOST_STARTS), program_count=np.full(len(table), 3)
        ),
    )


def _longer_runs(part: Problem) -> Problem:
    """Runs as long as the soil takes them."""
    step = part.controllers.minute_step[part.owner]
    cap = np.floor(np.minimum(part.zones.runoff_limit_min, 480.0) / step + 1e-9) * step
    return replace(part, cap_min=cap, max_station_min=np.full(len(part.controllers), np.inf))


def _no_run_off(part: Problem) -> Problem:
    """Runs as long as the controller can, whatever the soil takes."""
    step = part.controllers.minute_step[part.owner]
    cap = np.floor(part.controllers.max_run_min[part.owner] / step + 1e-9) * step
    zones = replace(part.zones, runoff_limit_min=np.full(len(part.zones), np.inf))
    return replace(part, cap_min=cap, zones=zones)


_LIFTS: Final[dict[str, Callable[[Problem], Problem]]] = {
    "hours of the watering rule": _more_hours,
    "starts and letters of the timer": _more_starts,
    "longest run that timer or rule allow": _longer_runs,
    WATERING_DAYS: _more_days,
    "run-off limit": _no_run_off,
}

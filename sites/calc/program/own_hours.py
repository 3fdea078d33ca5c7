"""Stations that the rules hold to other hours than the rest: a program letter of their own, in those hours.

A ban on sprays does not bar the drip beside them. One start speaks for all stations of its letter, so in one
letter the strictest hours count. Here the stations with the governing zone (by the clock alone, those of most
weight) keep the first letters in their own hours, and the others take a further letter in theirs, at another
time of day. The sensor is asked at every start, whoever's it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from sites.calc.program.apart import Split, beside_letters, joined
from sites.calc.program.keyed import chosen_timetable
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.slots import timetable_slots
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import RuleCase
from sites.calc.search.gating import allowed_starts
from sites.calc.search.part import part_of
from sites.calc.search.problem import Problem, pattern_arrays
from sites.calc.search.score import landscape_need_mm
from sites.calc.search.search import best_programs
from sites.calc.search.trial import Trial, trial
from sites.calc.search.trial_parts import merged_trial, trial_of
from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray

_LEAST_GAIN = 1e-6


@dataclass(frozen=True, slots=True)
class OwnHours:
    """Hours by station.

    Parameters
    ----------
    cases
        Rule cases.
    zone_case
        Case of each zone by itself, (zones,).
    main_case, apart_case
        Case of the zones that keep the first letters, and of those apart; -1 where all have the same,
        (controllers,).
    is_apart
        Whether the zone is one of those apart, (zones,).
    """

    cases: tuple[RuleCase, ...]
    zone_case: IntArray
    main_case: IntArray
    apart_case: IntArray
    is_apart: BoolArray

    def take(self, controllers: IntArray, zones: IntArray | BoolArray) -> OwnHours:
        """Those of some controllers and their zones.

        Parameters
        ----------
        controllers
            Positions of controllers, (n,).
        zones
            Positions of zones, or whether each is taken.
        """
        return OwnHours(
            self.cases,
            self.zone_case[zones],
            self.main_case[controllers],
            self.apart_case[controllers],
            self.is_apart[zones],
        )


def in_own_hours(
    given: Problem, chosen: Chosen, done: Trial, own: OwnHours, days: DayArray
) -> tuple[Chosen, Trial, dict[int, Split]]:
    """The best programs, those of mixed hours with letters of their own where that is better.

    Parameters
    ----------
    given
        The problem, under the strictest hours.
    chosen, done
        Its best programs and their trial.
    own
        Hours by station.
    days
        The horizon [datetime64 days], (days,).
    """
    rows = np.flatnonzero((own.apart_case >= 0) & (given.controllers.program_count >= 2))
    if rows.size == 0:
        return chosen, done, {}
    part = part_of(given, rows)
    mine = own.take(rows, np.isin(given.owner, rows))
    splits, main = _split(part, mine)
    tables = [split.table if split else None for split in splits]
    slots = timetable_slots(part, tables, days)
    tried = trial(part, slots)
    strict = _costs(part, trial_of(given, done, rows))
    wins = np.array([split is not None for split in splits]) & (_costs(part, tried) < strict - _LEAST_GAIN)
    found = {int(rows[at]): split for at, split in enumerate(splits) if split is not None and wins[at]}
    return (
        _chosen(given, chosen, part, rows, wins, main, slots.minutes),
        merged_trial(given, done, rows, wins, tried),
        found,
    )


def _split(part: Problem, own: OwnHours) -> tuple[list[Split | None], Chosen]:
    """A program for the stations of the first letters, and a further letter for those apart."""
    main = _some(
        part, ~own.is_apart, [own.cases[at] for at in own.main_case], part.controllers.program_count - 1
    )
    chosen, _ = best_programs_and_letters(main)
    choices = [own.cases[at].choices for at in own.main_case]
    tables = [chosen_timetable(main, chosen, at, choices[at]) for at in range(len(choices))]
    free = [
        replace(case, choices=beside_letters(case.choices, table))
        for case, table in zip((own.cases[at] for at in own.apart_case), tables, strict=True)
    ]
    apart = replace(
        _some(part, own.is_apart, free, np.ones(len(tables), dtype=np.int64)),
        gate=sensor_open(main, chosen),
    )
    apart = replace(
        apart,
        controllers=replace(
            apart.controllers,
            is_governed=np.zeros(len(tables), dtype=np.bool_),
            threshold_mm=np.full(len(tables), np.nan),
        ),
    )
    other = best_programs(apart)
    return [
        joined(
            main,
            chosen,
            choices[at],
            tables[at],
            other,
            free[at].choices,
            chosen_timetable(apart, other, at, free[at].choices),
            at,
        )
        for at in range(len(tables))
    ], chosen


def _some(part: Problem, zones: BoolArray, cases: Sequence[RuleCase], letters: IntArray) -> Problem:
    """The problem of some zones of each controller, each under a case of its own, with fewer letters."""
    at = np.flatnonzero(zones)
    owner = part.owner[at]
    table = replace(part.controllers, program_count=letters, case=np.arange(len(cases)))
    offered, is_open, room, start_room = pattern_arrays(
        table, tuple(cases), part.offered.shape[0], part.settings
    )
    governing = np.where(
        (part.governing >= 0) & zones[np.maximum(part.governing, 0)], np.searchsorted(at, part.governing), -1
    )
    return replace(
        part,
        zones=part.zones.take(at),
        controllers=table,
        owner=owner,
        first=np.searchsorted(owner, np.arange(len(cases))),
        governing=governing,
        weight=part.weight[at],
        margin=part.margin[at],
        cap_min=part.cap_min[at],
        least_min=part.least_min[at],
        state=part.state.take(at),
        truth=part.truth.take(at),
        offered=offered,
        is_open=is_open,
        room_min=room,
        start_room_min=start_room,
        max_station_min=np.array([case.max_station_min for case in cases]),
        lane=None,
    )


def sensor_open(given: Problem, chosen: Chosen) -> BoolArray:
    """Whether the sensor lets a start through before the day's own passes, (days, controllers, seasons).

    Parameters
    ----------
    given
        Controllers with their governing zones; by the clock alone all is open.
    chosen
        Their programs.
    """
    state = given.state
    days, _, seasons = state.demand_mm.shape
    found = np.ones((days, len(given.controllers), seasons), dtype=np.bool_)
    some = np.flatnonzero(given.governing >= 0)
    if some.size == 0:
        return found
    zone = given.governing[some]
    mine = state.take(zone)
    threshold = given.threshold_mm()[some].astype(np.float32)[:, None]
    depth = np.maximum(given.net_mm(chosen.minutes[:, None])[zone], 0.05).astype(np.float32)
    runs = given.offered[:, some, np.maximum(chosen.pattern[some], 0)] & (chosen.pattern[some] >= 0)
    room = np.maximum(mine.available_mm - mine.allowed_mm, 1e-3)[:, None]
    depletion = np.repeat(mine.depletion_mm[:, None], seasons, axis=1)
    for day in range(days):
        depletion = np.maximum(depletion - mine.rain_mm[day], 0.0)
        found[day, some] = depletion >= threshold
        offered = (runs[day] * chosen.starts[some]).astype(np.float32)[:, None]
        depletion = np.maximum(depletion - depth * allowed_starts(depletion, threshold, depth, offered), 0.0)
        stress = np.clip((mine.available_mm[:, None] - depletion) / room, 0.0, 1.0)
        met = np.minimum(stress * mine.demand_mm[day], mine.available_mm[:, None] - depletion)
        depletion = (depletion + met).astype(np.float32)
    return found


def _costs(given: Problem, done: Trial) -> FloatArray:
    """What the search weighs of each controller [1], (controllers,)."""
    settings = given.settings
    missing = np.maximum(settings.target_adequacy - done.adequacy, 0.0)
    dry = np.maximum(done.dry_share - settings.most_dry_share, 0.0)
    lost = done.lost_mm / landscape_need_mm(given.truth)
    cost = settings.shortfall_weight * missing + settings.dry_weight * dry + lost
    return np.asarray(np.add.reduceat(given.weight * cost, given.first))


def _chosen(
    given: Problem,
    chosen: Chosen,
    part: Problem,
    rows: IntArray,
    wins: BoolArray,
    main: Chosen,
    minutes: FloatArray,
) -> Chosen:
    """The chosen programs; of those in own hours starts and minutes. A pattern of 0 says that some run."""
    if not wins.any():
        return chosen
    won = rows[wins]
    pattern, starts, over = chosen.pattern.copy(), chosen.starts.copy(), chosen.overrun_min.copy()
    pattern[won], starts[won], over[won] = 0, main.starts[wins], 0.0
    in_low, new = chosen.in_low.copy(), chosen.minutes.copy()
    mine = np.flatnonzero(np.isin(given.owner, won))
    theirs = wins[part.owner]
    in_low[mine], new[mine] = False, minutes.max(axis=1)[theirs]
    lane = np.where(np.isin(given.owner, won), 0, chosen.lane)
    return replace(
        chosen, pattern=pattern, starts=starts, overrun_min=over, in_low=in_low, minutes=new, lane=lane
    )

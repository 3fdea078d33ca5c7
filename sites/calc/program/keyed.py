"""A chosen program as it is keyed in: put on the clock, letter by letter, station by station."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sites.calc.program.days import starts_text
from sites.calc.program.patterns import DayChoice
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.search.chosen import Chosen
from sites.calc.search.problem import Problem


def chosen_timetable(
    given: Problem, chosen: Chosen, at: int, choices: Sequence[DayChoice]
) -> Timetable | None:
    """The chosen program of one controller on the clock; None where nothing may run.

    Parameters
    ----------
    given
        The problem.
    chosen
        Its best programs.
    at
        Position of the controller.
    choices
        Its day choices.
    """
    if chosen.pattern[at] < 0:
        return None
    zones, table = given.zones, given.controllers
    runs: dict[bool, list[StationRun]] = {False: [], True: []}
    for zone in np.flatnonzero(given.owner == at):
        minutes = float(chosen.minutes[zone])
        ratio = float(zones.precipitation_rate_mm_h[zone] / zones.intake_rate_mm_h[zone])
        lane = int(chosen.lane[zone])
        run = StationRun(int(zones.station[zone]), minutes, minutes * max(ratio, 1.0), lane)
        runs[bool(chosen.in_low[zone])].append(run)
    governing = int(given.governing[at])
    return timetable(
        runs[False],
        int(chosen.starts[at]),
        choices[int(chosen.pattern[at])],
        TimerLimits(
            # A sensor that is asked only at a start does not care for the order.
            governing_station=0 if governing < 0 else int(zones.station[governing]),
            has_free_order=bool(table.has_free_order[at]),
            program_count=int(table.program_count[at]),
            settle_min=given.settings.sensor_settle_min,
            start_step_min=given.settings.start_step_min,
            done_by_min=given.settings.done_by_min,
            stops_midway=bool(table.stops_midway[at]),
            starts_per_program=int(table.starts_per_program[at]),
        ),
        runs[True],
    )


def keyed_lines(
    given: Problem, chosen: Chosen, at: int, choices: Sequence[DayChoice]
) -> tuple[KeyedLine, ...]:
    """Lines of the chosen program of one controller, in the order of keying in; none where nothing may run.

    Parameters
    ----------
    given, chosen, at, choices
        As for `chosen_timetable`.
    """
    table = chosen_timetable(given, chosen, at, choices)
    if table is None:
        return ()
    return tuple(
        KeyedLine(
            letter.letter,
            choices[int(chosen.low_pattern[at] if letter.is_low else chosen.pattern[at])].pattern.text,
            starts_text(letter.starts_min),
            run.station,
            run.minutes,
        )
        for letter in table.letters
        for run in letter.runs
    )

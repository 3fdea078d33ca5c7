"""Programs as slots of a day, ready for a trial: chosen ones, and ones as they stand in the timer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sites.calc.program.days import parse_days, parse_starts, runs_on
from sites.calc.program.passes import ProgramLines
from sites.calc.program.patterns import Segments, most_in_seven
from sites.calc.program.times import Timetable
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import RuleCase
from sites.calc.search.problem import MOST_STARTS, Problem
from sites.calc.search.trial import Slots
from weather.calc.arrays import BoolArray, DayArray, IntArray


def chosen_slots(given: Problem, chosen: Chosen) -> Slots:
    """The slots of chosen programs: the letter for low demand first, then the main letter's starts.

    Parameters
    ----------
    given
        The problem.
    chosen
        Its best programs.
    """
    days = given.offered.shape[0]
    most = max(MOST_STARTS, int(chosen.starts.max(initial=1)))
    runs = np.zeros((days, len(given.controllers), 1 + most), dtype=np.bool_)
    main = np.take_along_axis(given.offered, np.maximum(chosen.pattern, 0)[None, :, None], axis=2)
    low = np.take_along_axis(given.offered, np.maximum(chosen.low_pattern, 0)[None, :, None], axis=2)
    is_chosen = chosen.pattern >= 0
    runs[:, :, :1] = low & (chosen.low_pattern >= 0)[None, :, None]
    runs[:, :, 1:] = main & (np.arange(most)[None] < chosen.starts[:, None])[None] & is_chosen[None, :, None]
    letter = np.ones((len(given.controllers), 1 + most), dtype=np.int64)
    letter[:, 0] = 0
    minutes = np.stack(
        [np.where(chosen.in_low, chosen.minutes, 0.0), np.where(chosen.in_low, 0.0, chosen.minutes)], axis=1
    )
    behind = np.zeros(minutes.shape, dtype=np.bool_)
    behind[:, 1] = _is_cut_short(given)
    return Slots(runs, letter, minutes, behind, is_chosen, np.full(letter.shape, -1))


def timetable_slots(given: Problem, tables: Sequence[Timetable | None], days: DayArray) -> Slots:
    """The slots of timetables whose letters name their days, in the order of the clock.

    Parameters
    ----------
    given
        The controllers with their zones.
    tables
        Timetable of each controller; None: nothing runs.
    days
        The horizon [datetime64 days], (days,).
    """
    letters = [table.letters if table is not None else () for table in tables]
    most = max((sum(len(letter.starts_min) for letter in own) for own in letters), default=0)
    columns = max((len(own) for own in letters), default=0)
    runs = np.zeros((len(days), len(tables), max(most, 1)), dtype=np.bool_)
    letter_of = np.zeros((len(tables), max(most, 1)), dtype=np.int64)
    start_of = np.full(letter_of.shape, -1)
    minutes = np.zeros((len(given.owner), max(columns, 1)))
    behind = np.zeros(minutes.shape, dtype=np.bool_)
    for at, own in enumerate(letters):
        starts = sorted((start, number) for number, letter in enumerate(own) for start in letter.starts_min)
        for slot, (start, number) in enumerate(starts):
            runs[:, at, slot] = runs_on(parse_days(own[number].days, days[0].astype(object)), days)
            letter_of[at, slot], start_of[at, slot] = number, start
        zone_of = {int(given.zones.station[zone]): zone for zone in np.flatnonzero(given.owner == at)}
        cut = set(tables[at].cut_short) if tables[at] is not None else set()  # type: ignore[union-attr]
        for number, letter in enumerate(own):
            for run in letter.runs:
                minutes[zone_of[run.station], number] = run.minutes
                behind[zone_of[run.station], number] = run.station in cut
    known = np.array([bool(own) for own in letters])
    return Slots(runs, letter_of, minutes, behind, known, start_of)


def _is_cut_short(given: Problem) -> BoolArray:
    """Zones that run behind the governing station, where neither order nor letters can help."""
    table = given.controllers
    station = given.zones.station
    own = np.where(given.governing >= 0, station[np.maximum(given.governing, 0)], np.iinfo(np.int64).max)
    helpless = table.stops_midway & ~table.has_free_order & (table.program_count < 2)
    return np.asarray(helpless[given.owner] & (station > own[given.owner]))


def set_slots(given: Problem, lines: ProgramLines, days: DayArray) -> Slots:
    """The slots of programs as they stand in the timers; of several settings the newest.

    Parameters
    ----------
    given
        The controllers with their zones.
    lines
        Lines as keyed in, run order rising within a letter.
    days
        The horizon [datetime64 days], (days,).
    """
    position = {int(pk): at for at, pk in enumerate(given.controllers.controller_id)}
    zone_at = {int(pk): at for at, pk in enumerate(given.zones.zone_id)}
    newest: dict[int, np.datetime64] = {}
    for pk, as_of in zip(lines.controller_id, lines.as_of, strict=True):
        if as_of <= days[0]:
            newest[int(pk)] = max(newest.get(int(pk), as_of), as_of)
    kept = [
        row
        for row, pk in enumerate(lines.controller_id)
        if int(pk) in position
        and newest.get(int(pk)) == lines.as_of[row]
        and int(lines.zone_id[row]) in zone_at
    ]
    letters = _letters(lines, kept)
    minutes = np.zeros((len(given.owner), max(len(names) for names in letters.values()) if letters else 1))
    behind = np.zeros(minutes.shape, dtype=np.bool_)
    seen: set[tuple[int, int]] = set()
    for row in kept:
        pk, zone = int(lines.controller_id[row]), zone_at[int(lines.zone_id[row])]
        column = letters[pk].index(str(lines.program[row]))
        minutes[zone, column] = lines.run_min[row] * lines.seasonal_adjust_pct[row] / 100.0
        if (pk, column) in seen:
            behind[zone, column] = True
        if zone == given.governing[position[pk]]:
            seen.add((pk, column))
    runs, letter, start = _slot_arrays(lines, kept, letters, position, days)
    known = np.array([int(pk) in letters for pk in given.controllers.controller_id], dtype=np.bool_)
    return Slots(runs, letter, minutes, behind, known, start)


def _letters(lines: ProgramLines, kept: Sequence[int]) -> dict[int, list[str]]:
    """Letters of each controller in their order."""
    found: dict[int, set[str]] = {}
    for row in kept:
        found.setdefault(int(lines.controller_id[row]), set()).add(str(lines.program[row]))
    return {pk: sorted(names) for pk, names in found.items()}


def _slot_arrays(
    lines: ProgramLines,
    kept: Sequence[int],
    letters: dict[int, list[str]],
    position: dict[int, int],
    days: DayArray,
) -> tuple[BoolArray, IntArray, IntArray]:
    """Runs, letters and clock times of the starts of each controller, in the order of the clock."""
    starts: dict[int, dict[tuple[int, int], BoolArray]] = {}
    for row in kept:
        pk = int(lines.controller_id[row])
        column = letters[pk].index(str(lines.program[row]))
        mine = starts.setdefault(pk, {})
        for minute in parse_starts(str(lines.starts[row])):
            if (minute, column) not in mine:
                pattern = parse_days(str(lines.days[row]), lines.as_of[row].astype(object))
                mine[minute, column] = runs_on(pattern, days)
    most = max((len(one) for one in starts.values()), default=1)
    runs = np.zeros((len(days), len(position), most), dtype=np.bool_)
    letter = np.zeros((len(position), most), dtype=np.int64)
    start = np.full(letter.shape, -1)
    for pk, mine in starts.items():
        for slot, (minute, column) in enumerate(sorted(mine)):
            runs[:, position[pk], slot] = mine[minute, column]
            letter[position[pk], slot] = column
            start[position[pk], slot] = minute
    return runs, letter, start


def breaks_rules(
    given: Problem, slots: Slots, cases: Sequence[RuleCase], zone_case: IntArray | None = None
) -> BoolArray:
    """Whether what is set runs on days or in hours that the rules bar, (controllers,).

    Parameters
    ----------
    given
        The controllers.
    slots
        What is set.
    cases
        Rule cases that the controllers point to.
    zone_case
        Case of each zone by itself, (zones,); None: that of its controller.
    """
    of_zone = given.controllers.case[given.owner] if zone_case is None else zone_case
    found = np.zeros(len(given.controllers), dtype=np.bool_)
    pass_min = np.add.reduceat(slots.minutes, given.first, axis=0)
    for at in range(len(found)):
        mine = given.owner == at
        for slot in np.flatnonzero(slots.runs[:, at].any(axis=0)):
            column = slots.letter[at, slot]
            start, length = int(slots.start_min[at, slot]), float(pass_min[at, column])
            running = np.flatnonzero(slots.runs[:, at, slot])
            for number in np.unique(of_zone[mine & (slots.minutes[:, column] > 0)]):
                segments = cases[number].segments
                found[at] |= bool(segments) and not all(
                    _lies_in(start, start + length, hours) for hours in {segments[day] for day in running}
                )
        found[at] |= _too_many_days(slots, at, mine, cases, of_zone)
    return found


def _too_many_days(
    slots: Slots, at: int, mine: BoolArray, cases: Sequence[RuleCase], of_zone: IntArray
) -> bool:
    """Whether the stations of a case run on more days in seven than it allows."""
    for number in np.unique(of_zone[mine]):
        most = cases[number].max_days_per_week
        used = (slots.minutes[mine & (of_zone == number)] > 0).any(axis=0)
        runs = np.asarray(slots.runs[:, at, used[slots.letter[at]]].any(axis=1), dtype=np.bool_)
        if most is not None and most_in_seven(runs) > most:
            return True
    return False


def _lies_in(start: float, end: float, hours: Segments) -> bool:
    """Whether a pass lies inside one of the day's open hours."""
    return any(opens <= start and end <= closes for opens, closes in hours)

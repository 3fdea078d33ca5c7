"""A program that somebody wrote by hand, held against every limit, and tried over the same four weeks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

import numpy as np

from sites.calc.balance.run_off import start_spacing
from sites.calc.program.days import DayPattern, parse_days, parse_starts
from sites.calc.program.passes import ProgramLines
from sites.calc.program.runs import passes_of, run_minutes, runs_of
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.slots import set_slots
from sites.calc.program.together import beyond_supply, flows_of, overlap
from sites.calc.search.garden import Figures, Garden, figures
from sites.calc.search.problem import Problem
from sites.calc.search.trial import trial

_MODES = {"weekdays": ("weekdays",), "interval": ("interval",), "odd": ("odd",), "even": ("even",)}
_DAILY = ("weekdays", "interval")


@dataclass(frozen=True, slots=True)
class HandCheck:
    """What a program by hand breaks, and what it does.

    Parameters
    ----------
    problems
        Limits of timer, soil and clock that it breaks: such a program is not issued.
    outside
        Watering rules that it breaks: it is issued only with a written reason.
    cautions
        What to look out for.
    figures
        What it does over the four weeks.
    minutes_a_week
        Minutes that it offers a week, all stations together [min].
    bypass_rate
        Share of its starts that the sensor is expected to block [1]; None without a sensor.
    as_set, best
        What the program as set and the best one do; None: not known.
    """

    problems: tuple[str, ...]
    outside: tuple[str, ...]
    cautions: tuple[str, ...]
    figures: Figures
    minutes_a_week: float
    bypass_rate: float | None
    as_set: Figures | None = None
    best: Figures | None = None


def hand_check(
    garden: Garden, lines: Sequence[KeyedLine], *, day_modes: Sequence[str], week: date
) -> HandCheck:
    """A program by hand, checked and tried.

    Parameters
    ----------
    garden
        The garden.
    lines
        The program, in run order within a letter; days and starts can be read.
    day_modes
        Day modes that the timer knows.
    week
        Monday of the first week.
    """
    given = garden.problem()
    days = np.arange(np.datetime64(week), np.datetime64(week) + given.settings.horizon_days)
    slots = set_slots(given, program_lines_of(given, lines, week), days)
    done = trial(given, slots)
    outside = []
    if slots.is_known[0] and garden.breaks_rules(given, slots):
        outside.append("It waters on days or in hours that the watering rules bar.")
    most = float(given.max_station_min[0])
    offered = float(done.offered[0])
    return HandCheck(
        problems=(
            *_timer_problems(garden, lines, day_modes, week),
            *_run_problems(given, lines),
            *_clock_problems(given, lines, days, week),
        ),
        outside=(*outside, *_too_long_a_day(lines, most)),
        cautions=_cautions(given, lines, week),
        figures=figures(given, done),
        minutes_a_week=float(done.minutes_a_week[0]),
        bypass_rate=None
        if given.governing[0] < 0 or offered <= 0
        else 1.0 - float(done.allowed[0]) / offered,
    )


def program_lines_of(given: Problem, lines: Sequence[KeyedLine], as_of: date) -> ProgramLines:
    """Keyed lines of one controller as arrays; those of stations without a zone are left out.

    Parameters
    ----------
    given
        The problem of the controller.
    lines
        Its lines.
    as_of
        Day from which they hold.
    """
    zone_of = {
        int(station): int(pk) for station, pk in zip(given.zones.station, given.zones.zone_id, strict=True)
    }
    kept = [line for line in lines if line.station in zone_of]
    return ProgramLines(
        controller_id=np.full(len(kept), given.controllers.controller_id[0]),
        program=np.array([line.letter for line in kept], dtype=np.str_),
        zone_id=np.array([zone_of[line.station] for line in kept], dtype=np.int64),
        days=np.array([line.days for line in kept], dtype=np.str_),
        starts=np.array([line.starts for line in kept], dtype=np.str_),
        run_min=np.array([line.run_min for line in kept], dtype=np.float64),
        seasonal_adjust_pct=np.array([line.seasonal_adjust_pct for line in kept], dtype=np.float64),
        as_of=np.array([as_of] * len(kept), dtype="datetime64[D]"),
    )


def _timer_problems(
    garden: Garden, lines: Sequence[KeyedLine], day_modes: Sequence[str], week: date
) -> list[str]:
    """What the timer cannot hold."""
    table, found = garden.controller, []
    heads = {line.letter: line for line in lines}
    if not heads:
        return ["No station runs: use the timer’s off position instead."]
    if len(heads) > table.program_count[0]:
        found.append(f"{len(heads)} letters are used; the timer has {int(table.program_count[0])}.")
    for letter, line in sorted(heads.items()):
        starts = len(parse_starts(line.starts))
        if not starts:
            found.append(f"Program {letter} has no start.")
        if starts > table.starts_per_program[0]:
            has = int(table.starts_per_program[0])
            found.append(f"Program {letter} has {starts} starts; the timer has {has} a program.")
        if not _knows(day_modes, parse_days(line.days, week)):
            found.append(f"Program {letter}: the timer cannot be set to {line.days}.")
    known = {int(station) for station in garden.zones.station}
    found += [
        f"Station {line.station} waters no zone of the book." for line in lines if line.station not in known
    ]
    return found


def _knows(day_modes: Sequence[str], pattern: DayPattern) -> bool:
    """Whether a timer can hold a day pattern."""
    return any(mode in day_modes for mode in _MODES.get(pattern.kind, _DAILY))


def _run_problems(given: Problem, lines: Sequence[KeyedLine]) -> list[str]:
    """Runs that timer or soil do not take."""
    step, most = float(given.controllers.minute_step[0]), float(given.controllers.max_run_min[0])
    limit = {
        int(station): float(minutes)
        for station, minutes in zip(given.zones.station, given.zones.runoff_limit_min, strict=True)
    }
    found = []
    for line in lines:
        name, minutes = f"Station {line.station}", run_minutes(line)
        if line.run_min % step > 1e-9:
            found.append(f"{name}: {line.run_min:g} min is no whole step of {step:g} min.")
        if line.run_min > most:
            found.append(f"{name}: {line.run_min:g} min; the timer’s longest run is {most:g} min.")
        if minutes > limit.get(line.station, np.inf) + 1e-6:
            found.append(
                f"{name}: {minutes:g} min runs off; the limit of soil, slope and heads is"
                f" {limit[line.station]:.1f} min."
            )
    return found


def _clock_problems(given: Problem, lines: Sequence[KeyedLine], days: np.ndarray, week: date) -> list[str]:
    """Passes that overlap, and runs before the ground has taken the last one."""
    table = given.controllers
    at_once, limit = int(table.stations_at_once[0]), float(table.flow_limit_l_min[0])
    may_share = at_once >= 2 and np.isfinite(limit)
    words = overlap(passes_of(lines, days, week), may_share=may_share)
    if not words and may_share:
        words = beyond_supply(runs_of(lines, days, week), flows_of(given), limit, at_once)
    found = [words] if words else []
    ratio = start_spacing(given.zones.precipitation_rate_mm_h, given.zones.intake_rate_mm_h)
    soak = {int(s): float(r) for s, r in zip(given.zones.station, ratio, strict=True)}
    for station in sorted({line.station for line in lines}):
        times = sorted(run for run in runs_of(lines, days, week) if run[2] == station)
        for (begin, minutes, _), (after, _, _) in pairwise(times):
            least = minutes * soak.get(station, 1.0)
            if after - begin < least - 1e-6:
                found.append(
                    f"Station {station} runs again at {_clock(after)}: what its last run left standing has"
                    f" soaked in by {_clock(begin + least)}."
                )
                break
    return found


def _too_long_a_day(lines: Sequence[KeyedLine], most_min: float) -> list[str]:
    """Stations that run longer in a day than a rule lets them."""
    total: dict[int, float] = {}
    for line in lines:
        total[line.station] = total.get(line.station, 0.0) + run_minutes(line) * len(
            parse_starts(line.starts)
        )
    return [
        f"Station {station} runs {minutes:g} min a day; the rule allows {most_min:g}."
        for station, minutes in sorted(total.items())
        if minutes > most_min + 1e-6
    ]


def _cautions(given: Problem, lines: Sequence[KeyedLine], week: date) -> tuple[str, ...]:
    """Zones left dry, and stations behind the sensor's."""
    found = []
    missing = sorted({int(station) for station in given.zones.station} - {line.station for line in lines})
    if missing:
        listed = ", ".join(str(station) for station in missing)
        found.append(f"Station {listed} gets no water.")
    governing = int(given.governing[0])
    if governing >= 0 and given.controllers.stops_midway[0]:
        own = int(given.zones.station[governing])
        beside = _beside(lines, own, week)
        if beside:
            listed = ", ".join(str(station) for station in beside)
            found.append(
                f"The sensor may cut station {listed} short: it runs beside the sensor’s own station."
            )
        for letter in sorted({line.letter for line in lines}):
            order = [line.station for line in lines if line.letter == letter]
            behind = order[order.index(own) + 1 :] if own in order else []
            if behind:
                listed = ", ".join(str(station) for station in behind)
                found.append(
                    f"Program {letter}: the sensor may cut station {listed} short, behind its own station."
                )
    return tuple(found)


def _beside(lines: Sequence[KeyedLine], own: int, week: date) -> list[int]:
    """Stations that run while the sensor's own does, in the first four weeks."""
    days = np.arange(np.datetime64(week), np.datetime64(week) + 28)
    runs = runs_of(lines, days, week)
    mine = [run for run in runs if run[2] == own]
    return sorted({
        run[2]
        for run in runs
        for one in mine
        if run[2] != own and run[0] < one[0] + one[1] - 1e-6 and one[0] < run[0] + run[1] - 1e-6
    })  # fmt: skip


def _clock(minute: float) -> str:
    """A time of day."""
    return f"{int(minute) // 60 % 24:02d}:{int(minute) % 60:02d}"

"""Where a program breaks watering rules: run by run in true time, with the stage that it breaks and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from sites.calc.program.days import parse_days, parse_starts, runs_on
from sites.calc.program.patterns import most_in_seven
from sites.calc.program.sheet import KeyedLine
from sites.calc.rules.hours import clock_instant, permitted_hours
from sites.calc.rules.stages import (
    MINUTES_A_DAY,
    AddressUnknownError,
    Stage,
    Watered,
    applies,
    in_force,
    permitted_dates,
)
from sites.calc.rules.week import day_spans
from sites.calc.rules.words import barred_words, clock_24, spans_words
from weather.calc.arrays import BoolArray, FloatArray, IntArray

_A_SECOND = 1 / 60  # [min]
_ALL = -1


@dataclass(frozen=True, slots=True)
class RuleBreak:
    """A rule that a program breaks.

    Parameters
    ----------
    stage
        The stage; empty where the rules cannot be known.
    kind
        `day`, `hours`, `days_per_week`, `minutes` or `unknown`.
    day
        The first day on which it does.
    stations
        Stations that do.
    times
        Runs or days that do, over all days looked at [1].
    words
        What is wrong the first time, in words.
    """

    stage: str
    kind: str
    day: date
    stations: tuple[int, ...]
    times: int
    words: str

    @property
    def sentence(self) -> str:
        """The break as a sentence."""
        listed = ", ".join(str(station) for station in self.stations)
        who = f"Station{'s' if len(self.stations) > 1 else ''} {listed}: " if self.stations else ""
        by = f" (stage “{self.stage}”)" if self.stage else ""
        text = f"{who}{self.words}{by}."
        return text[:1].upper() + text[1:]


_Found = dict[tuple[str, str], RuleBreak]


class RuleChecker:
    """Checks programs against the stages of one rule set over some days; shares what many programs ask."""

    def __init__(self, stages: Sequence[Stage], *, first_day: date, day_count: int, timezone: str) -> None:
        self._stages = tuple(stages)
        self._first = first_day
        self._count = day_count
        self._zone = ZoneInfo(timezone)
        self._days = np.arange(np.datetime64(first_day), np.datetime64(first_day) + day_count)
        self._open: dict[tuple[int, Watered], tuple[FloatArray, FloatArray]] = {}
        self._clock: dict[int, FloatArray] = {}

    def breaks(
        self, lines: Sequence[KeyedLine], watered: Mapping[int, Watered], *, as_of: date
    ) -> tuple[RuleBreak, ...]:
        """What a program breaks, the earliest first; nothing: it may run as it is.

        Parameters
        ----------
        lines
            The program, in run order within a letter.
        watered
            What each station waters.
        as_of
            Day from which the program holds: first day of an interval that names none.
        """
        found: _Found = {}
        running = [line for line in lines if _minutes(line) > 0 and line.station in watered]
        try:
            self._run_breaks(running, watered, as_of, found)
            self._bound_breaks(running, watered, as_of, found)
        except AddressUnknownError as error:
            words = "the address shows no house number, so nobody can tell"
            return (RuleBreak("", "unknown", self._first, (), 1, f"{words}: {error}"),)
        return tuple(sorted(found.values(), key=lambda one: (one.day, one.stage)))

    def _run_breaks(
        self, lines: Sequence[KeyedLine], watered: Mapping[int, Watered], as_of: date, found: _Found
    ) -> None:
        """Runs on barred days or outside open hours."""
        for letter in sorted({line.letter for line in lines}):
            own = [line for line in lines if line.letter == letter]
            days = np.flatnonzero(runs_on(parse_days(own[0].days, as_of), self._days))
            starts = parse_starts(own[0].starts)
            if not starts or not days.size:
                continue
            begins = np.stack([self._readings(start)[days] for start in starts], axis=1)
            ahead = 0.0
            for line in own:
                minutes, kind = _minutes(line), watered[line.station]
                barred = self._is_barred(_ALL, kind, begins + ahead, minutes)
                if barred.any():
                    self._blame(kind, line.station, days, starts, begins, ahead, minutes, barred, found)
                ahead += minutes

    def _is_barred(self, which: int, watered: Watered, begin: FloatArray, minutes: float) -> BoolArray:
        """Whether runs do not lie in one open span, under either reading of their start, (days, starts)."""
        opens, closes = self._spans(which, watered)
        at = np.searchsorted(opens, begin, side="right") - 1
        return np.asarray((begin + minutes > closes[at] + _A_SECOND).any(axis=2))

    def _spans(self, which: int, watered: Watered) -> tuple[FloatArray, FloatArray]:
        """Open spans under one stage, or all [min of true time]; the first is empty, before all time."""
        key = (which, watered)
        if key not in self._open:
            before = self._first - timedelta(days=1)
            stages = self._stages if which == _ALL else self._stages[which : which + 1]
            hours = permitted_hours(stages, watered, before, self._count + 2)
            opens = [clock_instant(before, a, self._zone, late=True).timestamp() / 60 for a, _ in hours.spans]
            closes = [
                clock_instant(before, b, self._zone, late=False).timestamp() / 60 for _, b in hours.spans
            ]
            self._open[key] = (np.array([-np.inf, *opens]), np.array([-np.inf, *closes]))
        return self._open[key]

    def _readings(self, start: int) -> FloatArray:
        """Both readings of a clock time on each day [min of true time], (days, 2)."""
        if start not in self._clock:
            minutes = [day * MINUTES_A_DAY + start for day in range(self._count)]
            self._clock[start] = np.array(
                [[self._true(self._first, minute, late=late) for late in (False, True)] for minute in minutes]
            )
        return self._clock[start]

    def _true(self, day: date, minute: int, *, late: bool) -> float:
        """A clock time in true time [min]."""
        return clock_instant(day, minute, self._zone, late=late).timestamp() / 60

    def _blame(
        self,
        watered: Watered,
        station: int,
        days: IntArray,
        starts: Sequence[int],
        begins: FloatArray,
        ahead: float,
        minutes: float,
        barred: BoolArray,
        found: _Found,
    ) -> None:
        """Note the stages that bar a station's runs."""
        told = np.zeros(barred.shape, dtype=np.bool_)
        for which, stage in enumerate(self._stages):
            if not applies(stage, watered):
                continue
            own = barred & self._is_barred(which, watered, begins + ahead, minutes)
            told |= own
            its_day = permitted_dates(stage, watered, self._days) | ~in_force(stage, watered, self._days)
            on_its_day = its_day[days][:, None]
            for kind, runs in (("day", own & ~on_its_day), ("hours", own & on_its_day)):
                if runs.any():
                    day, at = (int(value) for value in np.argwhere(runs)[0])
                    words = self._words(kind, stage, watered, int(days[day]), int(starts[at] + ahead))
                    when = self._first + timedelta(days=int(days[day]))
                    _note(found, RuleBreak(stage.name, kind, when, (station,), int(runs.sum()), words))
        if (barred & ~told).any():
            when = self._first + timedelta(days=int(days[np.argwhere(barred & ~told)[0][0]]))
            words = f"{when:%a} {when.day} {when:%b}: its hours are not open under all stages together"
            _note(found, RuleBreak("", "hours", when, (station,), int((barred & ~told).sum()), words))

    def _words(self, kind: str, stage: Stage, watered: Watered, day: int, minute: int) -> str:
        """What bars a run on a day under one stage."""
        at = self._first + timedelta(days=day)
        when = f"{at:%a} {at.day} {at:%b}, {clock_24(minute % MINUTES_A_DAY)}"
        if kind == "day":
            return f"{when}: {barred_words(stage, watered, at)}"
        spans = day_spans(permitted_hours([stage], watered, at, 1), 0)
        return f"{when}: outside the open hours ({spans_words(spans) or 'none'})"

    def _bound_breaks(
        self,
        lines: Sequence[KeyedLine],
        watered: Mapping[int, Watered],
        as_of: date,
        found: _Found,
    ) -> None:
        """More days a week, or more minutes a station and day, than a stage allows."""
        run_days = {
            line: runs_on(parse_days(line.days, as_of), self._days) if parse_starts(line.starts) else None
            for line in lines
        }
        for stage in self._stages:
            if stage.is_ban or (stage.max_days_per_week is None and stage.max_minutes_per_station is None):
                continue
            minutes: dict[int, np.ndarray] = {}
            for line, days in run_days.items():
                kind = watered[line.station]
                if days is None or not applies(stage, kind):
                    continue
                day_min = _minutes(line) * len(parse_starts(line.starts))
                own = days & in_force(stage, kind, self._days)
                minutes[line.station] = minutes.get(line.station, np.zeros(self._count)) + own * day_min
            self._note_bounds(stage, minutes, found)

    def _note_bounds(self, stage: Stage, minutes: Mapping[int, np.ndarray], found: _Found) -> None:
        """Note where a stage's bounds are passed."""
        most_days, most_min = stage.max_days_per_week, stage.max_minutes_per_station
        if most_days is not None and minutes:
            any_runs = np.any([day > 0 for day in minutes.values()], axis=0)
            if most_in_seven(any_runs) > most_days:
                first = self._first + timedelta(days=int(np.flatnonzero(any_runs)[0]))
                words = f"waters {most_in_seven(any_runs)} days in seven; the rule allows {most_days}"
                _note(found, RuleBreak(stage.name, "days_per_week", first, (), 1, words))
        for station, of_day in minutes.items():
            if most_min is not None and (of_day > most_min + 1e-6).any():
                first = self._first + timedelta(days=int(np.flatnonzero(of_day > most_min + 1e-6)[0]))
                words = f"runs {of_day.max():g} min a day; the rule allows {most_min:g}"
                _note(found, RuleBreak(stage.name, "minutes", first, (station,), 1, words))


def _note(found: _Found, one: RuleBreak) -> None:
    """Join a break to those of the same stage and kind."""
    key = (one.stage, one.kind)
    old = found.get(key)
    if old is None:
        found[key] = one
        return
    first = old if old.day <= one.day else one
    stations = tuple(sorted({*old.stations, *one.stations}))
    found[key] = RuleBreak(one.stage, one.kind, first.day, stations, old.times + one.times, first.words)


def _minutes(line: KeyedLine) -> float:
    """Minutes of one run with seasonal adjust [min]."""
    return line.run_min * line.seasonal_adjust_pct / 100.0

"""Which day patterns a controller may be set to under its permitted hours, and the hours of those days."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import combinations

import numpy as np

from sites.calc.program.days import DayPattern, runs_on
from sites.calc.rules.hours import PermittedHours
from sites.calc.rules.stages import MINUTES_A_DAY
from weather.calc.arrays import BoolArray, DayArray

NOON = 12 * 60
# Shares of all days, in the order in which patterns are worth trying.
_WORTH_TRYING = (1.0, 1 / 2, 3 / 7, 1 / 3, 2 / 7, 1 / 4, 1 / 7, 5 / 7, 4 / 7, 6 / 7)
_LONGEST_INTERVAL = 4
_ENOUGH = 0.75
_LAST_PASS_MIN = 60
_LONGEST_BLOCK_MIN = 20 * 60

Segments = tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class Block:
    """Hours of a running day that all its starts share.

    Parameters
    ----------
    opens_min
        First minute in which a start may lie [min after midnight], below 1440.
    closes_min
        Minute by which the last run has ended [min after the same midnight]; may lie on the next day.
    """

    opens_min: int
    closes_min: int

    def __post_init__(self) -> None:
        """Refuse hours that hold no start."""
        if not 0 <= self.opens_min < MINUTES_A_DAY or self.closes_min <= self.opens_min:
            raise ValueError("a block opens within its day and closes later")


@dataclass(frozen=True, slots=True)
class DayChoice:
    """A day pattern that the rules leave open, with its hours.

    Parameters
    ----------
    pattern
        The pattern as the controller stores it.
    runs
        Whether it runs on each day of the horizon, (days,).
    blocks
        Hours in which its starts may lie: at most one before noon and one after.
    off_days
        Days on which the controller would run and must not: somebody has to switch it off.
    valid_days
        From the first day, days for which the pattern fits the rules [d].
    """

    pattern: DayPattern
    runs: BoolArray
    blocks: tuple[Block, ...]
    off_days: tuple[date, ...] = ()
    valid_days: int = 0


def day_choices(
    hours: PermittedHours,
    days: DayArray,
    *,
    day_modes: Sequence[str],
    max_days_per_week: int | None = None,
    slack_min: int = 0,
    limit: int = 6,
) -> tuple[DayChoice, ...]:
    """Day patterns that fit the permitted hours, at most one of each number of days, most worth trying first.

    A pattern should fit all days. Where none does, or only far fewer days a week than the rules leave open
    now, patterns with a single day off count as well, then those that fit the next two weeks, the next week,
    and those with two days off. Nothing: no watering is allowed.

    Parameters
    ----------
    hours
        Permitted hours of the controller, from the first day on.
    days
        Days of the horizon [datetime64 days], consecutive, (days,).
    day_modes
        What the controller can be set to: `weekdays`, `interval`, `odd`, `even`.
    max_days_per_week
        Most watering days in any seven [d]; None: no bound.
    slack_min
        Taken off the end of all hours [min]: in weeks in which the clock goes forward, an hour.
    limit
        Most patterns wanted [1].
    """
    pool = [(pattern, runs_on(pattern, days)) for pattern in _pool(_date(days[0]), day_modes)]
    segments = [
        tuple((a, b - slack_min) for a, b in day_segments(hours, at) if b - slack_min > a)
        for at in range(len(days))
    ]
    weekly = 7 if max_days_per_week is None else max_days_per_week
    pool = [(pattern, runs) for pattern, runs in pool if most_in_seven(runs) <= weekly]
    options = []
    for span, off in ((len(days), 0), (len(days), 1), (14, 0), (7, 0), (len(days), 2)):
        fitting = [
            choice
            for pattern, runs in pool
            if (choice := _fitted(pattern, runs, segments, days, min(span, len(days)), off)) is not None
        ]
        if fitting:
            options.append((max(choice.runs[:span].sum() / span for choice in fitting), fitting))
    most = max((rate for rate, _ in options), default=0.0)
    return next((_worth_trying(fitting, limit) for rate, fitting in options if rate >= _ENOUGH * most), ())


def _pool(first_day: date, day_modes: Sequence[str]) -> Iterable[DayPattern]:
    """All patterns that the controller could hold."""
    if "weekdays" in day_modes or "interval" in day_modes:
        yield DayPattern("daily")
    if "interval" in day_modes:
        for interval in range(2, _LONGEST_INTERVAL + 1):
            for phase in range(interval):
                yield DayPattern("interval", interval_days=interval, anchor=first_day + timedelta(days=phase))
    for parity in ("odd", "even"):
        if parity in day_modes:
            yield DayPattern(parity)
    if "weekdays" in day_modes:
        for count in range(1, 7):
            for weekdays in combinations(range(7), count):
                yield DayPattern("weekdays", weekdays=weekdays)


def day_segments(hours: PermittedHours, day: int) -> Segments:
    """Permitted spans that a start on the day could use [min after the day's own midnight].

    Parameters
    ----------
    hours
        Permitted hours.
    day
        Day, counted from the first day of the hours [d].
    """
    midnight = day * MINUTES_A_DAY
    return tuple(
        (max(opens, midnight) - midnight, min(closes - midnight, 2 * MINUTES_A_DAY))
        for opens, closes in hours.spans
        if opens < midnight + MINUTES_A_DAY and closes > midnight
    )


def _fitted(
    pattern: DayPattern,
    runs: BoolArray,
    segments: list[Segments],
    days: DayArray,
    span: int,
    most_off: int,
) -> DayChoice | None:
    """The pattern with its hours over the first `span` days, or None where they share none."""
    running = np.flatnonzero(runs[:span])
    open_days = [int(day) for day in running if segments[day]]
    off = [int(day) for day in running if not segments[day]]
    if not open_days or len(off) > most_off:
        return None
    common = segments[open_days[0]]
    for other in {segments[day] for day in open_days[1:]}:
        common = _shared(common, other)
    blocks = tuple(
        _block(max(half, key=lambda segment: segment[1] - segment[0]))
        for half in (
            [segment for segment in common if segment[0] < NOON],
            [segment for segment in common if NOON <= segment[0] < MINUTES_A_DAY],
        )
        if half
    )
    if not blocks:
        return None
    return DayChoice(pattern, runs, blocks, tuple(_date(days[day]) for day in off), span)


def _block(segment: tuple[int, int]) -> Block:
    """A segment as a block that leaves the next day's start its own hours."""
    return Block(segment[0], min(segment[1], segment[0] + _LONGEST_BLOCK_MIN))


def _shared(one: Segments, other: Segments) -> Segments:
    """Segments common to two days."""
    return tuple(
        (max(a, c), min(b, d)) for a, b in one for c, d in other if max(a, c) < min(b, d, max(a, c) + 1)
    )


def _worth_trying(fitting: list[DayChoice], limit: int) -> tuple[DayChoice, ...]:
    """The best pattern of each number of days, those numbers first that are most worth trying."""
    by_count: dict[int, DayChoice] = {}
    for choice in fitting:
        count = int(choice.runs.sum())
        if count not in by_count or _rank(choice) < _rank(by_count[count]):
            by_count[count] = choice
    counts = sorted(by_count)
    chosen: list[int] = []
    for share in _WORTH_TRYING:
        wanted = share * len(fitting[0].runs)
        nearest = min(counts, key=lambda count: abs(count - wanted))
        if nearest not in chosen and abs(nearest - wanted) <= 1.5:
            chosen.append(nearest)
    if counts[-1] not in chosen:
        chosen.insert(0, counts[-1])
    return tuple(by_count[count] for count in chosen[:limit])


def _rank(choice: DayChoice) -> tuple[int, int, int, int]:
    """Evenly spread first, then much room, then simple to key in; smaller is better."""
    # Starts end at midnight, so hours after it count little for a block that opens in the evening.
    latest = MINUTES_A_DAY + _LAST_PASS_MIN
    room = max(min(block.closes_min, latest) - block.opens_min for block in choice.blocks)
    simple = {"daily": 0, "odd": 1, "even": 1, "interval": 2, "weekdays": 3}
    running = np.flatnonzero(choice.runs)
    # From the last day round to the first: where the horizon begins must not decide.
    gaps = np.diff(np.append(running, running[0] + len(choice.runs)))
    return int(gaps.max()), int((gaps**2).sum()), -room, simple[choice.pattern.kind]


def most_in_seven(runs: BoolArray) -> int:
    """Most running days in any seven in a row [d].

    Parameters
    ----------
    runs
        Whether each day runs, (days,).
    """
    return int(np.convolve(runs.astype(np.int64), np.ones(7, dtype=np.int64)).max())


def _date(day: np.datetime64) -> date:
    """A numpy day as a date."""
    return date(1970, 1, 1) + timedelta(days=int(day.astype("datetime64[D]").astype(np.int64)))

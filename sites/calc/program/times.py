"""A chosen program put on the clock: letters, order of stations, start times."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from sites.calc.program.lanes import FIRST, LAST, SECOND
from sites.calc.program.patterns import Block, DayChoice
from sites.calc.rules.stages import MINUTES_A_DAY

LETTERS: Final = "ABCDEFGH"


@dataclass(frozen=True, slots=True)
class StationRun:
    """One station's run in a pass.

    Parameters
    ----------
    station
        Its number.
    minutes
        Minutes of one start [min].
    soak_min
        Least time from its start to its next start, so that what stands on the ground has soaked in [min].
    lane
        Lane where two stations run at once, as `lanes` names them; 0: one after the other.
    """

    station: int
    minutes: float
    soak_min: float
    lane: int = 0


@dataclass(frozen=True, slots=True)
class TimerLimits:
    """What the timer and its sensor allow.

    Parameters
    ----------
    governing_station
        Station of the sensor's zone; 0: no sensor.
    has_free_order
        Whether stations may run in any order.
    program_count
        Program letters [1].
    settle_min
        Time that the sensor takes to see a pass before the next start [min].
    start_step_min
        Start times are keyed in whole steps [min].
    done_by_min
        Time of day by which watering is best over [min after midnight].
    stops_midway
        Whether the sensor can stop a run midway; where it cannot, the order does not matter to it.
    starts_per_program
        Start times of a program letter [1]; more take further letters.
    """

    governing_station: int
    has_free_order: bool
    program_count: int
    settle_min: float
    start_step_min: int
    done_by_min: int
    stops_midway: bool = True
    starts_per_program: int = 8


@dataclass(frozen=True, slots=True)
class Letter:
    """One program letter: starts [min after midnight], runs in their order, whether for low demand.

    Where stations keep hours of their own, its days as keyed in; empty: those of the whole program.
    """

    letter: str
    starts_min: tuple[int, ...]
    runs: tuple[StationRun, ...]
    is_low: bool = False
    days: str = ""


@dataclass(frozen=True, slots=True)
class Timetable:
    """A program on the clock.

    Parameters
    ----------
    letters
        Its program letters.
    used_min, window_min
        From the first start to the last end, and the hours of the day that it lies in [min].
    needs_wire_move
        Whether the governing station cannot close its pass until two station wires are exchanged.
    cut_short
        Stations that the sensor may cut short until then.
    overrun_min
        Minutes by which it does not fit [min]; 0: it fits.
    """

    letters: tuple[Letter, ...]
    used_min: float
    window_min: float
    needs_wire_move: bool
    cut_short: tuple[int, ...]
    overrun_min: float


def timetable(
    runs: Sequence[StationRun],
    starts: int,
    choice: DayChoice,
    limits: TimerLimits,
    low_runs: Sequence[StationRun] = (),
) -> Timetable:
    """The runs of a pass, `starts` times a day, set into hours of a day choice: before noon where they fit.

    The governing station closes the pass: by order where the timer allows one, else alone in the last program
    letter, which starts when the others have ended; where neither is possible its wire has to be exchanged.

    Parameters
    ----------
    runs
        Runs of all stations; those of no minutes are left out.
    starts
        Starts of a watering day [1].
    choice
        Day pattern with its hours [min].
    limits
        What the timer allows.
    low_runs
        Runs of the letter for low demand, which starts once, before the main letter's first start.
    """
    used = sorted((run for run in runs if run.minutes > 0), key=lambda run: run.station)
    low = tuple(sorted((run for run in low_runs if run.minutes > 0), key=lambda run: run.station))
    lead = _up(sum(run.minutes for run in low), limits.start_step_min)
    side, last, cut_short = _groups(used, limits)
    # A last letter starts when the others have ended, to the minute.
    total = max((sum(run.minutes for run in lane) for lane in side), default=0.0)
    before = _up(total, 1) if last else 0
    if last:
        total = before + sum(run.minutes for run in last)
    spacing = _up(_spacing(used, total, starts, limits), limits.start_step_min)
    tried = [
        (*_start_times(block, starts, total, spacing, before, lead, limits), block)
        for block in sorted(choice.blocks, key=lambda one: one.opens_min)
    ]
    times, overrun, block = min(tried, key=lambda one: one[1])
    return Timetable(
        letters=_letters(times, side, low, last, lead, before, limits),
        used_min=lead + (times[-1] - times[0]) + total,
        window_min=float(block.closes_min - block.opens_min),
        needs_wire_move=bool(cut_short),
        cut_short=tuple(cut_short),
        overrun_min=overrun,
    )


def _letters(
    times: tuple[int, ...],
    side: Sequence[Sequence[StationRun]],
    low: Sequence[StationRun],
    last: Sequence[StationRun],
    lead: float,
    before: float,
    limits: TimerLimits,
) -> tuple[Letter, ...]:
    """Letters of the passes, of low demand, and of the governing station, in the order of the alphabet."""
    each = limits.starts_per_program
    parts = [times[at : at + each] for at in range(0, len(times), each)]
    found = [
        Letter(LETTERS[at * len(side) + lane], part, tuple(runs))
        for at, part in enumerate(parts)
        for lane, runs in enumerate(side)
    ]
    if low:
        found.append(Letter(LETTERS[len(found)], (int(times[0] - lead),), tuple(low), is_low=True))
    if last:
        # The last letters, as many as the passes take.
        at = max(limits.program_count - len(parts), len(found))
        own = [tuple(int(time + before) for time in part) for part in parts]
        found += [Letter(LETTERS[at + number], part, tuple(last)) for number, part in enumerate(own)]
    return tuple(letter for letter in found if letter.runs)


def _groups(
    used: list[StationRun], limits: TimerLimits
) -> tuple[list[list[StationRun]], list[StationRun], list[int]]:
    """Runs of the first letter, or of two side by side, of the last, and stations that may be cut short."""
    if any(run.lane for run in used):
        first, second, last = ([run for run in used if run.lane == lane] for lane in (FIRST, SECOND, LAST))
        last.sort(key=lambda run: (run.station == limits.governing_station, run.station))
        return [lane for lane in (first, second) if lane], last, []
    governing = [run for run in used if run.station == limits.governing_station]
    others = [run for run in used if run.station != limits.governing_station]
    behind = [run.station for run in others if run.station > limits.governing_station]
    if not governing or not behind:
        return [used], [], []
    if limits.has_free_order:
        return [[*others, *governing]], [], []
    if not limits.stops_midway:
        return [used], [], []
    if limits.program_count >= 2:
        return [others], governing, []
    return [used], [], behind


def _spacing(used: list[StationRun], total: float, starts: int, limits: TimerLimits) -> float:
    """Least time from one start to the next [min]."""
    if starts < 2:
        return total
    settle = limits.settle_min if limits.governing_station else 0.0
    return max(total + settle, *(run.soak_min for run in used), total)


def _start_times(
    block: Block,
    starts: int,
    total: float,
    spacing: float,
    before: float,
    lead: float,
    limits: TimerLimits,
) -> tuple[tuple[int, ...], float]:
    """Start times [min after midnight] as late as watering is best, and the minutes that do not fit."""
    step = limits.start_step_min
    closes = block.closes_min
    best_end = limits.done_by_min if block.opens_min < limits.done_by_min <= closes else closes
    # A start belongs to its own day: it may not slip past midnight, and neither may the second letter's.
    latest = MINUTES_A_DAY - step - before
    span = (starts - 1) * spacing
    opens = _up(block.opens_min, step) + lead
    for end in (best_end, closes):
        last = _down(min(end - total, latest), step)
        if last - span >= opens:
            return tuple(int(last - span + number * spacing) for number in range(starts)), 0.0
    over = opens + span - _down(min(closes - total, latest), step)
    return tuple(int(opens + number * spacing) for number in range(starts)), max(over, 1.0)


def _up(value: float, step: int) -> float:
    """The value raised to a whole step."""
    return -(-value // step) * step


def _down(value: float, step: int) -> float:
    """The value lowered to a whole step."""
    return value // step * step

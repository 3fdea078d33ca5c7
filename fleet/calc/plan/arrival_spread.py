"""How widely an arrival may fall: a route driven many times, work and ways longer or shorter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from fleet.calc.plan.travel_hours import TravelHours

FloatArray = npt.NDArray[np.float64]

# Spread of the length of work (standard deviation over mean) where no findings tell; planning assumption, no
# source. As many findings as `WEIGH` weigh as much as it.
WORK_SPREAD: Final = 0.35
WEIGH: Final = 10
# Spread of driving times on town streets; planning assumption, no source.
DRIVE_SPREAD: Final = 0.2
RUNS: Final = 4000
LOW: Final = 0.05
SHARE: Final = 0.9
STEP_S: Final = 900
LEAST_S: Final = 3600


@dataclass(frozen=True, slots=True)
class Step:
    """One stop of a day: the drive there [s], the work [s], when it may begin at the earliest [s]."""

    drive_s: float
    work_s: float
    opens_s: float
    work_spread: float = WORK_SPREAD


@dataclass(frozen=True, slots=True)
class Pause:
    """The break of a day: after how many stops the plan has it, bounds of its start [s], its length [s]."""

    after: int
    earliest_s: float
    latest_s: float
    duration_s: float


def work_spread(observed_min: Sequence[float]) -> float:
    """Spread of the length of a kind of work, drawn towards the assumed one where few were seen [1].

    Parameters
    ----------
    observed_min
        Minutes on the spot of findings [min].
    """
    seen = [minutes for minutes in observed_min if minutes > 0]
    if len(seen) < 2:
        return WORK_SPREAD
    own = float(np.std(seen, ddof=1) / np.mean(seen))
    return (len(seen) * own + WEIGH * WORK_SPREAD) / (len(seen) + WEIGH)


def arrival_span(
    *,
    leave_s: float,
    steps: Sequence[Step],
    seed: int,
    hours: TravelHours | None = None,
    pause: Pause | None = None,
) -> tuple[float, float]:
    """When service at the last step begins in nine of ten days: from and to [s].

    Work and drives are log-normal around their planned length; a garden is not entered before it opens. The
    break is taken after the stop where the plan has it, not before its earliest time; on a day so late that
    the next stop's planned work would end after its latest time it is taken before that stop.

    Parameters
    ----------
    leave_s
        When the technician leaves [s].
    steps
        Stops up to the one that is asked for, in order.
    seed
        Seed of the days.
    hours
        Hours at which driving takes longer; drives of steps are then those at other hours.
    pause
        The break; None: none is left.
    """
    rng = np.random.default_rng(seed)
    clock = np.full(RUNS, float(leave_s))
    start = clock
    is_due = np.full(RUNS, pause is not None)
    for number, step in enumerate(steps):
        trip = step.drive_s * _factor(rng, DRIVE_SPREAD)
        left, clock = clock, _arrivals(hours, clock, trip)
        if pause is not None:
            begins = np.maximum(clock, step.opens_s)
            is_now = is_due & ((number >= pause.after) | (begins + step.work_s > pause.latest_s))
            clock = np.where(is_now, _after_pause(hours, pause, left, trip), clock)
            is_due &= ~is_now
        start = np.maximum(clock, step.opens_s)
        clock = start + step.work_s * _factor(rng, step.work_spread)
    low = float(np.quantile(start, LOW))
    # Where work cannot begin sooner (a garden opens, a break waits) fewer days than that lie before.
    high = float(np.quantile(start, SHARE + float((start < low).mean())))
    return low, high


def window_of_span(*, span_s: tuple[float, float], planned_s: float) -> tuple[int, int]:
    """Hours to offer: the span rounded out to quarters of an hour, an hour at least, the plan within it [s].

    Parameters
    ----------
    span_s
        When service begins in nine of ten days [s].
    planned_s
        When the plan has it [s].
    """
    first = int(min(span_s[0], planned_s) // STEP_S) * STEP_S
    last = -int(-max(span_s[1], planned_s) // STEP_S) * STEP_S
    return first, max(last, first + LEAST_S)


def _arrivals(hours: TravelHours | None, left: FloatArray, trip: FloatArray) -> FloatArray:
    """Arrivals of trips, through the hours at which driving takes longer [s]."""
    return left + trip if hours is None else hours.arrivals(left, trip)


def _after_pause(hours: TravelHours | None, pause: Pause, left: FloatArray, trip: FloatArray) -> FloatArray:
    """When one is ready at the next stop with the break in between [s].

    The break may fall into the drive; where driving takes longer at some hours it is taken before the drive
    or after it, whichever is ready first, as the plan has it.
    """
    there: FloatArray = np.maximum(_arrivals(hours, left, trip), pause.earliest_s)
    ready = there + pause.duration_s
    if hours is None:
        return ready
    before = hours.arrivals(np.maximum(left, pause.earliest_s) + pause.duration_s, trip)
    return np.where(there <= pause.latest_s, np.minimum(ready, before), before)


def _factor(rng: np.random.Generator, spread: float) -> FloatArray:
    """Log-normal factors with mean 1 and this spread."""
    sigma2 = np.log1p(spread**2)
    return rng.lognormal(-sigma2 / 2, np.sqrt(sigma2), RUNS)

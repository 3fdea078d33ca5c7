"""What every stage is given."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class StageContext:
    """What every stage is given.

    Parameters
    ----------
    day, now, seed, scope
        The company's day, the moment, the seed, and the scope of the run.
    planning_s
        Time that the planner may take [s]; None: what the company has set.
    clock
        Tells the moment to stages that last.
    run_id
        The stage's run: long stages let its heart beat.
    is_retry
        True where an earlier try of the same run broke off: its finished parts stay done.
    """

    day: date
    now: datetime
    seed: int
    scope: str
    planning_s: float | None
    clock: Clock
    run_id: int
    is_retry: bool

"""How far the planning of a week is, for the page that watches it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from fleet.models import Planning, PlanRun

CURVE_WIDTH: Final = 240
CURVE_HEIGHT: Final = 44


@dataclass(frozen=True, slots=True)
class PlanProgress:
    """The newest planning of a week.

    Parameters
    ----------
    planning_id, state, stop
        Its row, state and the word to stop, as stored.
    is_alive
        It waits or is at work, and its heart beats.
    is_silent
        It should be at work, but nothing was heard of it for minutes.
    by, asked_at, started_at
        Who asked and when.
    seconds, elapsed_s
        Time to search, and time searched [s].
    phase
        What is done now, in words.
    served, unserved
        Visits in the best plan so far, and all others.
    value
        Value won less cost of driving of that plan [money]; None: nothing was found yet.
    curve
        Points of a line of that value over time in a box of 240 x 44, as SVG writes them.
    words
        What came of it.
    """

    planning_id: int
    state: str
    stop: str
    is_alive: bool
    is_silent: bool
    by: str
    asked_at: datetime
    started_at: datetime | None
    seconds: float
    elapsed_s: float
    seed: int
    phase: str
    served: int
    unserved: int
    value: float | None
    curve: str
    words: str

    @property
    def sentence(self) -> str:
        """Where it stands, in a sentence."""
        if self.is_silent:
            return "Nothing was heard of it for minutes: its worker seems to be gone. Plan again."
        if self.state == Planning.State.ASKED:
            return "Waits for the worker."
        if self.stop == Planning.Stop.KEEP:
            return "Stopping; the best plan so far is being written."
        if self.stop == Planning.Stop.DISCARD:
            return "Stopping; the plan stays as it was."
        return self.phase.capitalize() or "At work"


def planning_of(*, week: date, now: datetime) -> PlanProgress | None:
    """The newest planning of a week; None where there is nothing to tell of it.

    One that was written is told of by the plan itself, and one that broke or was thrown away only until the
    week is planned anew.
    """
    row = Planning.objects.filter(week=week).first()
    if row is None or row.state == Planning.State.KEPT:
        return None
    heard = row.heartbeat_at or row.asked_at
    is_open = row.state in Planning.ALIVE
    if not is_open and PlanRun.objects.filter(week=week, planned_at__gt=row.asked_at).exists():
        return None
    is_silent = row.state == Planning.State.RUNNING and now - heard > Planning.HEARTBEAT_LOST_AFTER
    course = [(float(point[0]), float(point[1])) for point in row.course]
    return PlanProgress(
        planning_id=row.pk,
        state=row.state,
        stop=row.stop,
        is_alive=is_open and not is_silent,
        is_silent=is_silent or row.state == Planning.State.LOST,
        by=row.by,
        asked_at=row.asked_at,
        started_at=row.started_at,
        seconds=row.seconds,
        elapsed_s=round((heard - row.started_at).total_seconds(), 1) if row.started_at else 0.0,
        seed=row.seed,
        phase=row.phase,
        served=row.served,
        unserved=row.unserved,
        value=course[-1][1] if course else None,
        curve=_curve(course, row.seconds),
        words=row.words,
    )


def _curve(course: list[tuple[float, float]], seconds: float) -> str:
    """The course as points of a line; empty while there are fewer than two."""
    if len(course) < 2:
        return ""
    values = [value for _, value in course]
    low, high = min(values), max(values)
    span_s, span = max(seconds, course[-1][0]), high - low or 1.0
    return " ".join(
        f"{at / span_s * CURVE_WIDTH:.1f},{CURVE_HEIGHT - 2 - (value - low) / span * (CURVE_HEIGHT - 4):.1f}"
        for at, value in course
    )

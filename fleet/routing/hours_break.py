"""Where a break lies in a gap between two stops, where driving takes longer at some hours."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.calc.plan.travel_hours import TravelHours
from fleet.routing.problem import Break


@dataclass(frozen=True, slots=True)
class Gap:
    """Time between two stops.

    Parameters
    ----------
    left_s
        When the first stop is over [s].
    trip_s
        The drive, at hours without a factor [s].
    due_s
        When the next stop begins [s].
    """

    left_s: int
    trip_s: int
    due_s: int


def ready_after_break(hours: TravelHours | None, pause: Break, left_s: int, trip_s: int) -> int | None:
    """Earliest second at the next place with the break in between; None where its hours are over.

    Parameters
    ----------
    hours
        Hours at which driving takes longer; None: at none, and then the break may fall into the drive.
    pause
        The break that is asked for.
    left_s, trip_s
        When the stop before is over, and the drive at hours without a factor [s].
    """
    first = max(left_s, pause.earliest_s)
    if first > pause.latest_s:
        return None
    if hours is None:
        return max(left_s + trip_s, pause.earliest_s) + pause.duration_s
    ready = hours.arrival(first + pause.duration_s, trip_s)
    there = max(hours.arrival(left_s, trip_s), pause.earliest_s)
    return min(ready, there + pause.duration_s) if there <= pause.latest_s else ready


def break_start(hours: TravelHours, pause: Break, gap: Gap, middle: int) -> int:
    """When the break begins [s]: before the drive or after it, as near to its middle as the gap lets it.

    Parameters
    ----------
    hours
        Hours at which driving takes longer.
    pause, gap
        The break that is asked for, and where; it fits (`ready_after_break` is no later than the gap's end).
    middle
        Middle of the break's window [s].
    """
    there = max(hours.arrival(gap.left_s, gap.trip_s), pause.earliest_s)
    here = max(gap.left_s, pause.earliest_s)
    last_there = min(pause.latest_s, gap.due_s - pause.duration_s)
    last_here = min(pause.latest_s, hours.leaving(gap.due_s, gap.trip_s) - pause.duration_s)
    options = [
        min(max(first, middle), last)
        for first, last in ((there, last_there), (here, last_here))
        if first <= last
    ]
    return min(options, key=lambda start: (abs(start - middle), start), default=here)

"""How late a technician's day runs, by where the stops stand now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from fleet.calc.running_late import Leg, expected_arrivals, late_min
from fleet.selectors.day import LateDay
from fleet.selectors.routes import StopRow

_STATES: Final = {
    "on_way": "on_the_way",
    "here": "at_the_gate",
    "done": "finished",
    "not_done": "not_possible",
}
_OVER: Final = ("done", "not_done")


def late_day(*, stops: Sequence[StopRow], now: datetime) -> LateDay:
    """What the clock says of a day's stops.

    Parameters
    ----------
    stops
        Rows of the day, the way back last.
    now
        The clock.
    """
    legs = [
        Leg(row.arrive, row.depart, row.drive_min, _STATES.get(row.state, "ahead"), row.state_at)
        for row in stops
    ]
    expected = expected_arrivals(legs, now)
    ahead = [(row, at) for row, at in zip(stops, expected, strict=True) if row.state not in _OVER]
    visits = [(row, at) for row, at in ahead if row.what == "visit"]
    late = {row.stop_id: at for row, at in visits if late_min(row.arrive, at)}
    at_risk = tuple(
        row for row, at in visits if row.window_to is not None and at > row.window_to and row.state != "here"
    )
    ends = [at for row, at in ahead if row.what == "back"]
    back = ends[0] if ends and ends[0] - stops[-1].arrive >= timedelta(minutes=1) else None
    return LateDay(
        minutes=late_min(visits[0][0].arrive, visits[0][1]) if visits else 0,
        arrivals=late,
        at_risk=at_risk,
        back=back,
    )

"""How late a technician's day runs, by where the stops stand now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from fleet.calc.plan.running_late import NOT_TOLD_MIN, Leg, expected_arrivals, late_min
from fleet.selectors.on_site.day import LateDay
from fleet.selectors.plan.routes import StopRow

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
    expected = expected_arrivals(_legs(stops), now)
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


def late_facts(*, stops: Sequence[StopRow], now: datetime, is_12_hour: bool) -> dict[str, object]:
    """The plan as the page itself reckons with it, without network; moments in ms since 1970.

    Parameters
    ----------
    stops
        Rows of the day, the way back last.
    now
        The clock: states that the phone wrote later are newer than these.
    is_12_hour
        How the reader wants times.
    """
    legs = [
        {
            "stop": row.stop_id,
            "what": row.what,
            "site": row.site,
            "arrive": _ms(row.arrive),
            "depart": _ms(row.depart),
            "drive": row.drive_min,
            "state": leg.state,
            "at": None if row.state_at is None else _ms(row.state_at),
            "until": None if row.window_to is None else _ms(row.window_to),
            "zone": round((row.arrive.utcoffset() or timedelta()).total_seconds() / 60),
        }
        for row, leg in zip(stops, _legs(stops), strict=True)
    ]
    return {"legs": legs, "now": _ms(now), "notTold": NOT_TOLD_MIN, "is12": is_12_hour}


def _legs(stops: Sequence[StopRow]) -> list[Leg]:
    """Rows as the reckoning takes them."""
    return [
        Leg(
            row.arrive,
            row.depart,
            row.drive_min,
            _STATES.get(row.state, "ahead"),
            row.state_at,
            is_break=row.what == "break",
        )
        for row in stops
    ]


def _ms(moment: datetime) -> int:
    """A moment as scripts have it [ms since 1970]."""
    return round(moment.timestamp() * 1000)

"""How late a day runs: from where the technician stands now, stop by stop to its end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

# Less than this is not told: clocks, gates and parking take as much [min].
NOT_TOLD_MIN: Final = 5


@dataclass(frozen=True, slots=True)
class Leg:
    """One stop or break of the day as planned, and where it stands.

    Parameters
    ----------
    arrive, depart
        As planned.
    drive_min
        Drive from the stop before [min].
    state
        `ahead`, `on_the_way`, `at_the_gate`, `finished`, `not_possible`; a break is `ahead`.
    state_at
        When it came into that state; None: not known.
    """

    arrive: datetime
    depart: datetime
    drive_min: float
    state: str = "ahead"
    state_at: datetime | None = None


def expected_arrivals(legs: Sequence[Leg], now: datetime) -> tuple[datetime, ...]:
    """When each leg is begun by what is known now; never before its plan, since gardens keep their hours [-].

    Parameters
    ----------
    legs
        The day in order.
    now
        The clock.
    """
    free: datetime | None = None  # when the person can leave for the next leg
    found = []
    for leg in legs:
        length = leg.depart - leg.arrive
        drive = timedelta(minutes=leg.drive_min)
        if leg.state in ("finished", "not_possible"):
            free = leg.state_at or leg.depart
            found.append(leg.arrive)
            continue
        if leg.state == "at_the_gate":
            begun = leg.state_at or leg.arrive
            found.append(begun)
            free = max(now, begun + length)
            continue
        if leg.state == "on_the_way" and leg.state_at is not None:
            begun = max(leg.state_at + drive, now, leg.arrive)
        elif free is None:
            begun = leg.arrive if now + drive <= leg.arrive else now + drive
        else:
            begun = max(max(free, now) + drive, leg.arrive)
        found.append(begun)
        free = begun + length
    return tuple(found)


def late_min(planned: datetime, expected: datetime) -> int:
    """Minutes after the plan, 0 where it is less than worth telling [min]."""
    late = round((expected - planned).total_seconds() / 60)
    return late if late >= NOT_TOLD_MIN else 0

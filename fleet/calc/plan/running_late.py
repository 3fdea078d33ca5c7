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
    is_break
        Nobody reports a break: it begins by its plan, or when the stop before it is done.
    """

    arrive: datetime
    depart: datetime
    drive_min: float
    state: str = "ahead"
    state_at: datetime | None = None
    is_break: bool = False


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
    for number, leg in enumerate(legs):
        length = leg.depart - leg.arrive
        drive = _drive_behind(legs, number)
        if leg.is_break:
            found.append(leg.arrive if free is None else max(free + _drive_before(legs, number), leg.arrive))
            free = found[-1] + length
            continue
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


def _drive_behind(legs: Sequence[Leg], number: int) -> timedelta:
    """Drive to a leg; behind a break what the plan has left of it: one may rest after it, too."""
    drive = timedelta(minutes=legs[number].drive_min)
    if number == 0 or not legs[number - 1].is_break:
        return drive
    return min(drive, max(legs[number].arrive - legs[number - 1].depart, timedelta()))


def _drive_before(legs: Sequence[Leg], number: int) -> timedelta:
    """Drive that the plan has before a break."""
    if number + 1 == len(legs):
        return timedelta()
    return timedelta(minutes=legs[number + 1].drive_min) - _drive_behind(legs, number + 1)


def late_min(planned: datetime, expected: datetime) -> int:
    """Minutes after the plan, 0 where it is less than worth telling [min]."""
    late = round((expected - planned).total_seconds() / 60)
    return late if late >= NOT_TOLD_MIN else 0

"""When visits that a contract includes are due, what a day of waiting for one costs, and how it is said.

Windows are common practice, no source; they hang on the season of the garden's location.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fleet.calc.visits.contracts import CONTRACT_WORDS, ContractYear

START_UP_DAYS: Final = 30  # from the season's first day
TEST_AHEAD_DAYS: Final = 21
WINTERIZE_AHEAD_DAYS: Final = 28
LATE_DAYS: Final = 30  # so long after its day the work still makes sense
REST_DAYS: Final = 21  # between two visits of a kind
# Below so many days left, a day of waiting costs no more: a missed visit is worth what was paid for it, once.
LEAST_DAYS_LEFT: Final = 5.0
SEASONAL: Final = ("start_up", "backflow_test", "winterize")


@dataclass(frozen=True, slots=True)
class DueWindow:
    """When an included visit is to be made.

    Parameters
    ----------
    opens
        The first day on which it makes sense.
    due_by
        The day by which it should be made.
    closes
        The day from which on it makes no sense any more.
    """

    opens: date
    due_by: date
    closes: date


def due_window(
    kind: str,
    number: int,
    included: int,
    year: ContractYear,
    season: Sequence[tuple[date, date]],
    day: date,
    last_made: date | None = None,
) -> DueWindow | None:
    """When the visit of a kind with that number is due, seen from a day; None: no more in this year.

    Start-ups from the season's first day on, backflow tests before it, winterizations before its last; the
    others spread over the days of the season, mid-season checks in the middle third of their share of it.
    Where no season is known, the whole year stands for it. Nothing is due within three weeks of the last of
    its kind, and no second one at the same end of a season.

    Parameters
    ----------
    kind
        One of `RAISED_KINDS` [-].
    number, included
        Which of how many, from 1 [-].
    year
        The contract's year.
    season
        Seasons around the year, each from its first day (start-up) to its last (winterized).
    day
        The day.
    last_made
        When the last one of its kind was made, in this year or before; None: never.
    """
    if not 1 <= number <= included:
        raise ValueError(f"number {number}, expected 1 to {included}")
    if kind in SEASONAL and season:
        ahead = (
            one
            for one in _seasonal(kind, year, season)
            if one.closes > day and (last_made is None or last_made < one.opens)
        )
        return next(ahead, None)
    spans = _season_spans(year, season)
    total = sum((end - begin).days for begin, end in spans)
    if not total:
        return None
    first, last = (total * (number - 1)) // included, (total * number) // included - 1
    last = max(first, last)
    if kind == "sensor_check":
        third = (last - first + 1) // 3
        first, last = first + third, last - third
    opens = _nth_day(spans, first)
    if last_made is not None:
        opens = max(opens, last_made + timedelta(days=REST_DAYS))
    return DueWindow(opens, max(opens, _nth_day(spans, last)), year.end)


def _seasonal(kind: str, year: ContractYear, season: Sequence[tuple[date, date]]) -> list[DueWindow]:
    """Windows of a kind that hangs on the season's ends, as far as they lie in the year."""
    found = []
    for begins, ends in season:
        if kind == "start_up":
            opens, due_by = begins, begins + timedelta(days=START_UP_DAYS)
        elif kind == "backflow_test":
            opens, due_by = begins - timedelta(days=TEST_AHEAD_DAYS), begins
        else:
            opens, due_by = ends - timedelta(days=WINTERIZE_AHEAD_DAYS), ends
        if opens < year.end and due_by >= year.start:
            closes = min(year.end, due_by + timedelta(days=LATE_DAYS))
            found.append(DueWindow(opens, min(due_by, year.last_day), closes))
    return found


def _season_spans(year: ContractYear, season: Sequence[tuple[date, date]]) -> list[tuple[date, date]]:
    """Parts of the year in a season, first day and the day after the last; all where none is known."""
    if not season:
        return [(year.start, year.end)]
    found: list[tuple[date, date]] = []
    for begins, ends in sorted(season):
        begin = max(begins, year.start, found[-1][1] if found else year.start)
        end = min(ends + timedelta(days=1), year.end)
        if begin < end:
            found.append((begin, end))
    return found


def _nth_day(spans: Sequence[tuple[date, date]], number: int) -> date:
    """The day with a number, from 0, counted over spans."""
    for begin, end in spans:
        length = (end - begin).days
        if number < length:
            return begin + timedelta(days=number)
        number -= length
    raise IndexError("no such day in the spans")


def included_visit_value(paid: float, days_left: int, least_per_day: float) -> float:
    """What a day of waiting costs of a visit that the customer has paid for [money/day].

    What was paid for it, spread over the days on which it can still be made: the same chance each day that
    it is not made in time. It grows as they run out, and never falls below what the company states.

    Parameters
    ----------
    paid
        Share of the contract's price for one of its visits [money].
    days_left
        Days on which it can still be made, the present one too [d].
    least_per_day
        Least value [money/day].
    """
    if not (paid >= 0 and least_per_day >= 0):
        raise ValueError("what was paid and the least value must be 0 or more")
    return max(least_per_day, paid / max(LEAST_DAYS_LEFT, float(days_left)))


def ordinal(number: int) -> str:
    """A number as 1st, 2nd, 3rd, 4th.

    Parameters
    ----------
    number
        1 or more [-].
    """
    tail = "th" if 10 <= number % 100 <= 20 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{tail}"


def included_words(kind: str, number: int, included: int, last_day: date) -> str:
    """Why a visit is made: `2nd of 2 mid-season checks included till 31 Mar 2027`; counts [-].

    Parameters
    ----------
    kind
        Kind of visit [-].
    number, included
        Which of how many [-].
    last_day
        Last day of the contract's year.
    """
    till = day_words(last_day)
    words = CONTRACT_WORDS[kind]
    if included == 1:
        return f"The {words.removesuffix('s') if kind != 'complaint' else words} included till {till}"
    return f"{ordinal(number)} of {included} {words} included till {till}"


def day_words(day: date) -> str:
    """A day as sentences tell it: `1 Oct 2026`.

    Parameters
    ----------
    day
        The day.
    """
    return f"{day.day} {day:%b %Y}"

"""Service contracts: their years, and what visits used of them.

How companies count is common practice, no source. A contract's year runs from its first day to the day before
its anniversary; one that begins on 29 February begins its common years on 1 March, so that no year of it is
shorter than 365 days.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

# Kinds of visit that a contract may name. The first are raised by themselves when due, the rest by a cause.
RAISED_KINDS: Final = ("start_up", "sensor_check", "audit", "backflow_test", "winterize")
CONTRACT_KINDS: Final = (*RAISED_KINDS, "program_change", "repair", "complaint")
# How contracts call them, in the plural.
CONTRACT_WORDS: Final[dict[str, str]] = {
    "start_up": "spring start-ups",
    "sensor_check": "mid-season checks",
    "audit": "audits",
    "backflow_test": "backflow tests",
    "winterize": "winterizations",
    "program_change": "program changes",
    "repair": "repairs",
    "complaint": "calls for a complaint",
}


@dataclass(frozen=True, slots=True)
class ContractYear:
    """One year of a contract.

    Parameters
    ----------
    start, end
        Its first day, and the day after its last.
    number
        0 for the contract's first year [-].
    """

    start: date
    end: date
    number: int

    @property
    def last_day(self) -> date:
        """The last day that belongs to it."""
        return self.end - timedelta(days=1)

    def holds(self, day: date) -> bool:
        """Whether a day lies in it."""
        return self.start <= day < self.end


def anniversary(start: date, years: int) -> date:
    """The same day some years later; of 29 February, 1 March in common years.

    Parameters
    ----------
    start
        The day.
    years
        How many years later [a].
    """
    try:
        return start.replace(year=start.year + years)
    except ValueError:
        return date(start.year + years, 3, 1)


def contract_year(on: date, start: date, end: date | None = None) -> ContractYear:
    """The contract's year that holds a day; a last year that the contract's end cuts short is shorter.

    Parameters
    ----------
    on
        The day, not before `start` and, where there is an end, before it.
    start
        First day of the contract.
    end
        The day after its last; None: no end is known.
    """
    if on < start or (end is not None and on >= end):
        raise ValueError(f"{on} lies outside the contract's days")
    number = on.year - start.year
    if anniversary(start, number) > on:
        number -= 1
    following = anniversary(start, number + 1)
    return ContractYear(anniversary(start, number), following if end is None else min(following, end), number)


def year_shown(today: date, start: date, end: date) -> ContractYear:
    """The year of a contract that concerns today: the running one, else its first to come, else its last.

    Parameters
    ----------
    today
        The day.
    start, end
        First day of the contract, and the day after its last.
    """
    return contract_year(max(start, min(today, end - timedelta(days=1))), start, end)


@dataclass(frozen=True, slots=True)
class VisitMade:
    """A visit that was made, without the work that the customer pays for apart.

    Parameters
    ----------
    day
        Its day.
    kinds
        Kinds of work that were done; empty: nobody said which [-].
    cost
        What it cost the company [money].
    """

    day: date
    kinds: frozenset[str]
    cost: float = 0.0


@dataclass(frozen=True, slots=True)
class KindUse:
    """One kind of visit in a contract's year.

    Parameters
    ----------
    kind
        Kind of visit; empty: those of any kind [-].
    included, used
        How many the contract includes, and how many were made [-].
    """

    kind: str
    included: int
    used: int

    @property
    def left(self) -> int:
        """Included visits that were not made yet [-]."""
        return max(0, self.included - self.used)

    @property
    def over(self) -> int:
        """Visits made beyond those included [-]."""
        return max(0, self.used - self.included)


@dataclass(frozen=True, slots=True)
class ContractUse:
    """A contract's year by kind.

    Parameters
    ----------
    kinds
        The kinds that the contract names.
    any_kind
        Visits of other kinds, and those beyond their own kind, against what is included of any kind.
    made
        Visits that count, each once [-].
    beyond
        Visits beyond all that is included [-].
    beyond_cost
        What those cost the company [money].
    costs_planned
        How many of those were made before the book kept visits, at their planned cost without driving [-].
    """

    kinds: tuple[KindUse, ...]
    any_kind: KindUse
    made: int
    beyond: int = 0
    beyond_cost: float = 0.0
    costs_planned: int = 0

    @property
    def included(self) -> int:
        """All that is included [-]."""
        return self.any_kind.included + sum(one.included for one in self.kinds)

    @property
    def left(self) -> int:
        """Included visits that were not made yet [-]."""
        return self.any_kind.left + sum(one.left for one in self.kinds)


def contract_use(
    included: Mapping[str, int],
    any_kind: int,
    visits: Iterable[VisitMade],
    before: Mapping[str, int] | None = None,
    planned_cost: Mapping[str, float] | None = None,
) -> ContractUse:
    """What visits used of a contract's year.

    Each kind that a visit met uses one of that kind. A visit of kinds that the contract does not name, or of
    which a kind is used up, uses one of any kind; where none is left it is beyond the contract. Work that
    comes along with an included visit uses nothing.

    Parameters
    ----------
    included
        Included visits by kind, those named only [-].
    any_kind
        Included visits of any kind beside them [-].
    visits
        Visits made in the year.
    before
        Visits of the year that were made before the book kept them, by kind; empty kind: any [-].
    planned_cost
        What one of those costs as planned, by kind [money].
    """
    given = before or {}
    used = {kind: given.get(kind, 0) for kind in included}
    short = ["" for kind, count in given.items() if kind not in included for _ in range(count)]
    short += [kind for kind, most in included.items() for _ in range(max(0, used[kind] - most))]
    pool, old = len(short), short[any_kind:]
    beyond, made = len(old), sum(given.values())
    cost = sum((planned_cost or {}).get(kind, 0.0) for kind in old)
    for visit in sorted(visits, key=lambda one: one.day):
        made += 1
        named = [kind for kind in visit.kinds if kind in included]
        is_short = not named
        for kind in named:
            used[kind] += 1
            is_short = is_short or used[kind] > included[kind]
        if is_short:
            pool += 1
            if pool > any_kind:
                beyond += 1
                cost += visit.cost
    return ContractUse(
        tuple(KindUse(kind, most, used[kind]) for kind, most in included.items()),
        KindUse("", any_kind, pool),
        made,
        beyond,
        cost,
        len(old),
    )

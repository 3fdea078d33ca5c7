"""What is said of a contract, and the same as flat facts: for its columns, its lines and the history."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final

from fleet.calc.visits.contracts import CONTRACT_KINDS, anniversary
from fleet.models import ContractVisits, ServiceContract
from sites.services.history import ChangeNote

KIND: Final = "contract"
MOST_VISITS: Final = 99
MOST_NOTICE_DAYS: Final = 730
MOST_YEARS: Final = 20


class BadContract(ValueError):
    """A contract that cannot be kept; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class ContractInput:
    """What a person or a file says of a contract.

    Parameters
    ----------
    starts_on, last_day
        First and last day, both belong to it.
    price
        A year [money].
    currency
        Three letters.
    notice_days
        Days before its end by which whoever does not renew says so [d].
    any_kind
        Visits of any kind included a year, beside those named.
    visits
        Included visits a year by kind.
    used_any, used
        Visits of the present year made before the book kept them.
    ended_why
        Why it ended before its term; empty: it did not.
    """

    starts_on: date
    last_day: date
    price: float
    currency: str
    notice_days: int = 30
    any_kind: int = 0
    visits: Mapping[str, int] = field(default_factory=dict)
    used_any: int = 0
    used: Mapping[str, int] = field(default_factory=dict)
    ended_why: str = ""

    def __post_init__(self) -> None:
        if self.last_day < self.starts_on:
            raise BadContract("last day: it lies before the first")
        if self.last_day >= anniversary(self.starts_on, MOST_YEARS):
            raise BadContract(f"last day: expected at most {MOST_YEARS} years after the first")
        if not 0 <= self.price <= 1e7:
            raise BadContract("price: expected a number from 0 to 10,000,000")
        if len(self.currency) != 3 or not self.currency.isalpha() or not self.currency.isascii():
            raise BadContract("currency: expected three letters (ISO 4217)")
        if not 0 <= self.notice_days <= MOST_NOTICE_DAYS:
            raise BadContract(f"notice: expected days from 0 to {MOST_NOTICE_DAYS}")
        if bad := {*self.visits, *self.used} - set(CONTRACT_KINDS):
            raise BadContract(f"visits: {sorted(bad)[0]} is no kind that a contract includes")
        counts = (self.any_kind, self.used_any, *self.visits.values(), *self.used.values())
        if not all(0 <= count <= MOST_VISITS for count in counts):
            raise BadContract(f"visits: expected whole numbers from 0 to {MOST_VISITS}")
        if lone := [kind for kind, count in self.used.items() if count and not self.visits.get(kind)]:
            raise BadContract(f"used: the contract includes no {lone[0]}; count these under any kind")


def facts_of(row: ServiceContract) -> dict[str, Any]:
    """What the history keeps of a contract: flat, so that each count stands by itself."""
    lines = {line.kind: line for line in row.included.all()}
    facts: dict[str, Any] = {
        "first_day": row.starts_on.isoformat(),
        "last_day": (row.ends_on - timedelta(days=1)).isoformat(),
        "price": row.price,
        "currency": row.currency,
        "notice_days": row.notice_days,
        "ended_why": row.ended_why,
        "visits_any_kind": row.visits_included,
        "used_any_kind": row.used_before,
        "used_as_of": row.used_as_of.isoformat() if row.used_as_of else None,
    }
    for kind in CONTRACT_KINDS:
        facts[f"visits_{kind}"] = lines[kind].count if kind in lines else 0
        facts[f"used_{kind}"] = lines[kind].used_before if kind in lines else 0
    return facts


def said_facts(contract: ContractInput, held: Mapping[str, Any], day: date) -> dict[str, Any]:
    """What was said of a contract as the history keeps it; visits used so far count as of the day of change.

    Parameters
    ----------
    contract
        What was said.
    held
        Facts of the stored one; empty: it is new.
    day
        The day.
    """
    facts: dict[str, Any] = {
        "first_day": contract.starts_on.isoformat(),
        "last_day": contract.last_day.isoformat(),
        "price": contract.price,
        "currency": contract.currency.upper(),
        "notice_days": contract.notice_days,
        "ended_why": contract.ended_why.strip()[:200],
        "visits_any_kind": contract.any_kind,
        "used_any_kind": contract.used_any,
        **{f"visits_{kind}": contract.visits.get(kind, 0) for kind in CONTRACT_KINDS},
        **{f"used_{kind}": contract.used.get(kind, 0) for kind in CONTRACT_KINDS},
    }
    used = {name: count for name, count in facts.items() if name.startswith("used_")}
    if not any(used.values()):
        facts["used_as_of"] = None
    elif all(held.get(name) == count for name, count in used.items()):
        facts["used_as_of"] = held["used_as_of"]
    else:
        facts["used_as_of"] = day.isoformat()
    return facts


def lay_columns(row: ServiceContract, facts: Mapping[str, Any]) -> None:
    """Write facts into the columns of a row that the caller saves."""
    row.starts_on = date.fromisoformat(facts["first_day"])
    row.ends_on = date.fromisoformat(facts["last_day"]) + timedelta(days=1)
    row.price, row.currency, row.notice_days = facts["price"], facts["currency"], facts["notice_days"]
    row.ended_why = facts["ended_why"]
    row.visits_included, row.used_before = facts["visits_any_kind"], facts["used_any_kind"]
    row.used_as_of = date.fromisoformat(facts["used_as_of"]) if facts["used_as_of"] else None


def lines_of(row: ServiceContract, facts: Mapping[str, Any]) -> list[ContractVisits]:
    """The lines by kind that facts tell of."""
    return [
        ContractVisits(contract=row, kind=kind, count=count, used_before=facts[f"used_{kind}"])
        for kind in CONTRACT_KINDS
        if (count := facts[f"visits_{kind}"])
    ]


def note_of(
    row: ServiceContract, before: Mapping[str, Any] | None, after: Mapping[str, Any], reason: str = ""
) -> ChangeNote:
    """What differs between two states of a contract, None before: it is new."""
    code = row.site.code
    old = None if before is None else {name: value for name, value in before.items() if after[name] != value}
    new = {
        name: value
        for name, value in after.items()
        if (value not in (0, "", None) if before is None else before[name] != value)
    }
    return ChangeNote(KIND, f"{code}/{row.starts_on}", code, old, new, reason, row.pk)

"""Everything that the data of a day want visited, each reason once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Final

from fleet.calc.visits.settings import VisitSettings
from fleet.models import VisitNeed
from fleet.services.visits.need_contracts import contract_wants
from fleet.services.visits.need_season import season_wants
from fleet.services.visits.need_wants import wanted_needs
from fleet.services.visits.wanted import Cause, Wanted

LONGEST: Final = 400


def all_wants(*, day: date, settings: VisitSettings) -> list[Wanted]:
    """Wants of flags, programs, logs, leaks, audits, season and contracts; one a cause."""
    return joined([
        *wanted_needs(day=day, settings=settings),
        *season_wants(day=day, settings=settings),
        *contract_wants(day=day, settings=settings),
    ])  # fmt: skip


def joined(wants: Iterable[Wanted]) -> list[Wanted]:
    """Wants of which those that ask for the same job are one, with all reasons and all that is at stake.

    A visit that both calendar and contract ask for is the contract's: the customer has paid for it.
    """
    found: dict[Cause, Wanted] = {}
    for want in wants:
        known = found.get(want.cause)
        found[want.cause] = want if known is None else _both(known, want)
    return list(found.values())


def _both(one: Wanted, other: Wanted) -> Wanted:
    """Two wants of the same job as one; the longer reason gives way where both are too long for the book."""
    first, second = (other, one) if other.origin == VisitNeed.Origin.CONTRACT else (one, other)
    if second.reason in first.reason:
        reason = first.reason
    else:
        room = LONGEST - len(first.reason) - 1
        reason = f"{first.reason} {second.reason[:room]}" if room > 0 else first.reason[:LONGEST]
    parts = dict(first.value_parts)
    for name, value in second.value_parts.items():
        parts[name] = round(parts.get(name, 0.0) + value, 2)
    return replace(first, reason=reason, value_parts=parts)

"""Writes service contracts: entered, changed, ended, renewed; each deed goes to the history and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from fleet.calc.visits.contracts import anniversary
from fleet.models import ContractVisits, ServiceContract
from fleet.services.visits.contract_facts import (
    KIND,
    MOST_YEARS,
    BadContract,
    ContractInput,
    facts_of,
    lay_columns,
    lines_of,
    note_of,
    said_facts,
)
from sites.models import Change, Site
from sites.services.history import ChangeNote, record_changes

__all__ = ["BadContract", "ContractChanged", "ContractInput"]


@dataclass(frozen=True, slots=True)
class ContractChanged:
    """A contract after a deed; `changed` names what is another now, empty where nothing is."""

    contract_id: int | None
    site_code: str
    changed: tuple[str, ...]


@transaction.atomic
def save_contract(
    *, contract_id: int | None, site_id: int, contract: ContractInput, by: str, now: datetime, day: date
) -> ContractChanged:
    """Keep a contract, new where there is no id; raises `BadContract`."""
    row = _row(contract_id) if contract_id is not None else ServiceContract(site_id=site_id)
    if row.site_id != site_id:
        raise BadContract("garden: a contract stays with its garden; enter a new one")
    before = facts_of(row) if contract_id is not None else None
    _lay_over(row, contract, day)
    return _noted(row, before, by, now)


@transaction.atomic
def end_contract(*, contract_id: int, last_day: date, why: str, by: str, now: datetime) -> ContractChanged:
    """End a contract before its term, with the reason; raises `BadContract`."""
    row = _row(contract_id)
    if not why.strip():
        raise BadContract("why: say in a few words why it ends")
    if not row.starts_on <= last_day < row.ends_on - timedelta(days=1):
        raise BadContract(
            f"last day: expected a day from {row.starts_on} on, before its present last day, "
            f"{row.ends_on - timedelta(days=1)}"
        )
    before = facts_of(row)
    row.ends_on, row.ended_why = last_day + timedelta(days=1), why.strip()[:200]
    row.save(update_fields=["ends_on", "ended_why"])
    return _noted(row, before, by, now, reason=row.ended_why)


@transaction.atomic
def renew_contract(
    *, contract_id: int, years: int, price: float, by: str, now: datetime, day: date
) -> ContractChanged:
    """A contract that follows another without a gap and includes the same; raises `BadContract`."""
    old = _row(contract_id)
    if not 1 <= years <= MOST_YEARS:
        raise BadContract(f"years: expected a whole number from 1 to {MOST_YEARS}")
    contract = ContractInput(
        starts_on=old.ends_on,
        last_day=anniversary(old.ends_on, years) - timedelta(days=1),
        price=price,
        currency=old.currency,
        notice_days=old.notice_days,
        any_kind=old.visits_included,
        visits={line.kind: line.count for line in old.included.all()},
    )
    return save_contract(contract_id=None, site_id=old.site_id, contract=contract, by=by, now=now, day=day)


@transaction.atomic
def put_back_contract(*, change_id: int, by: str, now: datetime) -> ContractChanged:
    """A contract as before an entry of the history; itself an entry. Raises `BadContract`.

    What was entered is taken out, what was taken out comes back, what was changed gets its old values.
    """
    entry = Change.objects.filter(pk=change_id, kind=KIND).first()
    if entry is None:
        raise BadContract("This entry tells of nothing that can be put back.")
    row = ServiceContract.objects.select_for_update().filter(pk=entry.thing_id or 0).first()
    reason = f"as before the change of {entry.at:%Y-%m-%d %H:%M} UTC"
    if entry.action == Change.Action.ADDED:
        return _taken_out(row, by, now, reason)
    if entry.action == Change.Action.REMOVED:
        return _brought_back(entry, by, now, reason)
    if row is None:
        raise BadContract("This contract is not there any more.")
    before = facts_of(row)
    facts = {**before, **(entry.before or {})}
    if facts == before:
        raise BadContract("All is as it was before this change already.")
    _lay_facts(row, facts)
    return _noted(row, before, by, now, reason=reason)


def _row(contract_id: int) -> ServiceContract:
    """The contract, held until the end of the deed."""
    row = ServiceContract.objects.select_for_update().filter(pk=contract_id).first()
    if row is None:
        raise BadContract("This contract is not there any more.")
    return row


def _check_overlap(pk: int | None, site_id: int, first: date, last: date) -> None:
    """Raise where another contract of the garden has some of the days."""
    other = (
        ServiceContract.objects.filter(site_id=site_id, starts_on__lte=last, ends_on__gt=first)
        .exclude(pk=pk or 0)
        .first()
    )
    if other is not None:
        raise BadContract(
            f"first day: this garden has a contract from {other.starts_on} to "
            f"{other.ends_on - timedelta(days=1)} already; expected days beside it"
        )


def _lay_over(row: ServiceContract, contract: ContractInput, day: date) -> None:
    """Write what was said into row and lines."""
    _lay_facts(row, said_facts(contract, facts_of(row) if row.pk else {}, day))


def _lay_facts(row: ServiceContract, facts: Mapping[str, Any]) -> None:
    """Write facts into row and lines."""
    lay_columns(row, facts)
    _check_overlap(row.pk, row.site_id, row.starts_on, row.ends_on - timedelta(days=1))
    row.save()
    row.included.all().delete()
    ContractVisits.objects.bulk_create(lines_of(row, facts))


def _noted(
    row: ServiceContract, before: Mapping[str, Any] | None, by: str, now: datetime, reason: str = ""
) -> ContractChanged:
    """Keep in the history what differs; of a new contract, what it has."""
    note = note_of(row, before, facts_of(row), reason)
    if note.after:
        record_changes(notes=[note], by=by, at=now)
    return ContractChanged(row.pk, row.site.code, tuple(note.after or ()))


def _taken_out(row: ServiceContract | None, by: str, now: datetime, reason: str) -> ContractChanged:
    """Take a contract out that was entered."""
    if row is None:
        raise BadContract("This contract was taken out already.")
    code, facts = row.site.code, facts_of(row)
    note = ChangeNote(KIND, f"{code}/{row.starts_on}", code, facts, None, reason, row.pk)
    row.delete()
    record_changes(notes=[note], by=by, at=now)
    return ContractChanged(None, code, tuple(facts))


def _brought_back(entry: Change, by: str, now: datetime, reason: str) -> ContractChanged:
    """Bring a contract back that was taken out, under its old number."""
    if ServiceContract.objects.filter(pk=entry.thing_id or 0).exists():
        raise BadContract("This contract is there already.")
    site = Site.objects.filter(code=entry.site_code).first()
    if site is None:
        raise BadContract("Its garden is not in the book any more.")
    row = ServiceContract(pk=entry.thing_id, site=site)
    _lay_facts(row, entry.before or {})
    return _noted(row, None, by, now, reason=reason)

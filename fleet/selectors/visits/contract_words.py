"""Contracts in words: kinds, and what was changed of one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from fleet.calc.visits.contract_due import day_words
from fleet.calc.visits.contracts import CONTRACT_KINDS, CONTRACT_WORDS
from fleet.models import VisitKind
from sites.models import Change

CHANGES_SHOWN: Final = 20
WORDS: Final = {
    "first_day": "first day", "last_day": "last day", "price": "price a year", "currency": "currency",
    "notice_days": "notice, days", "ended_why": "why it ended", "visits_any_kind": "visits of any kind",
    "used_any_kind": "made already, of any kind", "used_as_of": "made already, as of",
    **{f"visits_{kind}": CONTRACT_WORDS[kind] for kind in CONTRACT_KINDS},
    **{f"used_{kind}": f"{CONTRACT_WORDS[kind]} made already" for kind in CONTRACT_KINDS},
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class ContractChange:
    """One entry of a contract's history, in words."""

    pk: int
    at: datetime
    by: str
    head: str
    reason: str
    steps: tuple[tuple[str, str, str], ...]  # what, before, after; before is empty where it was entered


def contract_changes(*, contract_id: int) -> tuple[ContractChange, ...]:
    """The newest changes of a contract."""
    rows = Change.objects.filter(kind="contract", thing_id=contract_id).order_by("-at", "-pk")
    return tuple(_change(row) for row in rows[:CHANGES_SHOWN])


def kind_word(kind: str) -> str:
    """A kind of visit in words."""
    return str(dict(VisitKind.choices).get(kind, kind))


def _change(row: Change) -> ContractChange:
    """One entry."""
    before, after = row.before or {}, row.after or {}
    head = {"added": "entered", "removed": "taken out"}.get(row.action, "changed")
    names = [name for name in WORDS if name in before or name in after]
    steps = tuple(
        (WORDS[name], _said(before.get(name)) if row.before else "", _said(after.get(name)))
        for name in names
        if row.action != Change.Action.REMOVED
    )
    return ContractChange(row.pk, row.at, row.by, head, row.reason, steps)


def _said(value: Any) -> str:
    """A stored value as people say it."""
    if value in ("", None):
        return "none"
    if isinstance(value, str) and len(value) == 10 and value[4:5] == "-":
        return day_words(date.fromisoformat(value))
    return f"{value:g}" if isinstance(value, float) else str(value)

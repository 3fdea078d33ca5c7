"""Which gardens the ledger cannot judge, which reads it left out, and what would mend that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, Max, Q

from fleet.calc.ledger_reasons import READ_PROBLEMS, SEVERAL_CONTROLLERS, mend_of, reason_words
from fleet.models import LedgerMonth, LedgerSite

ROWS_A_PAGE: Final = 40
MONTHS_BACK: Final = 12


@dataclass(frozen=True, slots=True)
class Gap:
    """A garden with what is missing or wrong, and the deed that mends it."""

    code: str
    name: str
    what: str
    where: str
    deed: str
    month: date | None


@dataclass(frozen=True, slots=True)
class GapKind:
    """What is missing, at how many gardens, and what would mend it."""

    key: str
    what: str
    count: int
    where: str
    deed: str


@dataclass(frozen=True, slots=True)
class GapPage:
    """What the page shows."""

    gardens: int
    kinds: list[GapKind]
    chosen: str
    pager: Page[tuple[str, str, str]]
    listed: list[Gap]
    left_out: list[Gap]
    told_less: list[Gap]
    since: date | None


def gap_page(*, kind: str, number: int) -> GapPage:
    """Gardens whose savings cannot be told, all or of one kind, and reads left out in the last year.

    Parameters
    ----------
    kind
        Name of what is missing; empty or unknown for all.
    number
        Page of the list.
    """
    rows = LedgerSite.objects.exclude(verdict="")
    counts = dict(rows.order_by().values_list("verdict").annotate(n=Count("pk")))
    kinds = [GapKind(key, reason_words(key), n, *mend_of(key)) for key, n in counts.items()]
    chosen = kind if kind in counts else ""
    some = rows.filter(verdict=chosen) if chosen else rows
    pager = Paginator(
        some.order_by("site__code").values_list("site__code", "site__name", "verdict"), ROWS_A_PAGE
    ).get_page(number)
    since = _since()
    return GapPage(
        gardens=sum(counts.values()),
        kinds=sorted(kinds, key=lambda row: (-row.count, row.what)),
        chosen=chosen,
        pager=pager,
        listed=[Gap(code, name, reason_words(word), *mend_of(word), None) for code, name, word in pager],
        left_out=_noted(since, READ_PROBLEMS),
        told_less=_noted(since, (SEVERAL_CONTROLLERS,)),
        since=since,
    )


def _since() -> date | None:
    """First of the newest twelve months of the ledger."""
    newest: date | None = LedgerMonth.objects.aggregate(newest=Max("month"))["newest"]
    if newest is None:
        return None
    months = newest.year * 12 + newest.month - MONTHS_BACK
    return date(months // 12, months % 12 + 1, 1)


def _noted(since: date | None, codes: Sequence[str]) -> list[Gap]:
    """What the months name of some codes, the newest of each garden and code, at most 100."""
    if since is None:
        return []
    wrong = Q()
    for code in codes:
        wrong |= Q(reasons__contains=code)
    rows = (
        LedgerMonth.objects.filter(wrong, month__gte=since)
        .order_by("-month", "site__code")
        .values_list("site__code", "site__name", "reasons", "month")[:400]
    )
    found: dict[tuple[str, str], Gap] = {}
    for code, name, reasons, month in rows:
        for word in reasons.split(";"):
            if word in codes:
                found.setdefault((code, word), Gap(code, name, reason_words(word), *mend_of(word), month))
    return list(found.values())[:100]

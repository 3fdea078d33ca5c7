"""Which gardens the ledger cannot judge, which reads it left out, and what would mend that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.core.paginator import Page, Paginator
from django.db.models import Count

from fleet.calc.ledger.reasons import mend_of, reason_words
from fleet.models import LedgerPortfolio, LedgerSite
from sites.models import Site

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
    whole = LedgerPortfolio.objects.filter(values__has_key="left_out").first()
    noted = whole.values if whole is not None else {}
    names = _names([pk for key in ("left_out", "told_less") for pk, _, _ in noted.get(key, [])])
    return GapPage(
        gardens=sum(counts.values()),
        kinds=sorted(kinds, key=lambda row: (-row.count, row.what)),
        chosen=chosen,
        pager=pager,
        listed=[Gap(code, name, reason_words(word), *mend_of(word), None) for code, name, word in pager],
        left_out=_noted(noted.get("left_out", []), names),
        told_less=_noted(noted.get("told_less", []), names),
        since=_since(whole),
    )


def _since(whole: LedgerPortfolio | None) -> date | None:
    """First of the newest twelve months of the ledger."""
    if whole is None:
        return None
    last = whole.period_end - timedelta(days=1)
    months = last.year * 12 + last.month - MONTHS_BACK
    return date(months // 12, months % 12 + 1, 1)


def _names(site_ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Code and name of some gardens."""
    rows = Site.objects.filter(pk__in=site_ids).values_list("pk", "code", "name")
    return {pk: (code, name) for pk, code, name in rows}


def _noted(faults: Sequence[tuple[int, str, str]], names: dict[int, tuple[str, str]]) -> list[Gap]:
    """What the night noted of gardens that are still in the book: the newest of each garden and fault."""
    return [
        Gap(*names[pk], reason_words(code), *mend_of(code), date.fromisoformat(month))
        for pk, code, month in faults
        if pk in names
    ]

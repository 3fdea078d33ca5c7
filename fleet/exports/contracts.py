"""Service contracts as the contracts file has them, so that a file that goes out comes back unchanged."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from fleet.calc.visits.contracts import CONTRACT_KINDS
from fleet.importing.contracts import COLUMNS as FILE_COLUMNS
from fleet.models import ServiceContract

COLUMNS: Final = tuple(column.name for column in FILE_COLUMNS)


def rows(*, private: bool = False) -> Iterator[dict[str, object]]:
    """All contracts by garden and first day.

    Parameters
    ----------
    private
        Not looked at: contracts name no contact and no code.
    """
    del private
    contracts = ServiceContract.objects.select_related("site").prefetch_related("included")
    for one in contracts.order_by("site__code", "starts_on").iterator(chunk_size=2_000):
        lines = {line.kind: line for line in one.included.all()}
        yield {
            "site": one.site.code,
            "first_day": one.starts_on.isoformat(),
            "last_day": (one.ends_on - timedelta(days=1)).isoformat(),
            "price_per_year": one.price,
            "currency": one.currency,
            "notice_days": one.notice_days,
            "visits_any_kind": one.visits_included,
            **{f"visits_{kind}": lines[kind].count if kind in lines else 0 for kind in CONTRACT_KINDS},
            "used_any_kind": one.used_before,
            **{f"used_{kind}": lines[kind].used_before if kind in lines else 0 for kind in CONTRACT_KINDS},
            "ended_why": one.ended_why,
        }

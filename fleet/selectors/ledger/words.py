"""Words by which the ledger's gardens are grouped."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import Final

from django.db.models import Count, Sum

from fleet.models import Stop
from fleet.selectors.ledger.inputs import LedgerBook
from sites.models import Zone
from sites.models.choices import Head, Soil

GROUPINGS: Final = ("supplier", "soil", "neighbourhood", "crew", "head")


def group_words(*, book: LedgerBook, until_day: date) -> dict[str, list[str]]:
    """A word for each garden of the book and grouping, empty where there is none; `all` holds every garden.

    The neighbourhood is what stands before the first hyphen of a garden's code. The crew is the technician
    who finished most stops there in the year before; the head is that of the largest planted area.

    Parameters
    ----------
    book
        The gardens, in their order.
    until_day
        Last day that counts.
    """
    ids = book.site_ids.tolist()
    crew, head = _crews(until_day), _heads()
    soils = dict(Soil.choices)
    return {
        "all": ["all"] * len(ids),
        "supplier": book.suppliers,
        "soil": [str(soils.get(word, word)) for word in book.soils],
        "neighbourhood": [code.partition("-")[0] if "-" in code else "" for code in book.codes],
        "crew": [crew.get(pk, "") for pk in ids],
        "head": [head.get(pk, "") for pk in ids],
    }


def _crews(until_day: date) -> dict[int, str]:
    """Technician with most finished stops at each garden in the last year."""
    rows = (
        Stop.objects.filter(
            state=Stop.State.FINISHED,
            route__day__gt=until_day - timedelta(days=365),
            route__day__lte=until_day,
            visit__isnull=False,
        )
        .order_by()
        .values_list("visit__site_id", "route__technician__name")
        .annotate(n=Count("pk"))
    )
    most: dict[int, tuple[int, str]] = {}
    for pk, name, count in rows:
        # of equals the first by name, so that two runs say the same
        most[pk] = min(most.get(pk, (0, "")), (-count, name))
    return {pk: name for pk, (_, name) in most.items()}


def _heads() -> dict[int, str]:
    """Head of the largest planted area of each garden."""
    words = dict(Head.choices)
    areas: dict[int, list[tuple[float, str]]] = defaultdict(list)
    rows = Zone.objects.order_by().values_list("controller__site_id", "head").annotate(area=Sum("area_m2"))
    for pk, head, area in rows:
        areas[pk].append((-area, str(words.get(head, head))))
    return {pk: min(found)[1] for pk, found in areas.items()}

"""Search by site, address, customer."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Case, IntegerField, Q, Value, When

from fleet.selectors.site_map import site_shapes
from sites.models import Site

MOST_HITS = 50


@dataclass(frozen=True, slots=True)
class SearchHit:
    """A site that answers the search. `shape` is one of ok, act, watch, few, rest."""

    code: str
    name: str
    address: str
    customer: str
    phone: str
    shape: str


@dataclass(frozen=True, slots=True)
class SearchAnswer:
    """The best hits first, and how many there are in all."""

    hits: tuple[SearchHit, ...]
    total: int


def search_sites(*, text: str) -> SearchAnswer:
    """Return the sites whose code, name, address or customer holds every word of `text`."""
    words = text.split()
    if not words:
        return SearchAnswer(hits=(), total=0)
    rows = Site.objects.all()
    for word in words:
        rows = rows.filter(
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(address__icontains=word)
            | Q(customer__icontains=word)
        )
    whole = text.strip()
    rank = Case(
        When(code__iexact=whole, then=Value(0)),
        When(code__istartswith=whole, then=Value(1)),
        When(Q(name__istartswith=whole) | Q(customer__istartswith=whole), then=Value(2)),
        default=Value(3),
        output_field=IntegerField(),
    )
    best = list(rows.annotate(rank=rank).order_by("rank", "code")[:MOST_HITS])
    total = len(best) if len(best) < MOST_HITS else rows.count()
    shapes = site_shapes(site_ids=[site.pk for site in best])
    hits = tuple(
        SearchHit(
            code=site.code,
            name=site.name,
            address=site.address,
            customer=site.customer,
            phone=site.phone,
            shape=shapes.get(site.pk, "few"),
        )
        for site in best
    )
    return SearchAnswer(hits=hits, total=total)

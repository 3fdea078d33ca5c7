"""Search by site, address, customer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Case, IntegerField, Q, Value, When

from fleet.models import Technician, User
from fleet.selectors.site.access import sites_for
from fleet.selectors.site.map import site_shapes

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


@dataclass(frozen=True, slots=True)
class PersonHit:
    """A technician whose day can be opened."""

    code: str
    name: str


def search_people(*, text: str, user: User, most: int = 8) -> tuple[PersonHit, ...]:
    """Return the technicians whose name or code holds every word; to dispatcher and administrator only."""
    words = text.split()
    if not words or user.role not in (User.Role.DISPATCHER, User.Role.ADMINISTRATOR):
        return ()
    rows = Technician.objects.filter(is_active=True)
    for word in words:
        rows = rows.filter(Q(name__icontains=word) | Q(code__icontains=word))
    return tuple(PersonHit(code, name) for code, name in rows.values_list("code", "name")[:most])


def search_sites(*, text: str, user: User, today: date, most: int = MOST_HITS) -> SearchAnswer:
    """Return the sites, of those this person may open, whose words hold every word of `text`."""
    words = text.split()
    if not words:
        return SearchAnswer(hits=(), total=0)
    rows = sites_for(user=user, today=today)
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
    best = list(rows.annotate(rank=rank).order_by("rank", "code")[:most])
    total = len(best) if len(best) < most else rows.count()
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

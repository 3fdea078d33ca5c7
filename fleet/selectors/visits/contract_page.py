"""The list of all contracts by renewal, and one contract with everything that belongs to it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef, Q, QuerySet

from fleet.calc.visits.contracts import CONTRACT_KINDS, contract_year
from fleet.models import ServiceContract, VisitNeed
from fleet.selectors.choice import Choice
from fleet.selectors.company.company import the_company
from fleet.selectors.visits.contract_words import ContractChange, contract_changes, kind_word
from fleet.selectors.visits.contracts import (
    ContractStanding,
    CountedVisit,
    contract_uses,
    finished_visits,
    standings,
)
from sites.models import Site

PAGE_SIZE: Final = 50
YEARS_SHOWN: Final = 5
# Filters of the list: word, and which contracts that run or are to come it leaves.
SHOWS: Final[dict[str, tuple[str, Callable[[ContractStanding], bool]]]] = {
    "all": ("Running", lambda _: True),
    "due": ("Renewal due in 90 days", lambda one: one.is_due),
    "over": ("Used more than included", lambda one: one.use.beyond > 0),
    "unused": ("Nothing used yet", lambda one: one.is_unused),
}
ENDED: Final = "ended"


@dataclass(frozen=True, slots=True)
class ContractList:
    """One page of contracts, the next to end first."""

    rows: Sequence[ContractStanding]
    page: Page[Any]
    shows: tuple[Choice, ...]
    show: str
    running: int
    due: int
    price: float  # of those that run, a year
    beyond: int
    beyond_cost: float
    costs_planned: int
    without: int  # gardens that have none
    currency: str


def contract_list(*, show: str, words: str, today: date, number: int) -> ContractList:
    """Contracts under a filter, by renewal: those that run or are to come, or those that ended.

    Everything is read in a fixed number of queries, whatever the number of gardens.
    """
    all_rows = _answering(ServiceContract.objects.order_by("ends_on", "site__code", "starts_on"), words)
    live = standings(contracts=list(all_rows.filter(ends_on__gt=today)), today=today)
    found = {key: [one for one in live if fits(one)] for key, (_, fits) in SHOWS.items()}
    newer = ServiceContract.objects.filter(site=OuterRef("site"), ends_on__gt=OuterRef("ends_on"))
    ended = all_rows.filter(ends_on__lte=today).exclude(Exists(newer)).order_by("-ends_on", "site__code")
    show = show if show in {*SHOWS, ENDED} else "all"
    page: Page[Any]
    if show == ENDED:
        page = Paginator(ended, PAGE_SIZE).get_page(number)
        rows = standings(contracts=list(page.object_list), today=today)
    else:
        page = Paginator(found[show], PAGE_SIZE).get_page(number)
        rows = list(page.object_list)
    sites = Site.objects.only("code", "name").in_bulk([one.contract.site_id for one in rows])
    for one in rows:
        one.contract.site = sites[one.contract.site_id]
    running = [one for one in live if not one.is_ahead]
    company = the_company()
    return ContractList(
        rows=rows,
        page=page,
        shows=(
            *(Choice(key, word, len(found[key])) for key, (word, _) in SHOWS.items()),
            Choice(ENDED, "Ended, not renewed", ended.count()),
        ),
        show=show,
        running=len(running),
        due=len(found["due"]),
        price=sum(one.contract.price for one in running),
        beyond=sum(one.use.beyond for one in live),
        beyond_cost=sum(one.use.beyond_cost for one in live),
        costs_planned=sum(one.use.costs_planned for one in live),
        without=Site.objects.exclude(contracts__ends_on__gt=today).count() if not words else 0,
        currency=company.currency if company else "",
    )


def _answering(rows: QuerySet[ServiceContract], words: str) -> QuerySet[ServiceContract]:
    """Contracts of gardens in whose code, name, address or customer each word stands."""
    for word in words.split()[:8]:
        rows = rows.filter(
            Q(site__code__icontains=word)
            | Q(site__name__icontains=word)
            | Q(site__address__icontains=word)
            | Q(site__customer__icontains=word)
        )
    return rows


@dataclass(frozen=True, slots=True)
class YearVisit:
    """A finished visit of the year and what it counted as."""

    visit: CountedVisit
    work: str
    words: str


@dataclass(frozen=True, slots=True)
class ContractCard:
    """One contract with its years, visits, needs, neighbours and changes."""

    standing: ContractStanding
    earlier: tuple[ContractStanding, ...]  # its earlier years, the newest first
    visits: tuple[YearVisit, ...]
    needs: tuple[VisitNeed, ...]
    others: tuple[ServiceContract, ...]
    changes: tuple[ContractChange, ...]


def contract_card(*, contract_id: int, today: date) -> ContractCard | None:
    """One contract; None where there is none."""
    row = ServiceContract.objects.select_related("site").filter(pk=contract_id).first()
    if row is None:
        return None
    standing = standings(contracts=[row], today=today, site_ids=[row.site_id])[0]
    year = standing.year
    visits = finished_visits(first=year.start, end=year.end, site_ids=[row.site_id]).get(row.site_id, [])
    return ContractCard(
        standing=standing,
        earlier=_earlier(row, standing),
        visits=tuple(_told(visit, counts) for visit, counts in reversed(visits)),
        needs=tuple(
            VisitNeed.objects.filter(
                site_id=row.site_id, state=VisitNeed.State.OPEN, value_parts__has_key="contract"
            ).order_by("-value_per_day")
        ),
        others=tuple(ServiceContract.objects.filter(site_id=row.site_id).exclude(pk=row.pk)),
        changes=contract_changes(contract_id=row.pk),
    )


def _earlier(row: ServiceContract, standing: ContractStanding) -> tuple[ContractStanding, ...]:
    """The contract's years before the one that is shown."""
    found: list[ContractStanding] = []
    end = standing.year.start
    while end > row.starts_on and len(found) < YEARS_SHOWN:
        year = contract_year(end - timedelta(days=1), row.starts_on, row.ends_on)
        use = contract_uses(years={row.pk: year}, contracts=[row], site_ids=[row.site_id])[row.pk]
        found.append(ContractStanding(row, year, use, standing.today, standing.is_renewed))
        end = year.start
    return tuple(found)


def _told(visit: CountedVisit, counts: bool) -> YearVisit:
    """What a visit was for, and what it counted as."""
    kinds: list[str] = [kind for kind in CONTRACT_KINDS if kind in visit.kinds | visit.paid]
    kinds += sorted((visit.kinds | visit.paid) - set(kinds))
    work = ", ".join(kind_word(kind) for kind in kinds) or "nobody noted what for"
    if not counts:
        words = "paid apart, by an approved quote" if visit.paid else "does not count: nothing was met"
    else:
        words = "counts" if not visit.paid else "counts; part of it is paid apart, by an approved quote"
    return YearVisit(visit, work.capitalize(), words)

"""The list of sites: found by words, filtered by state, one page at a time."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet, Sum

from fleet.models import User, VisitNeed, WatchState
from fleet.selectors.choice import Choice
from fleet.selectors.site.access import sites_for
from fleet.selectors.site.map import WORST_FIRST, site_shapes
from sites.models import Controller, Site, Zone

PAGE_SIZE = 50
# Filter -> its word on the page.
FILTERS: dict[str, str] = {
    "act": "Act",
    "watch": "Watch",
    "few": "Too little data",
    "rest": "Resting",
    "ok": "In order",
    "needs": "Open needs",
    "no-weather": "No weather",
}


@dataclass(frozen=True, slots=True)
class SiteRow:
    """A site's line. `shape` is one of ok, act, watch, few, rest."""

    code: str
    name: str
    address: str
    customer: str
    soil: str
    supplier: str
    shape: str
    why: str
    controllers: int
    zones: int
    area_m2: float
    needs: int


@dataclass(frozen=True, slots=True)
class SiteList:
    """A page of the list; counts are of the sites that answer the words, before the filter."""

    rows: tuple[SiteRow, ...]
    page: Page[int]
    total: int
    choices: tuple[Choice, ...]


def site_list(*, user: User, words: str, show: str, page: int) -> SiteList:
    """The sites that a person may open and that answer the words and the filter, worst state first."""
    found = _answering(sites_for(user=user), words)
    facts = list(found.order_by("code").values_list("pk", "code"))
    placeless = set(found.filter(location__isnull=True).values_list("pk", flat=True))
    shapes = site_shapes()
    waiting = set(
        VisitNeed.objects.filter(state=VisitNeed.State.OPEN).order_by().values_list("site_id", flat=True)
    )
    keys = {
        pk: {
            shapes.get(pk, "few"),
            *(("needs",) if pk in waiting else ()),
            *(("no-weather",) if pk in placeless else ()),
        }
        for pk, _ in facts
    }
    choices = tuple(
        Choice(key, word, sum(key in of_site for of_site in keys.values())) for key, word in FILTERS.items()
    )
    kept = [(pk, code) for pk, code in facts if show not in FILTERS or show in keys[pk]]
    kept.sort(key=lambda row: (WORST_FIRST.index(shapes.get(row[0], "few")), row[1]))
    pages = Paginator([pk for pk, _ in kept], PAGE_SIZE)
    shown = pages.get_page(page)
    return SiteList(_rows(list(shown.object_list), shapes), shown, len(facts), choices)


def _answering(sites: QuerySet[Site], words: str) -> QuerySet[Site]:
    """Sites of which each word stands in the code, name, address or customer."""
    for word in words.split():
        sites = sites.filter(
            Q(code__icontains=word)
            | Q(name__icontains=word)
            | Q(address__icontains=word)
            | Q(customer__icontains=word)
        )
    return sites


def _rows(site_ids: list[int], shapes: dict[int, str]) -> tuple[SiteRow, ...]:
    """Lines of one page, a fixed number of queries."""
    sites = Site.objects.in_bulk(site_ids)
    controllers = dict(
        Controller.objects.filter(site_id__in=site_ids)
        .order_by()
        .values_list("site_id")
        .annotate(count=Count("pk"))
    )
    zones = {
        site: (count, area)
        for site, count, area in Zone.objects.filter(controller__site_id__in=site_ids)
        .order_by()
        .values_list("controller__site_id")
        .annotate(count=Count("pk"), area=Sum("area_m2"))
    }
    needs = dict(
        VisitNeed.objects.filter(site_id__in=site_ids, state=VisitNeed.State.OPEN)
        .order_by()
        .values_list("site_id")
        .annotate(count=Count("pk"))
    )
    reasons = _reasons(site_ids)
    return tuple(
        SiteRow(
            code=sites[pk].code,
            name=sites[pk].name,
            address=sites[pk].address,
            customer=sites[pk].customer,
            soil=sites[pk].get_soil_display() if sites[pk].soil else "",
            supplier=sites[pk].supplier,
            shape=shapes.get(pk, "few"),
            why=sites[pk].no_weather_reason or reasons.get(pk, "not watched yet"),
            controllers=controllers.get(pk, 0),
            zones=zones.get(pk, (0, 0.0))[0],
            area_m2=zones.get(pk, (0, 0.0))[1] or 0.0,
            needs=needs.get(pk, 0),
        )
        for pk in site_ids
    )


def _reasons(site_ids: list[int]) -> dict[int, str]:
    """What the watch says of each site's worst controller, in two or three words."""
    worst: dict[int, tuple[int, str]] = {}
    rank = {"flag": 0, "watch": 1, "too_little_data": 2, "cannot_tell": 2, "no_log": 2}
    for state in WatchState.objects.filter(controller__site_id__in=site_ids).select_related("controller"):
        word = state.get_status_display()
        if state.cause and state.status in ("flag", "watch"):
            word = state.get_cause_display()
        place = (rank.get(state.status, 3), word)
        site = state.controller.site_id
        if site not in worst or place < worst[site]:
            worst[site] = place
    return {site: word for site, (_, word) in worst.items()}

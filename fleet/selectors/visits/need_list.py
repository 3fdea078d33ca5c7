"""All needs, open and closed, as a paged list with filters; and one need with all that belongs to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.value import value_sentence
from fleet.models import Company, Finding, Stop, User, Visit, VisitKind, VisitNeed
from fleet.selectors.choice import Choice
from fleet.selectors.plan.stop_rows import company_zone, zone_of
from fleet.selectors.site.access import sites_for
from fleet.selectors.visits.why_waits import why_waits
from sites.models import Change

PAGE_SIZE: Final = 50
# How many findings and changes stand on the card of a need.
RECENT: Final = 12
COMING: Final = (Stop.State.AHEAD, Stop.State.ON_THE_WAY, Stop.State.AT_THE_GATE)


@dataclass(frozen=True, slots=True)
class PlannedCall:
    """Where a need stands in the plan; times in the site's own zone."""

    visit_id: int
    stop_id: int | None
    arrive: datetime | None
    depart: datetime | None
    technician: str
    state: str
    state_words: str
    window_from: datetime | None
    window_to: datetime | None
    told_at: datetime | None
    unserved: str


# A call as it is shown, with its rows.
_Call = tuple[PlannedCall, Visit, Stop | None]


@dataclass(frozen=True, slots=True)
class ListedNeed:
    """One line of the list."""

    need: VisitNeed
    call: PlannedCall | None
    waits: str  # why it is in no plan; empty: it is in one, lacks something, or is closed


@dataclass(frozen=True, slots=True)
class NeedList:
    """One page of needs, the most valuable first."""

    rows: tuple[ListedNeed, ...]
    page: Page[VisitNeed]
    shows: tuple[Choice, ...]
    kinds: tuple[Choice, ...]
    currency: str


@dataclass(frozen=True, slots=True)
class NeedCard:
    """One need with its calls, findings and changes, newest first; hours in the site's own zone."""

    need: VisitNeed
    earliest: datetime | None
    latest: datetime | None
    value_words: str
    currency: str
    zone: ZoneInfo
    waits: str  # why it is in no plan; empty: it is in one, lacks something, or is closed
    calls: tuple[PlannedCall, ...]
    findings: tuple[Finding, ...]
    changes: tuple[Change, ...]


def need_list(*, user: User, show: str, kind: str, words: str, today: date, page: int) -> NeedList:
    """Needs that a person may see under a filter: waiting, planned, promised, blocked, met, withdrawn."""
    answering = _answering(VisitNeed.objects.filter(site__in=sites_for(user=user)), words)
    filters = _filters(today)
    counts = answering.aggregate(**{key: Count("pk", filter=query) for key, (_, query) in filters.items()})
    query = filters[show][1] if show in filters else filters["waits"][1]
    shown = answering.filter(query)
    kinds = dict(shown.order_by().values_list("kind").annotate(count=Count("pk")))
    if kind in VisitKind.values:
        shown = shown.filter(kind=kind)
    order = ("-closed_on", "-id") if show in ("met", "withdrawn") else ("-value_per_day", "site__code", "id")
    found = Paginator(shown.select_related("site", "controller").order_by(*order), PAGE_SIZE).get_page(page)
    needs = list(found.object_list)
    here = company_zone()
    calls = _calls([need.pk for need in needs], here)
    company = Company.objects.only("currency").first()
    return NeedList(
        rows=tuple(_listed(need, calls.get(need.pk, []), monday_of(today), here) for need in needs),
        page=found,
        shows=tuple(Choice(key, word, counts[key]) for key, (word, _) in filters.items()),
        kinds=tuple(Choice(key, str(VisitKind(key).label), kinds[key]) for key in sorted(kinds)),
        currency=company.currency if company else "",
    )


def need_card(*, user: User, need_id: int, today: date) -> NeedCard | None:
    """One need as it stands on a day; None where there is none that this person may see."""
    need = (
        VisitNeed.objects.filter(pk=need_id, site__in=sites_for(user=user))
        .select_related("site", "controller", "quote")
        .first()
    )
    if need is None:
        return None
    company = Company.objects.only("currency").first()
    currency = company.currency if company else ""
    here = company_zone()
    zone = zone_of(need.site.timezone, here)
    calls = _calls([need.pk], here).get(need.pk, [])
    return NeedCard(
        need=need,
        earliest=need.earliest.astimezone(zone) if need.earliest else None,
        latest=need.latest.astimezone(zone) if need.latest else None,
        value_words=value_sentence(need.value_parts, currency),
        currency=currency,
        zone=zone,
        waits=_listed(need, calls, monday_of(today), here).waits,
        calls=tuple(call for call, _, _ in calls),
        findings=tuple(
            Finding.objects.filter(visit__needs=need, kind__in=(need.kind, ""))
            .select_related("technician")
            .order_by("-recorded_at")[:RECENT]
        ),
        changes=tuple(Change.objects.filter(kind="visit_need", key=need.key)[:RECENT]),
    )


def _filters(today: date) -> dict[str, tuple[str, Q]]:
    """Filters by name: word and condition."""
    monday = monday_of(today)
    is_open = Q(state=VisitNeed.State.OPEN)
    # Asked once as a list, not once for each need of a large book.
    ahead = Stop.objects.filter(visit__week__gte=monday, state=Stop.State.AHEAD, visit__needs__isnull=False)
    planned = Q(pk__in=ahead.order_by().values("visit__needs"))
    return {
        "waits": ("Waits", is_open & ~planned),
        "planned": ("Planned", is_open & planned),
        "promised": ("Promised", is_open & Q(promised=True)),
        "blocked": ("Lacks something", is_open & ~Q(blocked_by="")),
        "met": ("Met", Q(state=VisitNeed.State.DONE)),
        "withdrawn": ("Withdrawn", Q(state=VisitNeed.State.WITHDRAWN)),
    }


def _answering(needs: QuerySet[VisitNeed], words: str) -> QuerySet[VisitNeed]:
    """Needs of which each word stands in the site's code, name, address, customer, or in the reason."""
    for word in words.split()[:8]:
        needs = needs.filter(
            Q(site__code__icontains=word)
            | Q(site__name__icontains=word)
            | Q(site__address__icontains=word)
            | Q(site__customer__icontains=word)
            | Q(reason__icontains=word)
        )
    return needs


def _listed(need: VisitNeed, calls: Sequence[_Call], monday: date, here: ZoneInfo) -> ListedNeed:
    """A need with its call: the one that is coming, else the last one and why it waits."""
    coming = next((call for call, visit, stop in calls if _is_coming(visit, stop, monday)), None)
    if coming is not None or need.state != VisitNeed.State.OPEN:
        return ListedNeed(need, coming or next((call for call, _, _ in calls), None), "")
    last, visit, stop = calls[0] if calls else (None, None, None)
    zone = zone_of(need.site.timezone, here)
    return ListedNeed(need, last, why_waits(need, visit=visit, stop=stop, week=monday, zone=zone))


def _is_coming(visit: Visit, stop: Stop | None, monday: date) -> bool:
    """Whether somebody drives there from a week on, or is on it now."""
    return stop is not None and visit.week >= monday and stop.state in COMING


def _calls(need_ids: list[int], here: ZoneInfo) -> dict[int, list[_Call]]:
    """Calls of each need with their visits and stops, the newest first."""
    links = list(
        Visit.needs.through.objects.filter(visitneed_id__in=need_ids).values_list("visitneed_id", "visit_id")
    )
    visits = {
        visit.pk: visit
        for visit in Visit.objects.filter(pk__in={pair[1] for pair in links}).select_related("site")
    }
    stops = {
        stop.visit_id: stop
        for stop in Stop.objects.filter(visit_id__in=visits)
        .select_related("route__technician")
        .defer("route__way")
    }
    found: dict[int, list[_Call]] = {}
    for need_id, visit_id in sorted(links, key=lambda pair: (visits[pair[1]].week, pair[1]), reverse=True):
        visit, stop = visits[visit_id], stops.get(visit_id)
        found.setdefault(need_id, []).append((_call(visit, stop, here), visit, stop))
    return found


def _call(visit: Visit, stop: Stop | None, here: ZoneInfo) -> PlannedCall:
    """A visit and its stop as one thing."""
    zone = zone_of(visit.site.timezone, here)
    return PlannedCall(
        visit_id=visit.pk,
        stop_id=stop.pk if stop else None,
        arrive=stop.arrive.astimezone(zone) if stop else None,
        depart=stop.depart.astimezone(zone) if stop else None,
        technician=stop.route.technician.name if stop else "",
        state=visit.state,
        state_words=visit.get_state_display(),
        window_from=visit.window_from.astimezone(zone) if visit.window_from else None,
        window_to=visit.window_to.astimezone(zone) if visit.window_to else None,
        told_at=visit.told_at.astimezone(zone) if visit.told_at else None,
        unserved=visit.why_unserved,
    )

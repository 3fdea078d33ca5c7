"""The open needs of a week with their place in the plan."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Count, Prefetch, Q, QuerySet

from fleet.calc.visits.value import value_sentence
from fleet.models import Company, Stop, Visit, VisitKind, VisitNeed
from fleet.selectors.plan.stop_rows import company_zone, zone_of
from fleet.selectors.visits.needs import NeedRow, NeedsWeek, PlannedPlace
from fleet.selectors.visits.why_waits import why_waits


def needs_week(*, week: date, most: int | None = None, people: Sequence[int] | None = None) -> NeedsWeek:
    """All open needs with their place in the plan of a week: waiting ones first, each group by value.

    Parameters
    ----------
    week
        A Monday.
    most
        How many rows of each group to load; None: all. Counts are of all in any case.
    people
        Technicians whose planned needs are loaded; None: everybody's.
    """
    company = Company.objects.only("currency").first()
    currency = company.currency if company else ""
    here = company_zone()
    visits = Visit.objects.filter(week=week).exclude(state=Visit.State.CANCELLED)
    open_needs = VisitNeed.objects.filter(state=VisitNeed.State.OPEN)
    is_planned = Q(pk__in=_needs_of(visits.filter(stops__isnull=False)))
    by_value = open_needs.order_by("-value_per_day", "site__code", "pk").values_list("pk", flat=True)
    theirs = visits if people is None else visits.filter(stops__route__technician_id__in=people)
    shown = [
        *by_value.exclude(is_planned)[:most],
        *by_value.filter(is_planned, pk__in=_needs_of(theirs))[:most],
    ]
    needs = (
        VisitNeed.objects.filter(pk__in=shown)
        .select_related("site")
        .prefetch_related(Prefetch("visits", queryset=visits, to_attr="week_visits"))
        .in_bulk()
    )
    places = _places(week, shown, here)
    counted = open_needs.aggregate(
        needs=Count("pk"),
        planned=Count("pk", filter=is_planned),
        gardens=Count("site_id", distinct=True),
        served=Count("site_id", distinct=True, filter=is_planned),
    )
    kinds = open_needs.order_by().values_list("kind").annotate(count=Count("pk")).order_by("-count", "kind")
    words = dict(VisitKind.choices)
    return NeedsWeek(
        week=week,
        rows=tuple(_row(needs[pk], places, currency, here, week) for pk in shown),
        gardens=counted["gardens"],
        gardens_planned=counted["served"],
        gardens_waiting=counted["gardens"] - counted["served"],
        by_kind=tuple((kind, str(words[kind]), count) for kind, count in kinds),
        waiting=counted["needs"] - counted["planned"],
        planned=counted["planned"],
    )


def _needs_of(visits: QuerySet[Visit]) -> QuerySet[Any]:
    """Keys of the needs of visits, to be asked inside another question."""
    return Visit.needs.through.objects.filter(visit_id__in=visits.values("pk")).values("visitneed_id")


def _places(week: date, need_ids: list[int], here: ZoneInfo) -> dict[int, PlannedPlace]:
    """Place of each planned visit of a week that some of these needs have."""
    theirs = Visit.needs.through.objects.filter(visitneed_id__in=need_ids).values("visit_id")
    stops = (
        Stop.objects.filter(visit__week=week, visit_id__in=theirs, is_break=False)
        .select_related("route__technician", "visit__site")
        .defer("route__way", "visit__site__geometry")
    )
    places = {}
    for stop in stops:
        visit = stop.visit
        if visit is None:
            continue
        zone = zone_of(visit.site.timezone, here)
        person = stop.route.technician
        places[visit.pk] = PlannedPlace(
            stop_id=stop.pk,
            date=stop.route.day,
            technician_id=person.pk,
            technician=person.code,
            technician_name=person.name,
            order=stop.order,
            arrive=stop.arrive.astimezone(zone),
            depart=stop.depart.astimezone(zone),
            window_from=visit.window_from.astimezone(zone) if visit.window_from else None,
            window_to=visit.window_to.astimezone(zone) if visit.window_to else None,
            is_published=stop.route.state == "published",
            is_told=visit.told_at is not None,
            is_locked=visit.is_locked,
        )
    return places


def _row(
    need: VisitNeed, places: dict[int, PlannedPlace], currency: str, here: ZoneInfo, week: date
) -> NeedRow:
    """One need as a row."""
    site = need.site
    zone = zone_of(site.timezone, here)
    visits: list[Visit] = getattr(need, "week_visits", [])
    visit = next((v for v in visits if v.pk in places), visits[0] if visits else None)
    planned = places.get(visit.pk) if visit is not None else None
    return NeedRow(
        need_id=need.pk,
        visit_id=visit.pk if visit else None,
        site_id=site.pk,
        site=site.code,
        site_name=site.name,
        address=site.address,
        latitude=site.latitude,
        longitude=site.longitude,
        kind=need.kind,
        kind_words=need.get_kind_display(),
        source=need.origin,
        source_words=need.get_origin_display(),
        reason=need.reason,
        value_per_day=need.value_per_day,
        currency=currency,
        value_reason=value_sentence(need.value_parts, currency),
        raised_on=need.raised_on,
        earliest=need.earliest.astimezone(zone) if need.earliest else None,
        latest=need.latest.astimezone(zone) if need.latest else None,
        service_min=round(need.service_min),
        skills=tuple(part for part in need.skill.split(";") if part),
        parts=tuple(part for part in need.parts.split(";") if part),
        blocked=need.blocked_by,
        unserved_code="" if planned or visit is None else visit.unserved_code,
        unserved="" if planned else why_waits(need, visit=visit, stop=None, week=week, zone=zone),
        planned=planned,
    )

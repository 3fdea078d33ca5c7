"""Stops of routes as rows for pages and files: one query for any number of days."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from django.db.models import QuerySet

from fleet.models import Company, HeldWindow, Route, Stop, Visit, VisitKind, VisitNeed
from fleet.selectors.plan.routes import StopRow

# Begin and end, where they are known.
Hours = tuple[datetime | None, datetime | None]
KIND_WORDS: dict[str, str] = dict(VisitKind.choices)
# What a row tells; a week of a large company has thousands, and no row needs a garden's shape.
OF_A_ROW = (
    "route_id", "order", "arrive", "depart", "drive_min", "drive_km", "state", "state_at",
    "not_possible_reason", "visit__window_from", "visit__window_to", "visit__value_per_day",
    "visit__told_at", "visit__is_locked", "visit__site__code", "visit__site__name",
    "visit__site__address", "visit__site__latitude", "visit__site__longitude", "visit__site__timezone",
)  # fmt: skip
OF_A_REASON = ("kind", "reason", "value_per_day", "earliest", "latest", "promised")
HELD_WORDS = "held for a customer"
STATE_WORDS: dict[str, str] = {
    Stop.State.ON_THE_WAY: "on_way",
    Stop.State.AT_THE_GATE: "here",
    Stop.State.FINISHED: "done",
    Stop.State.NOT_POSSIBLE: "not_done",
}


def company_zone() -> ZoneInfo:
    """Time zone of the company."""
    company = Company.objects.only("timezone").first()
    return zone_of(company.timezone if company else "UTC", ZoneInfo("UTC"))


def zone_of(name: str, otherwise: ZoneInfo) -> ZoneInfo:
    """The named time zone, or another where the name is not one."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return otherwise


def needs_of_visits(
    visit_ids: Iterable[int], *, among: QuerySet[VisitNeed] | None = None
) -> dict[int, list[VisitNeed]]:
    """Needs of each visit, by value; with their controllers, or as `among` loads them."""
    ids = list(visit_ids)
    links = Visit.needs.through.objects.filter(visit_id__in=ids).values_list("visit_id", "visitneed_id")
    pairs = list(links)
    loaded = among if among is not None else VisitNeed.objects.select_related("controller")
    needs = {need.pk: need for need in loaded.filter(pk__in={pair[1] for pair in pairs})}
    found: dict[int, list[VisitNeed]] = defaultdict(list)
    for visit_id, need_id in pairs:
        found[visit_id].append(needs[need_id])
    for own in found.values():
        own.sort(key=lambda need: (-need.value_per_day, need.pk))
    return found


def stop_rows(routes: Sequence[Route], *, with_held: bool = False) -> dict[int, tuple[StopRow, ...]]:
    """Rows of each route in order, breaks among them, the way back last.

    Parameters
    ----------
    routes
        The routes.
    with_held
        With places held for customers on the phone, which nobody drives to yet.
    """
    here = company_zone()
    stops = list(
        Stop.objects.filter(route_id__in=[route.pk for route in routes])
        .select_related("visit__site")
        .only(*OF_A_ROW)
        .order_by("route_id", "order")
    )
    if not with_held:
        held = set(HeldWindow.objects.values_list("place_id", flat=True))
        stops = [stop for stop in stops if stop.visit_id not in held]
    needs = needs_of_visits(
        {stop.visit_id for stop in stops if stop.visit_id is not None},
        among=VisitNeed.objects.only(*OF_A_REASON),
    )
    rows: dict[int, list[StopRow]] = {route.pk: [] for route in routes}
    for stop in stops:
        own = needs.get(stop.visit_id or 0, [])
        rows[stop.route_id].append(stop_row(stop, own, here))
    for route in routes:
        if rows[route.pk]:
            rows[route.pk].append(_way_back(route, len(rows[route.pk]) + 1, here))
    return {key: tuple(own) for key, own in rows.items()}


def stop_row(stop: Stop, needs: Sequence[VisitNeed], here: ZoneInfo) -> StopRow:
    """One stop as a row."""
    visit = stop.visit
    if visit is None:
        return replace(
            _empty("break", stop.pk, stop.order, stop.arrive.astimezone(here), stop.depart.astimezone(here)),
            kinds_words="break",
        )
    site = visit.site
    zone = zone_of(site.timezone, here)
    kinds = tuple(dict.fromkeys(need.kind for need in needs))
    start, end = window_of(visit, needs)
    return StopRow(
        stop_id=stop.pk,
        what="visit",
        order=stop.order,
        visit_id=visit.pk,
        site_id=site.pk,
        site=site.code,
        site_name=site.name,
        address=site.address,
        latitude=site.latitude,
        longitude=site.longitude,
        kinds=kinds,
        kinds_words=words_of(kinds) or HELD_WORDS,
        reasons=tuple(need.reason for need in needs),
        arrive=stop.arrive.astimezone(zone),
        depart=stop.depart.astimezone(zone),
        window_from=start.astimezone(zone) if start else None,
        window_to=end.astimezone(zone) if end else None,
        drive_min=stop.drive_min,
        drive_km=stop.drive_km,
        service_min=round((stop.depart - stop.arrive).total_seconds() / 60),
        value_per_day=visit.value_per_day,
        state=state_of(stop, visit),
        is_locked=visit.is_locked,
        late_min=minutes_late(stop.arrive, end),
        state_at=stop.state_at.astimezone(zone) if stop.state_at else None,
        not_possible=stop.not_possible_reason,
    )


def window_of(visit: Visit, needs: Sequence[VisitNeed]) -> tuple[datetime | None, datetime | None]:
    """Hours that the customer counts on: those told for the visit, else those promised for its needs."""
    promised = [(need.earliest, need.latest) for need in needs if need.promised]
    return hours_counted_on((visit.window_from, visit.window_to), promised)


def hours_counted_on(told: Hours, promised: Sequence[Hours]) -> Hours:
    """Hours told, else those in which all promises hold."""
    if all(told):
        return told
    whole = [(start, end) for start, end in promised if start and end]
    if not whole:
        return None, None
    return max(start for start, _ in whole), min(end for _, end in whole)


def words_of(kinds: Iterable[str]) -> str:
    """Kinds of visit as words."""
    return ", ".join(KIND_WORDS.get(kind, kind) for kind in kinds)


def state_of(stop: Stop, visit: Visit) -> str:
    """Word for where a stop stands."""
    return STATE_WORDS.get(stop.state, "told" if visit.told_at is not None else "planned")


def minutes_late(arrive: datetime, window_to: datetime | None) -> int:
    """Minutes after the told window's end."""
    return 0 if window_to is None else max(0, round((arrive - window_to).total_seconds() / 60))


def _way_back(route: Route, order: int, here: ZoneInfo) -> StopRow:
    """The drive back as a row."""
    back = route.end_at.astimezone(here)
    return replace(
        _empty("back", 0, order, back, back),
        kinds_words="way back",
        drive_min=route.end_drive_min,
        drive_km=route.end_drive_km,
        latitude=route.technician.end_latitude,
        longitude=route.technician.end_longitude,
    )


def _empty(what: str, stop_id: int, order: int, arrive: datetime, depart: datetime) -> StopRow:
    """A row without a site."""
    return StopRow(
        stop_id=stop_id,
        what=what,
        order=order,
        visit_id=None,
        site_id=None,
        site="",
        site_name="",
        address="",
        latitude=None,
        longitude=None,
        kinds=(),
        kinds_words="",
        reasons=(),
        arrive=arrive,
        depart=depart,
        window_from=None,
        window_to=None,
        drive_min=0.0,
        drive_km=0.0,
        service_min=0,
        value_per_day=0.0,
        state="planned",
        is_locked=False,
        late_min=0,
    )

"""What a phone takes along for a day: addresses of pages, and a version that changes with the plan."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from hashlib import sha256

from django.urls import reverse

from fleet.models import Finding, Route, Stop, Technician, User, VisitKind
from fleet.selectors.company.stock import truck_parts
from fleet.selectors.on_site.phone_facts import company_phone
from fleet.selectors.plan.stop_rows import company_zone
from fleet.selectors.programs.key_in import programs_to_key_in


@dataclass(frozen=True, slots=True)
class DayPack:
    """Pages of a day, whose version changes with what stands on them. `codes_until`: gate codes go then."""

    day: date
    version: str
    urls: tuple[str, ...]
    stops: int
    kept_hours: float
    codes_until: datetime


def day_pack(*, user: User, day: date, now: datetime) -> DayPack:
    """What a technician's phone takes along; nothing for whoever has no route."""
    person = Technician.objects.filter(user=user).first()
    route = Route.objects.filter(technician=person, day=day).first() if person is not None else None
    stops = (
        list(
            Stop.objects.filter(route=route, visit__isnull=False)
            .select_related("visit__site")
            .order_by("order")
        )
        if route is not None
        else []
    )
    here = now.astimezone(company_zone())
    urls = [reverse("fleet:day"), reverse("fleet:waiting")]
    marks = [str(user.pk), day.isoformat(), user.units, str(user.clock_24h)]
    kinds = _kinds(stops)
    for stop in stops:
        if stop.visit is None:
            continue
        site = stop.visit.site
        urls += [reverse(f"fleet:{page}", args=[stop.pk]) for page in ("stop", "stop-map")]
        programs = programs_to_key_in(site_id=site.pk, day=day)
        urls += [reverse("fleet:sheet", args=[site.code, one.controller]) for one in programs]
        if VisitKind.SURVEY in kinds.get(stop.visit_id or 0, ()):
            urls.append(reverse("fleet:survey", args=[site.code]))
        marks += [
            f"{stop.pk} {stop.order} {stop.arrive} {stop.state} {stop.visit.state} {stop.visit.window_from}",
            f"{site.access_notes} {site.gate_code} {site.phone}",
            *(f"{one.program_set_id} {one.barred}" for one in programs),
            *kinds.get(stop.visit_id or 0, ()),
        ]
    if person is not None:
        marks += [f"{one.code} {one.name} {one.count}" for one in truck_parts(technician_id=person.pk)]
    marks.append(str(Finding.objects.filter(stop__in=stops).count()))
    return DayPack(
        day=day,
        version=sha256("\n".join(marks).encode()).hexdigest()[:16],
        urls=tuple(dict.fromkeys(urls)),
        stops=len(stops),
        kept_hours=company_phone().kept_hours,
        codes_until=datetime.combine(here.date() + timedelta(days=1), time(), tzinfo=here.tzinfo),
    )


def _kinds(stops: list[Stop]) -> dict[int, list[str]]:
    """Kinds of the needs of each visit."""
    found: dict[int, list[str]] = {}
    rows = Stop.objects.filter(pk__in=[stop.pk for stop in stops]).values_list(
        "visit_id", "visit__needs__kind"
    )
    for visit_id, kind in rows.order_by("visit_id", "visit__needs__kind"):
        if kind:
            found.setdefault(visit_id or 0, []).append(kind)
    return found

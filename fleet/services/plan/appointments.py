"""A customer on the phone: hours of this week held for ten minutes, confirmed or given back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TypeVar

from django.db import transaction

from fleet.calc.plan.workdays import monday_of
from fleet.calc.visits.settings import VisitSettings
from fleet.models import HeldWindow, Stop, Technician, Visit, VisitNeed
from fleet.routing.plan import Plan, Unserved
from fleet.routing.schedule import plan_from_orders
from fleet.services.plan.break_change import PLACE_FROM
from fleet.services.plan.break_state import BrokenDay, settled_week
from fleet.services.plan.held_windows import free_expired, give_back
from fleet.services.plan.known_ways import NeverStill, write_on_known_ways
from fleet.services.plan.lock import hold_plan
from fleet.services.plan.offers import CannotOffer, Offer, offers_of, visit_to_offer
from fleet.services.plan.plan_routes import company_settings
from fleet.services.plan.snapshot import keep_run, snapshot
from fleet.services.plan.told_windows import tell_window
from fleet.services.plan.visits_of_week import SETTLED
from fleet.services.plan.write import write_plan
from fleet.streets.kept_travel import KeptTravel

HELD_FOR = timedelta(minutes=10)
Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Held:
    """Hours that are held."""

    hold_id: int
    visit_id: int
    expires_at: datetime


@dataclass(frozen=True, slots=True)
class Given:
    """A hold that was confirmed or given back."""

    visit_id: int


def hold_window(
    *, visit_id: int, key: str, day: date, moment: datetime, seed: int, by: str, now: datetime
) -> Held:
    """Hold an offered window for ten minutes; every plan keeps its place until then. Raises `CannotOffer`."""
    asked = _Asked(day, moment, by, now, company_settings())
    return _written(asked, lambda travel: _hold(asked, travel, visit_id=visit_id, key=key, seed=seed))


def confirm_hold(*, hold_id: int, day: date, moment: datetime, by: str, now: datetime) -> Given:
    """The customer agreed: the visit takes the held place, and its hours are told. Raises `CannotOffer`."""
    asked = _Asked(day, moment, by, now, company_settings())
    return _written(asked, lambda travel: _confirm(asked, travel, hold_id))


def release_hold(*, hold_id: int, day: date, moment: datetime, now: datetime) -> Given:
    """Give held hours back. Raises `CannotOffer` where there is nothing to give back."""
    asked = _Asked(day, moment, "", now, company_settings())
    return _written(asked, lambda travel: _release(asked, travel, hold_id))


@dataclass(frozen=True, slots=True)
class _Asked:
    """Today, from when on it is planned, who asks and when, and the company's numbers."""

    day: date
    moment: datetime
    by: str
    now: datetime
    settings: VisitSettings


def _written(asked: _Asked, work: Callable[[KeptTravel], Answer]) -> Answer:
    """What the work answers, written while no road is searched."""
    try:
        return write_on_known_ways(work=work, settings=asked.settings)
    except NeverStill as error:
        raise CannotOffer(str(error)) from error


def _hold(asked: _Asked, travel: KeptTravel, *, visit_id: int, key: str, seed: int) -> Held:
    """Hold an offered window."""
    # One hold after the other: two on the same place are worked out on each other's result.
    hold_plan()
    day, moment, now, settings = asked.day, asked.moment, asked.now, asked.settings
    free_expired(now=now)
    give_back(list(HeldWindow.objects.filter(wanted_id=visit_id)))
    visit = visit_to_offer(visit_id)
    broken = settled_week(day=day, moment=moment, settings=settings, travel=travel)
    offer = next((o for o in offers_of(broken, visit, day, moment, settings, seed) if o.key == key), None)
    if offer is None:
        raise CannotOffer(
            "These hours are not free any more. Nothing is held; look at the hours as they are now."
        )
    week = monday_of(day)
    taken = Visit.objects.filter(site=visit.site, week=week).values_list("number", flat=True)
    place = Visit.objects.create(
        site=visit.site,
        week=week,
        number=max([PLACE_FROM, *(number + 1 for number in taken)]),
        state=Visit.State.TOLD,
        service_min=visit.service_min,
        value_per_day=visit.value_per_day,
        skill=visit.skill,
        window_from=offer.window_from,
        window_to=offer.window_to,
        told_at=now,
        is_locked=True,
    )
    own = Stop.objects.filter(visit=visit, state=Stop.State.AHEAD)
    if visit.told_at is None:
        own.delete()
    _write(asked, travel, insert=(place.pk, offer))
    hold = HeldWindow.objects.create(
        place=place,
        wanted=visit,
        technician_id=offer.technician_id,
        day=offer.day,
        made_at=now,
        expires_at=now + HELD_FOR,
        by=asked.by[:150],
        cost={"km": offer.extra_km, "min": offer.extra_min, "money": offer.extra_money},
    )
    return Held(hold.pk, visit.pk, hold.expires_at)


def _confirm(asked: _Asked, travel: KeptTravel, hold_id: int) -> Given:
    """Let the visit take the held place."""
    hold_plan()
    day, now, by = asked.day, asked.now, asked.by
    hold = HeldWindow.objects.select_for_update().select_related("place", "wanted").filter(pk=hold_id).first()
    if hold is None or hold.expires_at <= now:
        raise CannotOffer("The ten minutes are over, and the place is free again. Look for hours anew.")
    stop = Stop.objects.filter(visit=hold.place).first()
    visit = hold.wanted
    if stop is None or visit.state in SETTLED:
        raise CannotOffer("The held place is gone from the plan. Look for hours anew.")
    days = [hold.day, *Stop.objects.filter(visit=visit).values_list("route__day", flat=True)]
    before = snapshot(days=sorted(set(days)), monday=visit.week)
    window = (hold.place.window_from, hold.place.window_to)
    Stop.objects.filter(visit=visit).delete()
    Stop.objects.filter(pk=stop.pk).update(visit=visit)
    Visit.objects.filter(pk=hold.place_id).delete()
    Visit.objects.filter(pk=visit.pk).update(
        unserved_code="", unserved_reason="", unserved_change="", is_locked=False
    )
    if window[0] is None or window[1] is None:
        raise CannotOffer("The held place has no hours. Look for hours anew.")
    tell_window(visit_id=visit.pk, window_from=window[0], window_to=window[1], by=by, now=now, day=day)
    _write(asked, travel)
    figures: dict[str, object] = {"what": "appointment", **hold.cost}
    keep_run(monday=visit.week, day=hold.day, now=now, by=by, figures=figures, before=before)
    return Given(visit.pk)


def _release(asked: _Asked, travel: KeptTravel, hold_id: int) -> Given:
    """Give held hours back."""
    hold_plan()
    hold = HeldWindow.objects.filter(pk=hold_id).first()
    if hold is None:
        raise CannotOffer("These hours are free already.")
    give_back([hold])
    _write(asked, travel)
    return Given(hold.wanted_id)


@transaction.atomic
def visit_for_need(*, need_id: int, day: date) -> int:
    """The open visit of this week that meets a need, made where there is none. Raises `CannotOffer`."""
    need = VisitNeed.objects.select_related("site").filter(pk=need_id, state=VisitNeed.State.OPEN).first()
    if need is None:
        raise CannotOffer("This need is not open any more.")
    if need.blocked_by:
        raise CannotOffer(f"It cannot be planned yet. {need.blocked_by}")
    week = monday_of(day)
    home = (
        Visit.objects.filter(needs=need, week=week, number__lt=PLACE_FROM).exclude(state__in=SETTLED).first()
    )
    if home is not None:
        return home.pk
    taken = Visit.objects.filter(site=need.site, week=week, number__lt=PLACE_FROM)
    number = 1 + max(taken.values_list("number", flat=True), default=0)
    visit = Visit.objects.create(
        site=need.site,
        week=week,
        number=number,
        service_min=need.service_min,
        value_per_day=need.value_per_day,
        skill=need.skill,
    )
    visit.needs.add(need)
    return visit.pk


def _write(asked: _Asked, travel: KeptTravel, insert: tuple[int, Offer] | None = None) -> None:
    """Write the plan again after a place was taken or given back; the held one where its offer has it."""
    broken = settled_week(day=asked.day, moment=asked.moment, settings=asked.settings, travel=travel)
    number = {visit.pk: n for n, visit in enumerate(broken.state.given.visits)}
    orders = {vehicle: list(order) for vehicle, order in broken.orders.items()}
    if insert is not None:
        place_id, offer = insert
        person = Technician.objects.get(pk=offer.technician_id)
        vehicle = broken.problem.vehicle_index[f"{person.code}/{offer.day.isoformat()}"]
        orders[vehicle] = [number[place_id if pk == -1 else pk] for pk in offer.order]
    plan = plan_from_orders(broken.problem, orders)
    if plan is None:
        if insert is not None:
            raise CannotOffer("These hours are not free any more; look for hours anew.")
        return
    kept = _kept(broken, plan)
    write_plan(state=broken.state, problem=broken.problem, plan=kept, travel=travel, now=asked.now)


def _kept(broken: BrokenDay, plan: Plan) -> Plan:
    """The plan; visits left out keep the reason that they have."""
    visits = broken.state.given.visits
    unserved = tuple(
        Unserved(one.visit, visits[one.visit].unserved_code, visits[one.visit].unserved_reason)
        for one in plan.unserved
    )
    return replace(plan, unserved=unserved)

"""A customer on the phone: hours offered, held, confirmed; and the call list."""

from __future__ import annotations

from datetime import datetime, timedelta
from urllib.parse import unquote

import numpy as np
import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.plan.arrival_spread import Step, arrival_span, window_of_span, work_spread
from fleet.models import Company, CustomerCall, HeldWindow, Stop, User, Visit, VisitNeed
from fleet.selectors.plan.call_list import call_list
from fleet.selectors.plan.holds import live_holds
from fleet.selectors.plan.stop_rows import stop_rows
from fleet.services.plan.appointments import confirm_hold, hold_window, release_hold, visit_for_need
from fleet.services.plan.break_change import BreakAsked
from fleet.services.plan.customer_calls import CannotNote, note_call
from fleet.services.plan.day_breaks import accept_break
from fleet.services.plan.held_windows import free_expired
from fleet.services.plan.offers import CannotOffer, find_offers
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.routes_by_hand import CannotMove, move_stop
from fleet.services.visits.settings import save_rush_hours
from fleet.views.calls import hours_words
from tests.factories import DAY, build_need, build_site
from tests.fleet.plan.test_day_breaks import (
    EARLY,
    TEN,
    late,
    planned,
    propose,
    tell,
    today,
    whole_plan,
    within,
)

__all__ = ["planned"]


def newcomer(code: str = "NEW", east: float = 0.02) -> int:
    """A visit that no plan has."""
    need = build_need(build_site(code, longitude=-104.7 + east, latitude=41.215, email="a b@hill.example"))
    return visit_for_need(need_id=need.pk, day=DAY)


def first_offer(visit_id: int) -> str:
    return find_offers(visit_id=visit_id, day=DAY, moment=TEN, seed=1)[0].key


def hold(visit_id: int, now: datetime = TEN) -> int:
    key = first_offer(visit_id)
    return hold_window(visit_id=visit_id, key=key, day=DAY, moment=TEN, seed=1, by="hana", now=now).hold_id


@pytest.mark.django_db
def test_three_offers_come_cheapest_first_and_looking_changes_nothing(planned: Company) -> None:
    visit_id = newcomer()
    before = whole_plan()

    offers = find_offers(visit_id=visit_id, day=DAY, moment=TEN, seed=1)

    assert whole_plan() == before
    assert len(offers) == 3
    total = [offer.extra_money + offer.wait_money for offer in offers]
    assert total == sorted(total)
    for offer in offers:
        assert offer.window_from <= offer.planned <= offer.window_to
        assert offer.planned >= TEN
        assert offer.window_to - offer.window_from >= timedelta(hours=1)
    assert offers == find_offers(visit_id=visit_id, day=DAY, moment=TEN, seed=1)


@pytest.mark.django_db
def test_a_held_place_is_kept_by_every_planner_and_confirmed(planned: Company) -> None:
    visit_id = newcomer()
    number = hold(visit_id)
    place = HeldWindow.objects.get(pk=number).place
    stop = Stop.objects.get(visit=place)

    accept_break(break_id=propose(late(45)), by="hana", now=TEN)
    plan_routes(now=TEN, week=DAY, seed=1, iterations=40)
    held = Stop.objects.get(visit=place)
    assert held.route.technician_id == stop.route.technician_id
    assert place.window_from is not None
    assert place.window_to is not None
    assert place.window_from <= held.arrive <= place.window_to
    with pytest.raises(CannotMove):
        move_stop(visit_id=place.pk, technician_id=stop.route.technician_id, day=DAY, now=TEN)

    confirm_hold(hold_id=number, day=DAY, moment=TEN, by="hana", now=TEN + timedelta(minutes=9))

    visit = Visit.objects.get(pk=visit_id)
    assert (visit.state, visit.window_from, visit.window_to) == ("told", place.window_from, place.window_to)
    assert Stop.objects.get(visit=visit).route.technician_id == stop.route.technician_id
    assert not Visit.objects.filter(pk=place.pk).exists()
    assert not HeldWindow.objects.exists()


@pytest.mark.django_db
def test_a_hold_ends_by_itself_and_nothing_stays_of_it(planned: Company) -> None:
    before = whole_plan()[0]
    number = hold(newcomer())
    assert len(live_holds(now=TEN)) == 1
    over = TEN + timedelta(minutes=10)

    assert live_holds(now=over) == ()
    with pytest.raises(CannotOffer):
        confirm_hold(hold_id=number, day=DAY, moment=TEN, by="hana", now=over)
    assert free_expired(now=over) == 1
    assert len(whole_plan()[0]) == len(before)
    assert not Visit.objects.filter(number__gte=900).exists()


@pytest.mark.django_db
def test_two_holds_are_never_on_one_place_and_technicians_do_not_see_them(planned: Company) -> None:
    first, second = newcomer("N1"), newcomer("N2", 0.021)
    key = first_offer(first)
    hold_window(visit_id=first, key=key, day=DAY, moment=TEN, seed=1, by="hana", now=TEN)

    number = hold(second)

    one, two = (Stop.objects.get(visit=h.place) for h in HeldWindow.objects.order_by("pk"))
    if one.route_id == two.route_id:
        assert one.depart <= two.arrive or two.depart <= one.arrive
    routes = [one.route]
    seen = {row.stop_id for row in stop_rows(routes)[one.route_id]}
    assert one.pk not in seen
    assert one.pk in {row.stop_id for row in stop_rows(routes, with_held=True)[one.route_id]}
    release_hold(hold_id=number, day=DAY, moment=TEN, now=TEN)
    assert HeldWindow.objects.count() == 1


@pytest.mark.django_db
def test_a_told_customer_keeps_the_old_hours_until_the_new_are_agreed(planned: Company) -> None:
    stop = today("T1")[-1]
    tell(stop)
    visit = stop.visit
    assert visit is not None
    number = hold(visit.pk)
    assert Stop.objects.filter(visit=visit).count() == 1  # the old place is still there

    confirm_hold(hold_id=number, day=DAY, moment=TEN, by="hana", now=TEN)
    told = Visit.objects.get(pk=visit.pk)
    assert told.window_from is not None
    assert told.window_to is not None
    assert told.window_from <= Stop.objects.get(visit=visit).arrive <= told.window_to
    undo_plan(week=DAY, now=TEN)
    again = Visit.objects.get(pk=visit.pk)
    assert (again.window_from, again.window_to) == (
        stop.arrive - timedelta(minutes=15),
        stop.arrive + timedelta(minutes=45),
    )
    assert within(again, Stop.objects.get(visit=visit))


@pytest.mark.django_db
def test_hours_that_are_gone_are_not_held(planned: Company) -> None:
    visit_id = newcomer()
    with pytest.raises(CannotOffer):
        hold_window(visit_id=visit_id, key="1/never", day=DAY, moment=TEN, seed=1, by="hana", now=TEN)
    assert not HeldWindow.objects.exists()
    need = build_need(build_site("DIG"), kind="dig", blocked_by="No valid locate ticket.")
    with pytest.raises(CannotOffer, match="locate"):
        visit_for_need(need_id=need.pk, day=DAY)


@pytest.mark.django_db
def test_the_page_finds_holds_and_confirms_for_a_new_need(planned: Company, dispatcher: User) -> None:
    build_site("NEW", longitude=-104.69, latitude=41.21)
    client = Client()
    client.force_login(dispatcher)

    answer = client.post(
        "/week/appointment/", {"site": "NEW", "kind": "complaint", "reason": "Dry corner"}, follow=True
    )
    assert answer.status_code == 200
    offer = answer.context["offers"][0]
    visit_id = answer.context["visit"].visit_id
    held = client.post("/week/appointment/hold/", {"visit": visit_id, "offer": offer.key}, follow=True)
    number = held.context["held"].hold_id
    done = client.post(f"/week/holds/{number}/confirm/", follow=True)

    assert "every later plan keeps them" in done.content.decode()
    assert Visit.objects.get(pk=visit_id).state == "told"
    assert VisitNeed.objects.get(site__code="NEW").origin == "person"


@pytest.mark.django_db
def test_a_call_is_listed_with_its_words_noted_and_led_to_another_time(
    planned: Company, dispatcher: User
) -> None:
    accept_break(break_id=propose(_leak()), by="hana", now=TEN)
    found = call_list(show="open", page=1, words=hours_words(is_12_hour=False))
    row = next(one for one in found.rows if one.site == "LEAK")
    assert "between" in row.say
    assert "A leak" not in row.say
    assert row.mail.startswith("mailto:a%20b@hill.example?subject=")
    assert unquote(row.mail.split("body=")[1]) == row.write
    client = Client()
    client.force_login(dispatcher)
    assert "1 to call" in client.get(f"/week/?week={DAY}").content.decode() or found.open > 1

    answer = client.post(f"/week/calls/{row.call.pk}/note/", {"outcome": "no_answer", "note": "rang twice"})
    assert answer.status_code == 302
    assert CustomerCall.objects.get(pk=row.call.pk).note == "rang twice"
    assert call_list(show="open", page=1, words=hours_words(is_12_hour=True)).open == found.open
    answer = client.post(f"/week/calls/{row.call.pk}/note/", {"outcome": "other_time"})
    assert answer["Location"] == f"/week/appointment/?visit={row.call.visit_id}"
    call = CustomerCall.objects.get(pk=row.call.pk)
    assert (call.by, call.outcome) == ("hana", "other_time")
    with pytest.raises(CannotNote):
        note_call(call_id=call.pk, outcome="nonsense", note="", by="hana", now=TEN)


def _leak() -> BreakAsked:
    site = build_site("LEAK", longitude=-104.69, latitude=41.21, email="a b@hill.example")
    return BreakAsked(kind="urgent", site_id=site.pk, reason="Water runs down the drive.")


@given(
    st.lists(st.tuples(st.floats(0, 3600), st.floats(60, 7200)), min_size=1, max_size=8), st.integers(0, 9)
)
def test_the_span_of_arrival_is_in_order_and_widens_along_the_day(
    legs: list[tuple[float, float]], seed: int
) -> None:
    steps = [Step(drive, work, 0.0) for drive, work in legs]

    low, high = arrival_span(leave_s=27_000, steps=steps, seed=seed)

    planned = 27_000 + sum(drive for drive, _ in legs) + sum(work for _, work in legs[:-1])
    assert 27_000 <= low <= high
    first, last = window_of_span(span_s=(low, high), planned_s=planned)
    assert first <= planned <= last
    assert first % 900 == 0
    assert last - first >= 3600


def test_a_day_without_spread_arrives_as_planned_and_few_findings_weigh_little() -> None:
    low, high = arrival_span(leave_s=0, steps=[Step(0.0, 10.0, 500.0)], seed=1)
    assert (low, high) == (500.0, 500.0)
    assert work_spread([]) == work_spread([30.0]) == 0.35
    rng = np.random.default_rng(3)
    steady = [float(x) for x in rng.normal(60, 3, 400)]
    assert work_spread(steady) < 0.07
    assert EARLY < TEN


@pytest.mark.django_db
def test_slow_hours_count_in_what_an_offer_costs_and_what_is_held_holds(planned: Company) -> None:
    visit_id = newcomer(east=0.08)
    usual = find_offers(visit_id=visit_id, day=DAY, moment=EARLY, seed=1)
    save_rush_hours(text="x 2 from 00:00 to 24:00 every day", by="hana", now=EARLY)

    slow = find_offers(visit_id=visit_id, day=DAY, moment=EARLY, seed=1)

    assert min(offer.extra_min for offer in slow) > 1.5 * min(offer.extra_min for offer in usual)
    held = hold_window(
        visit_id=visit_id, key=slow[0].key, day=DAY, moment=EARLY, seed=1, by="hana", now=EARLY
    )
    stop = Stop.objects.get(visit__hold__pk=held.hold_id)
    assert slow[0].window_from <= stop.arrive <= slow[0].window_to

"""The day that breaks: proposals change nothing, accepting writes them, undo takes everything back."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.models import Company, CustomerCall, DayBreak, Route, Stop, Technician, Visit, VisitNeed
from fleet.services.on_site.stop_states import set_stop_state
from fleet.services.plan.break_change import BreakAsked, CannotBreak
from fleet.services.plan.customer_calls import note_call
from fleet.services.plan.day_breaks import Overtaken, accept_break, discard_break, propose_break
from fleet.services.plan.plan_routes import plan_routes, undo_plan
from fleet.services.plan.told_windows import tell_window
from sites.models import Change
from tests.factories import DAY, build_need, build_site, build_technician

pytestmark = pytest.mark.django_db
EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)  # midnight in the company's time zone
TEN = datetime(2026, 6, 15, 16, 0, tzinfo=UTC)  # ten in the morning there


@pytest.fixture
def planned(company: Company) -> Company:
    """Two people, sixteen gardens, a planned week."""
    for number in range(16):
        site = build_site(
            f"CB-{number:02}", longitude=-104.7 + 0.012 * (number % 4), latitude=41.2 + 0.01 * (number // 4)
        )
        build_need(site, value_per_day=5.0 + number)
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd")
    plan_routes(now=EARLY, week=DAY, seed=1, iterations=80)
    return company


def today(code: str) -> list[Stop]:
    """Stops with visits of a technician's day in order."""
    found = Stop.objects.filter(route__day=DAY, route__technician__code=code, visit__isnull=False)
    return list(found.select_related("visit__site", "route").order_by("order"))


def whole_plan() -> list[Any]:
    """Everything that a proposal might touch."""
    return [
        list(Stop.objects.order_by("pk").values()),
        list(Route.objects.order_by("pk").values()),
        # Counted up by every plan, back by none: calendars go by it.
        [{**row, "plan_revision": 0} for row in Visit.objects.order_by("pk").values()],
        list(VisitNeed.objects.order_by("pk").values()),
        list(Technician.objects.order_by("pk").values()),
        list(CustomerCall.objects.values("pk", "outcome")),
    ]


def tell(stop: Stop, before_min: int = 15, after_min: int = 45) -> None:
    """Tell a customer hours around the planned arrival."""
    tell_window(
        visit_id=stop.visit_id or 0,
        window_from=stop.arrive - timedelta(minutes=before_min),
        window_to=stop.arrive + timedelta(minutes=after_min),
        by="hana",
        now=EARLY,
        day=DAY,
    )


def visit_of(stop: Stop) -> Visit:
    """The visit of a stop, as it is now."""
    assert stop.visit_id is not None
    return Visit.objects.get(pk=stop.visit_id)


def within(visit: Visit, stop: Stop) -> bool:
    """Whether a stop begins in the hours that its customer knows."""
    assert visit.window_from is not None
    assert visit.window_to is not None
    return visit.window_from <= stop.arrive <= visit.window_to


def late(minutes: int, code: str = "T1") -> BreakAsked:
    return BreakAsked(kind="late", technician_id=Technician.objects.get(code=code).pk, minutes=minutes)


def propose(asked: BreakAsked, moment: datetime = TEN) -> int:
    return propose_break(asked=asked, day=DAY, moment=moment, by="hana", now=TEN).break_id


def breaks() -> list[tuple[str, BreakAsked]]:
    """One of each kind."""
    first = today("T1")[-1]
    person = Technician.objects.get(code="T1").pk
    site = build_site("LEAK", longitude=-104.69, latitude=41.21)
    return [
        ("late", late(90)),
        ("ill", BreakAsked(kind="ill", technician_id=person)),
        ("cancelled", BreakAsked(kind="cancelled", visit_id=first.visit_id or 0)),
        ("urgent", BreakAsked(kind="urgent", site_id=site.pk, reason="Water runs down the drive.")),
    ]


def test_a_proposal_of_any_kind_changes_nothing_and_undo_takes_back_what_was_accepted(
    planned: Company,
) -> None:
    for kind, asked in breaks():
        before = whole_plan()
        number = propose(asked)
        assert whole_plan() == before, kind

        accept_break(break_id=number, by="hana", now=TEN)
        assert whole_plan() != before, kind
        assert DayBreak.objects.get(pk=number).run is not None
        undo_plan(week=DAY, now=TEN)

        needs = VisitNeed.objects.exclude(site__code="LEAK").order_by("pk")
        assert list(needs.values()) == before[3], kind
        assert whole_plan()[0:3] == before[0:3], kind
        assert whole_plan()[4:] == before[4:], kind


def test_who_is_late_keeps_told_hours_by_handing_visits_over(planned: Company) -> None:
    stops = today("T1")
    set_stop_state(stop_id=stops[0].pk, state="finished", at=stops[0].depart)
    for stop in stops[1:3]:
        tell(stop)
    done = Stop.objects.values().get(pk=stops[0].pk)

    number = propose(late(120), moment=stops[0].depart)
    row = DayBreak.objects.get(pk=number)
    accept_break(break_id=number, by="hana", now=TEN)

    assert Stop.objects.values().get(pk=stops[0].pk) == done
    gave_way = {entry["visit"] for entry in row.rows if entry["gave_way"]}
    for stop in stops[1:3]:
        visit = visit_of(stop)
        now = Stop.objects.get(visit=visit)
        if visit.pk not in gave_way:
            assert within(visit, now)
    assert set(CustomerCall.objects.values_list("visit_id", flat=True)) == gave_way
    first = Stop.objects.filter(route__technician__code="T1", route__day=DAY, state="ahead").order_by("order")
    begun = first[0]
    assert begun.arrive >= stops[1].arrive - timedelta(minutes=stops[1].drive_min) + timedelta(minutes=120)


def test_everything_ahead_of_somebody_ill_goes_to_others_and_told_customers_are_called(
    planned: Company,
) -> None:
    stops = today("T1")
    set_stop_state(stop_id=stops[0].pk, state="finished", at=stops[0].depart)
    for stop in stops[1:]:
        tell(stop)

    number = propose(BreakAsked(kind="ill", technician_id=stops[0].route.technician_id), stops[0].depart)
    accept_break(break_id=number, by="hana", now=TEN)

    left = today("T1")
    assert [stop.pk for stop in left] == [stops[0].pk]
    assert Technician.objects.get(code="T1").days_off == DAY.isoformat()
    row = DayBreak.objects.get(pk=number)
    for stop in stops[1:]:
        visit = visit_of(stop)
        home = Stop.objects.filter(visit=visit).first()
        if visit.window_from is not None:
            assert home is not None
            assert within(visit, home)
        else:
            assert home is None
            assert visit.unserved_reason
    asked = {entry["visit"] for entry in row.rows if entry["gave_way"]}
    assert set(CustomerCall.objects.values_list("visit_id", flat=True)) == asked
    assert Change.objects.filter(kind="technician", key="T1").exists()


def test_a_cancelled_visit_is_off_the_road_and_comes_again_on_the_day_asked_for(planned: Company) -> None:
    stop = today("T1")[-1]
    need = VisitNeed.objects.get(visits=stop.visit_id)
    thursday = (DAY + timedelta(days=3)).isoformat()

    number = propose(BreakAsked(kind="cancelled", visit_id=stop.visit_id or 0, again_from=thursday))
    accept_break(break_id=number, by="hana", now=TEN)

    assert visit_of(stop).state == "cancelled"
    assert not Stop.objects.filter(visit=stop.visit).exists()
    need.refresh_from_db()
    assert (need.state, (need.earliest or EARLY).date().isoformat()) == ("open", thursday)
    plan_routes(now=TEN, week=DAY, seed=1, iterations=40)
    assert Stop.objects.get(visit__needs=need).route.day >= DAY + timedelta(days=3)


def test_a_leak_is_served_today_soon_and_its_customer_is_told(planned: Company) -> None:
    site = build_site("LEAK", longitude=-104.69, latitude=41.21)

    number = propose(BreakAsked(kind="urgent", site_id=site.pk, reason="Water runs down the drive."))
    done = accept_break(break_id=number, by="hana", now=TEN)

    stop = Stop.objects.get(visit__site=site)
    assert stop.route.day == DAY
    assert stop.arrive >= TEN
    visit = Visit.objects.get(site=site)
    assert within(visit, stop)
    call = CustomerCall.objects.get(visit=visit)
    assert (call.old_from, call.technician, done.calls >= 1) == (None, stop.route.technician.name, True)


@pytest.mark.parametrize("meanwhile", ["phone", "dispatcher"])
def test_a_plan_that_changed_meanwhile_is_told_and_nothing_is_lost(planned: Company, meanwhile: str) -> None:
    stop = today("T2")[0]
    code = visit_of(stop).site.code
    number = propose(late(60))
    if meanwhile == "phone":
        set_stop_state(stop_id=stop.pk, state="finished", at=TEN)
    else:
        tell(today("T2")[1])
    before = whole_plan()

    with pytest.raises(Overtaken) as told:
        accept_break(break_id=number, by="hana", now=TEN)

    assert whole_plan() == before
    assert (code in str(told.value)) == (meanwhile == "phone")


def test_a_proposal_is_decided_once(planned: Company) -> None:
    number = propose(late(60))
    assert discard_break(break_id=number, by="hana", now=TEN).changed
    assert not discard_break(break_id=number, by="ruth", now=TEN).changed
    with pytest.raises(CannotBreak):
        accept_break(break_id=number, by="ruth", now=TEN)


def test_an_old_proposal_is_not_written(planned: Company) -> None:
    number = propose(late(60))
    with pytest.raises(Overtaken):
        accept_break(break_id=number, by="hana", now=TEN + timedelta(minutes=16))


def test_who_was_reached_is_rung_again_after_undo(planned: Company) -> None:
    stop = today("T1")[1]
    tell(stop, 5, 5)
    Technician.objects.filter(code="T2").update(is_active=False)
    number = propose(late(240), moment=EARLY + timedelta(hours=8))
    accept_break(break_id=number, by="hana", now=TEN)
    call = CustomerCall.objects.get(visit=stop.visit)
    note_call(call_id=call.pk, outcome="agreed", note="", by="hana", now=TEN)

    undone = undo_plan(week=DAY, now=TEN)

    again = CustomerCall.objects.get(visit=stop.visit, outcome="open")
    assert undone.to_ring == 1
    assert (again.old_from, again.new_from) == (call.new_from, call.old_from)


@pytest.mark.parametrize(
    "asked",
    [
        {"kind": "flood"},
        {"kind": "late", "minutes": 0},
        {"kind": "late", "minutes": 30},
        {"kind": "ill", "technician_id": 0},
        {"kind": "cancelled", "visit_id": 0},
        {"kind": "urgent", "site_id": 0, "reason": "Water."},
        {"kind": "urgent", "site_id": 0, "reason": " "},
        {"kind": "urgent", "site_id": 1, "reason": "Water.", "service_min": float("nan")},
    ],
)
def test_what_cannot_be_planned_is_said(planned: Company, asked: dict[str, Any]) -> None:
    with pytest.raises(CannotBreak):
        propose(BreakAsked(**asked))
    assert not DayBreak.objects.exists()

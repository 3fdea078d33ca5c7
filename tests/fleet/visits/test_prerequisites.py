"""What must be there before a visit is planned, at its edges: ticket, tester, parts, the customer's word."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.visits.prerequisites import PartsWanted, able_on, share_parts
from fleet.models import Certificate, Company, Part, PartForKind, Route, StockPlace, Stop, Visit, VisitNeed
from fleet.selectors.visits.prerequisites import NO_TICKET, prerequisites_of
from fleet.services.company.stock import move_parts, truck_of
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.visits.raise_needs import refresh_prerequisites
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician


def test_a_certificate_counts_up_to_its_last_day() -> None:
    skills = frozenset({"backflow", "wiring"})

    assert able_on(skills, {"backflow": DAY}, DAY) == skills
    assert able_on(skills, {"backflow": DAY}, DAY + timedelta(days=1)) == {"wiring"}
    assert able_on(skills, {}, DAY) == {"wiring"}


def test_depot_stock_first_then_roomy_trucks_then_one_trucks_own() -> None:
    """Worked by hand: depot 1, T1 holds 1, T2 holds 3; four visits ask for one each, all together for 4."""
    wanted = [PartsWanted(key, {"sensor": 1}) for key in (1, 2, 3, 4, 5, 6)]

    found = share_parts(wanted, {"T1": {"sensor": 1}, "T2": {"sensor": 3}}, {"sensor": 1})

    assert found[1].trucks is None
    assert [sorted(found[key].trucks or ()) for key in (2, 3, 4, 5)] == [["T2"], ["T2"], ["T2"], ["T1"]]
    assert (found[6].trucks, found[6].missing) == (frozenset(), ("sensor",))
    roomy = share_parts(wanted[:2], {"T1": {"sensor": 2}, "T2": {"sensor": 3}, "T3": {}}, {})
    assert roomy[1].trucks == frozenset({"T1", "T2"})


@given(
    st.lists(st.dictionaries(st.sampled_from("ab"), st.integers(1, 3), min_size=1), max_size=6),
    st.dictionaries(
        st.sampled_from(("T1", "T2")), st.dictionaries(st.sampled_from("ab"), st.integers(-2, 5))
    ),
    st.dictionaries(st.sampled_from("ab"), st.integers(0, 4)),
    st.integers(0, 3),
)
def test_no_plan_that_keeps_to_the_shares_uses_more_than_there_is(
    asked: list[dict[str, int]], trucks: dict[str, dict[str, int]], depot: dict[str, int], turn: int
) -> None:
    """Whoever is picked of those allowed: what trucks lack is covered by the depots together."""
    found = share_parts([PartsWanted(n, parts) for n, parts in enumerate(asked)], trucks, depot)
    names = sorted(trucks)
    used: dict[str, dict[str, int]] = {}
    for n, parts in enumerate(asked):
        allowed = found[n].trucks
        pick = sorted(names if allowed is None else allowed)
        if allowed is not None and not pick:
            continue
        who = pick[(n + turn) % len(pick)] if pick else "nobody"
        own = used.setdefault(who, {})
        for part, count in parts.items():
            own[part] = own.get(part, 0) + count
    for part in "ab":
        short = sum(
            max(0, own.get(part, 0) - max(0, trucks.get(who, {}).get(part, 0))) for who, own in used.items()
        )
        assert short <= depot.get(part, 0)


@pytest.mark.django_db
def test_a_ticket_holds_on_its_last_day_and_not_the_day_after(company: Company) -> None:
    build_technician(skills="dig")
    need = build_need(build_site(), kind="dig", skill="dig", locate_ticket="T-9", locate_valid_until=DAY)

    refresh_prerequisites(day=DAY)
    need.refresh_from_db()
    assert need.blocked_by == ""
    plan_routes(now=NOW.replace(hour=6), week=DAY, iterations=20)
    assert Route.objects.get(stops__visit__needs=need).day == DAY  # no later day of the week is covered

    refresh_prerequisites(day=DAY + timedelta(days=1))
    need.refresh_from_db()
    assert need.blocked_by == NO_TICKET


@pytest.mark.django_db
def test_a_tester_is_planned_up_to_the_certificates_last_day(company: Company) -> None:
    person = build_technician(skills="backflow", workdays="wed,thu")
    need = build_need(build_site(), kind="backflow_test", skill="backflow")
    Certificate.objects.update(valid_until=DAY + timedelta(days=1))  # Tuesday: over before the first workday

    plan_routes(now=NOW, week=DAY, iterations=20)
    assert not Stop.objects.filter(visit__needs=need).exists()
    assert "backflow" in Visit.objects.get().unserved_reason

    Certificate.objects.update(valid_until=DAY + timedelta(days=2))
    plan_routes(now=NOW, week=DAY, iterations=20)
    assert Route.objects.get(stops__visit__needs=need).day == DAY + timedelta(days=2)

    Certificate.objects.filter(technician=person).delete()
    refresh_prerequisites(day=DAY)
    need.refresh_from_db()
    assert "No certified tester" in need.blocked_by
    assert [(one.word, one.is_met) for one in prerequisites_of(need, day=DAY)] == [
        ("Certified tester", False)
    ]


@pytest.mark.django_db
def test_visits_go_with_the_truck_that_holds_their_parts(company: Company) -> None:
    sensor = Part.objects.create(code="sensor", name="sensor")
    PartForKind.objects.create(kind="repair", part=sensor, count=1)
    build_technician("T1")
    second = build_technician("T2", name="Tomas Rudd", start_latitude=41.4, end_latitude=41.4)
    dear = build_need(build_site(), key="a", kind="repair", value_per_day=90.0)
    cheap = build_need(build_site("QT-01"), key="b", kind="repair", value_per_day=60.0)

    refresh_prerequisites(day=DAY)
    dear.refresh_from_db()
    assert dear.blocked_by == (
        "Parts: no truck or depot has enough of sensor left. 1 sensor loaded or bought in would free it."
    )

    move_parts(
        source_id=None, target_id=truck_of(technician_id=second.pk).pk, counts={"sensor": 1}, by="x", now=NOW
    )
    refresh_prerequisites(day=DAY)
    rows = dict(VisitNeed.objects.values_list("key", "blocked_by"))
    assert rows["a"] == ""  # the dearer one takes the only sensor
    assert rows["b"].startswith("Parts:")
    plan_routes(now=NOW, week=DAY, iterations=20)
    assert Route.objects.get(stops__visit__needs=dear).technician == second  # though T1 is nearer

    depot = StockPlace.objects.create(code="depot", name="Depot")
    move_parts(source_id=None, target_id=depot.pk, counts={"sensor": 5}, by="x", now=NOW)
    refresh_prerequisites(day=DAY)
    cheap.refresh_from_db()
    assert cheap.blocked_by == ""


@pytest.mark.django_db
def test_several_things_lacking_are_all_told(company: Company) -> None:
    need = build_need(build_site(), kind="dig", skill="dig", needs_approval=True)

    refresh_prerequisites(day=DAY)

    need.refresh_from_db()
    assert need.blocked_by == f"{NO_TICKET} The customer's approval: no quote has been made. Make one."
    assert refresh_prerequisites(day=DAY) == 0  # running it twice changes nothing
    assert date(2026, 6, 15) == DAY

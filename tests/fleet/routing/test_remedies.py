"""A longer day that would let a visit in is found by trying, is the least one, and really holds it."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.routing.plan import Plan
from fleet.routing.problem import Problem, Visit, Window
from fleet.routing.remedies import MOST_EXTRA_S, STEP_S, longer_days
from fleet.routing.schedule import plan_from_orders, schedule_route
from tests.fleet.routing.invented_days import HOUR_S, invented_problem
from tests.fleet.routing.test_solve_laws import ALL_DAY, person, quick, tiny


def planned(problem: Problem, orders: dict[int, list[int]]) -> Plan:
    """The plan of these orders."""
    plan = plan_from_orders(problem, orders)
    assert plan is not None
    return plan


def test_a_full_day_would_have_to_be_longer_by_the_work_and_its_drive() -> None:
    # 8 h shift: four visits of 110 minutes and five drives of 10 fill it to 8:10, so three are in.
    visits = tuple(Visit(str(n), 1 + n, 110 * 60, ALL_DAY) for n in range(4))
    problem = tiny(visits, (person(),))
    plan = planned(problem, {0: [0, 1, 2]})

    found = longer_days(problem, plan, [3])

    assert (found[3].vehicle, found[3].extra_s) == (0, STEP_S)  # 10 minutes, in quarters of an hour


def test_the_person_who_lacks_least_is_named_and_skills_count() -> None:
    visits = (
        *(Visit(str(n), 1 + n, 220 * 60, ALL_DAY) for n in range(4)),
        Visit("more", 5, 60 * 60, ALL_DAY, skills=frozenset({"dig"})),
    )
    people = (person("a", skills=frozenset({"dig"})), person("b", shift_end_s=17 * HOUR_S))
    problem = tiny(visits, people)

    found = longer_days(problem, planned(problem, {0: [0, 1], 1: [2, 3]}), [4])

    assert (found[4].vehicle, found[4].extra_s) == (0, 4 * STEP_S)  # an hour, one more drive, 10 minutes free


def test_where_two_hours_do_not_do_nobody_is_named() -> None:
    night = (Window(2 * HOUR_S, 3 * HOUR_S, 9),)
    visits = (Visit("long", 1, 11 * 3600, ALL_DAY), Visit("night", 2, 600, night))

    assert longer_days(tiny(visits, (person(),)), planned(tiny(visits, (person(),)), {}), [0, 1]) == {}


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(0, 5_000))
def test_the_longer_day_holds_the_visit_and_a_quarter_less_does_not(seed: int) -> None:
    problem = invented_problem(seed, visits=30, technicians=2)
    plan = quick(problem)
    left = [one.visit for one in plan.unserved]
    routes = {route.vehicle: list(route.visits) for route in plan.routes}

    for visit, one in longer_days(problem, plan, left).items():
        order = routes.get(one.vehicle, [])

        def fits(
            extra_s: int, visit: int = visit, number: int = one.vehicle, order: list[int] = order
        ) -> bool:
            who = problem.vehicles[number]
            longer = replace(
                problem,
                vehicles=tuple(
                    replace(v, shift_end_s=v.shift_end_s + extra_s) if v is who else v
                    for v in problem.vehicles
                ),
            )
            return any(
                schedule_route(longer, number, [*order[:at], visit, *order[at:]])
                for at in range(len(order) + 1)
            )

        assert 0 < one.extra_s <= MOST_EXTRA_S
        assert fits(one.extra_s)
        if one.extra_s > STEP_S:
            assert not fits(one.extra_s - STEP_S)

"""The last step of a search: moves on the real clock, routes put together anew, and the search beside it."""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Sequence
from itertools import product

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.routing import second_core
from fleet.routing.check import plan_faults
from fleet.routing.polish import polished
from fleet.routing.problem import Break, Problem, Vehicle, Visit, Window
from fleet.routing.problem_file import read_problem, write_problem
from fleet.routing.pyvrp_plan import improved_orders
from fleet.routing.route_pool import MOST_ROUTES, RoutePool, Seen, best_of_routes, worth_of
from fleet.routing.schedule import plan_from_orders, schedule_route
from fleet.routing.second_core import Answered, start_second
from fleet.routing.solve import warm_start
from tests.fleet.routing.invented_days import HOUR_S, invented_problem

FEW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def never() -> bool:
    return False


def pool_of(routes: Sequence[Seen]) -> RoutePool:
    pool = RoutePool()
    pool.add_all(routes)
    return pool


@FEW
@given(
    seed=st.integers(0, 10_000),
    visits=st.integers(1, 24),
    technicians=st.integers(1, 4),
    days=st.integers(1, 2),
    locked=st.sampled_from([0.0, 0.2]),
)
def test_moves_make_no_plan_worse_and_keep_every_bound(
    seed: int, visits: int, technicians: int, days: int, locked: float
) -> None:
    problem = invented_problem(seed, visits=visits, technicians=technicians, days=days, locked_share=locked)
    first = warm_start(problem, seconds=None)

    orders = polished(problem, {r.vehicle: r.visits for r in first.routes}, is_over=never)

    plan = plan_from_orders(problem, orders)
    assert plan is not None
    assert plan_faults(problem, plan) == ()
    assert plan.rank <= first.rank


@FEW
@given(seed=st.integers(0, 10_000))
def test_from_an_empty_plan_moves_take_in_what_pays(seed: int) -> None:
    problem = invented_problem(seed, visits=12, technicians=2)

    plan = plan_from_orders(problem, polished(problem, {}, is_over=never))

    assert plan is not None
    assert plan_faults(problem, plan) == ()
    for route in plan.routes:
        assert sum(stop.prize for stop in route.stops) >= route.travel_cost
    alone = [schedule_route(problem, v, [n]) for v in range(2) for n in range(12)]
    if any(route is not None and route.stops[0].prize > route.travel_cost for route in alone):
        assert plan.routes


def test_told_to_end_the_moves_leave_the_plan_as_it_is() -> None:
    problem = invented_problem(4, visits=15, technicians=2)
    first = warm_start(problem, seconds=None)
    orders = {r.vehicle: r.visits for r in first.routes}

    assert polished(problem, orders, is_over=lambda: True) == orders


def test_a_break_that_may_lie_late_lets_in_what_the_clock_without_lunch_cannot() -> None:
    # Two hours' work from eight, then a visit that must begin by 12:35: only with the break after it.
    day = Window(0, 24 * HOUR_S - 1, 10_000)
    long_work = Visit("long", 1, 4 * HOUR_S, (day,))
    at_noon = Visit("noon", 2, HOUR_S, (Window(12 * HOUR_S, 12 * HOUR_S + 2100, 10_000),))
    duration = np.array([[0, 600, 600], [600, 0, 600], [600, 600, 0]], dtype=np.int64)
    pause = Break(11 * HOUR_S, 14 * HOUR_S, 1800)
    who = Vehicle("a", "a", 0, 0, 8 * HOUR_S, 16 * HOUR_S, pause=pause)
    problem = Problem((long_work, at_noon), (who,), duration, duration, duration)

    orders = polished(problem, {0: [0]}, is_over=never)

    assert orders == {0: (0, 1)}
    route = schedule_route(problem, 0, orders[0])
    assert route is not None
    assert route.pause is not None
    assert route.pause.after == 2


@FEW
@given(seed=st.integers(0, 10_000), locked=st.sampled_from([0.0, 0.2]))
def test_the_choice_among_routes_is_the_best_there_is(seed: int, locked: float) -> None:
    problem = invented_problem(seed, visits=9, technicians=3, locked_share=locked)
    rng = np.random.default_rng(seed)
    routes: list[Seen] = []
    for vehicle in range(3):
        for _ in range(4):
            order = rng.permutation(9)[: rng.integers(1, 4)].tolist()
            if schedule_route(problem, vehicle, order) is not None:
                routes.append((vehicle, tuple(order)))

    pool = pool_of(routes)
    found = best_of_routes(problem, pool, at_least=0, seconds=10)

    best = _by_trying_all(problem, routes)
    if best <= 0:
        assert found is None
    else:
        assert found is not None
        plan = plan_from_orders(problem, found)
        assert plan is not None
        assert plan_faults(problem, plan) == ()
        assert worth_of(problem, found) == pytest.approx(best)
        assert best_of_routes(problem, pool, at_least=best, seconds=10) is None


def _by_trying_all(problem: Problem, routes: Sequence[Seen]) -> float:
    """Most that any choice of one route or none for each vehicle wins; those of people alike, too."""
    locks = {visit.vehicle for visit in problem.visits}
    options: list[list[tuple[int, ...]]] = []
    for number, vehicle in enumerate(problem.vehicles):
        seen = {
            order
            for who, order in routes
            if who == number
            or (
                not locks & {vehicle.key, problem.vehicles[who].key}
                and _of(problem.vehicles[who]) == _of(vehicle)
            )
        }
        options.append([(), *sorted(seen)])
    best = 0.0
    for choice in product(*options):
        visits = [visit for order in choice for visit in order]
        if len(set(visits)) == len(visits):
            best = max(best, worth_of(problem, {n: o for n, o in enumerate(choice) if o}))
    return best


def test_two_people_who_are_alike_may_both_take_routes_seen_of_one() -> None:
    problem = invented_problem(3, visits=6, technicians=1)
    twin = problem.vehicles[0]
    both = (twin, Vehicle("twin", "twin", *_of(twin)))
    problem = Problem(problem.visits, both, problem.duration_s, problem.distance_m, problem.cost)
    able = [v for v in range(6) if schedule_route(problem, 0, [v]) is not None][:2]

    found = best_of_routes(problem, pool_of([(0, (able[0],)), (0, (able[1],))]), at_least=0, seconds=5)

    assert found is not None
    assert sorted(visit for order in found.values() for visit in order) == able


def _of(who: Vehicle) -> tuple[int, int, int, int, frozenset[str], Break | None]:
    return (who.start_place, who.end_place, who.shift_start_s, who.shift_end_s, who.skills, who.pause)


def test_the_pool_forgets_the_oldest_routes() -> None:
    pool = RoutePool()
    for number in range(2 * MOST_ROUTES + 5):
        pool.add(0, (number,), worth=float(number))
        assert len(pool.routes) <= MOST_ROUTES
    pool.add(0, (2 * MOST_ROUTES,))

    assert (0, (0,)) not in pool.routes
    assert pool.routes[-1] == (0, (2 * MOST_ROUTES,))
    assert pool.worth((0, (2 * MOST_ROUTES,))) == 2 * MOST_ROUTES  # what a search said of it stays


@FEW
@given(seed=st.integers(0, 10_000), days=st.integers(1, 2), locked=st.sampled_from([0.0, 0.2]))
def test_what_a_search_says_of_its_routes_is_what_they_win(seed: int, days: int, locked: float) -> None:
    problem = invented_problem(seed, visits=14, technicians=2, days=days, locked_share=locked)
    pool = RoutePool()

    improved_orders(problem, {}, seconds=None, seed=seed, iterations=60, pool=pool)

    assert pool.routes
    for vehicle, order in pool.routes:
        told = pool.worth((vehicle, order))
        # Where the break leaves no room the route cannot be driven; a start in a later window wins less.
        if days == 1 and schedule_route(problem, vehicle, order) is not None:
            assert told == worth_of(problem, {vehicle: order})


@FEW
@given(seed=st.integers(0, 10_000), iterations=st.integers(2, 80))
def test_a_search_that_gathers_its_routes_repeats_exactly_and_takes_as_many_steps(
    seed: int, iterations: int
) -> None:
    problem = invented_problem(seed, visits=14, technicians=2)
    asked = 0

    def count(_: object) -> bool:
        nonlocal asked
        asked += 1
        return False

    found = [
        improved_orders(
            problem, {}, seconds=None, seed=seed, iterations=iterations, is_over=count, pool=RoutePool()
        )
        for _ in range(2)
    ]

    assert found[0] == found[1]
    assert asked == 2 * (iterations + 2)  # once more at the end of each of the two legs


@FEW
@given(seed=st.integers(0, 10_000), locked=st.sampled_from([0.0, 0.3]))
def test_a_problem_comes_back_from_its_file_as_it_was(seed: int, locked: float) -> None:
    problem = invented_problem(seed, visits=8, technicians=2, days=2, locked_share=locked)
    file = io.BytesIO()

    write_problem(problem, {"seed": 3.0}, file)
    file.seek(0)
    again, told = read_problem(file)

    assert told == {"seed": 3.0}
    assert (again.visits, again.vehicles) == (problem.visits, problem.vehicles)
    for name in ("duration_s", "distance_m", "cost"):
        assert (getattr(again, name) == getattr(problem, name)).all()


@pytest.fixture
def two_cores(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(second_core, "cores", lambda: 2)


@pytest.mark.usefixtures("two_cores")
def test_the_search_beside_brings_plans_and_routes_that_can_be_driven() -> None:
    problem = invented_problem(11, visits=25, technicians=3)

    second = start_second(problem, seconds=12.0, seed=5)  # a busy machine takes seconds to start it
    assert second is not None
    told = second.collect(wait_s=60)

    assert told.plans
    assert told.routes
    plans = [plan for orders in told.plans if (plan := plan_from_orders(problem, orders)) is not None]
    assert plans
    assert all(plan_faults(problem, plan) == () for plan in plans)


@pytest.mark.usefixtures("two_cores")
def test_told_to_end_the_search_beside_hands_over_at_once_or_nothing() -> None:
    problem = invented_problem(11, visits=25, technicians=3)
    second = start_second(problem, seconds=600.0, seed=5)
    assert second is not None

    began = time.perf_counter()
    told = second.collect(wait_s=0.0)

    assert isinstance(told, Answered)
    assert time.perf_counter() - began < 30


@pytest.mark.usefixtures("two_cores")
@pytest.mark.parametrize("program", ["/bin/false", "/no/such/program"])
def test_without_a_process_the_first_search_is_alone(program: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", program)

    second = start_second(invented_problem(11, visits=25, technicians=3), seconds=3.0, seed=5)

    if second is not None:
        assert second.collect(wait_s=5) == Answered()
        second.close()


def test_one_core_or_a_moment_is_not_worth_a_second_search(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = invented_problem(11, visits=25, technicians=3)
    monkeypatch.setattr(second_core, "cores", lambda: 1)
    assert start_second(problem, seconds=60.0, seed=5) is None
    monkeypatch.setattr(second_core, "cores", lambda: 2)
    assert start_second(problem, seconds=1.0, seed=5) is None

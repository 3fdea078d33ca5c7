"""Mending a broken day: laws on invented days, proven by the checker that shares no code with it."""

from __future__ import annotations

from dataclasses import replace

import hypothesis.strategies as st
from hypothesis import given, settings

from fleet.routing.check import plan_faults
from fleet.routing.mend import Mended, Urgency, mend
from fleet.routing.problem import Problem, Visit, Window
from fleet.routing.schedule import plan_from_orders
from fleet.routing.solve import warm_start
from tests.fleet.routing.invented_days import DAY_S, HOUR_S, invented_problem

Orders = dict[int, list[int]]


def told(problem: Problem, share: int) -> tuple[Problem, Orders]:
    """A planned problem in which every so many planned visit was told two hours around its time."""
    plan = warm_start(problem, seconds=None)
    starts = {stop.visit: stop for route in plan.routes for stop in route.stops}
    visits: list[Visit] = []
    for number, visit in enumerate(problem.visits):
        stop = starts.get(number)
        if stop is not None and number % share == 0:
            window = Window(max(0, stop.start_s - 1800), stop.start_s + 5400, stop.prize)
            visit = replace(visit, windows=(window,), must=True)
        visits.append(visit)
    again = Problem(tuple(visits), problem.vehicles, problem.duration_s, problem.distance_m, problem.cost)
    orders = {route.vehicle: list(route.visits) for route in plan.routes}
    return again, orders


def late(problem: Problem, vehicle: int, minutes: int) -> Problem:
    """The same with one technician who starts later."""
    who = problem.vehicles[vehicle]
    start = min(who.shift_start_s + minutes * 60, who.shift_end_s)
    pause = who.pause
    if pause is not None and start > pause.latest_s:
        pause = None
    vehicles = list(problem.vehicles)
    vehicles[vehicle] = replace(who, shift_start_s=start, pause=pause)
    return Problem(problem.visits, tuple(vehicles), problem.duration_s, problem.distance_m, problem.cost)


def assert_lawful(done: Mended, problem: Problem, orders: Orders) -> None:
    """Each visit at most once; nothing told is broken unless it is listed; the checker finds nothing."""
    assert not plan_faults(done.problem, done.plan)
    served = [stop.visit for route in done.plan.routes for stop in route.stops]
    assert len(served) == len(set(served))
    left = {one.visit for one in done.plan.unserved}
    assert set(served) | left == set(range(len(problem.visits)))
    assert all(one.reason for one in done.plan.unserved)
    for route in done.plan.routes:
        for stop in route.stops:
            if problem.visits[stop.visit].must and stop.visit not in done.freed:
                assert any(w.start_s <= stop.start_s <= w.end_s for w in problem.visits[stop.visit].windows)


@settings(max_examples=12)
@given(st.integers(0, 500), st.integers(5, 240), st.integers(2, 4))
def test_a_late_day_keeps_the_laws_and_the_days_of_others(seed: int, minutes: int, share: int) -> None:
    before, orders = told(invented_problem(seed, visits=24, technicians=3, days=2), share)
    broken = late(before, 0, minutes)
    whole = {n: (Window(0, 2 * DAY_S - 1),) for n, v in enumerate(before.visits) if v.must}

    done = mend(broken, orders, wider=whole, least_gain=300)

    assert_lawful(done, broken, orders)
    missed = {one.visit for one in done.plan.unserved if broken.visits[one.visit].must}
    assert missed <= done.freed  # a told visit falls out only after every other hour was tried


@settings(max_examples=8)
@given(st.integers(0, 500))
def test_a_day_that_still_holds_stays_as_it_is(seed: int) -> None:
    problem, orders = told(invented_problem(seed, visits=20, technicians=3), 3)

    done = mend(problem, orders, least_gain=10**9)

    assert {route.vehicle: list(route.visits) for route in done.plan.routes} == orders
    assert done.freed == frozenset()


@settings(max_examples=10)
@given(st.integers(0, 500), st.integers(0, 8))
def test_visits_of_somebody_who_is_ill_go_to_others_or_say_why_not(seed: int, hour: int) -> None:
    problem, orders = told(invented_problem(seed, visits=24, technicians=4), 3)
    gone = 0
    lost = orders.pop(gone, [])
    vehicles = tuple(
        replace(v, skills=frozenset(), shift_end_s=v.shift_start_s, pause=None) if n == gone else v
        for n, v in enumerate(problem.vehicles)
    )
    broken = Problem(problem.visits, vehicles, problem.duration_s, problem.distance_m, problem.cost)

    done = mend(broken, orders, lost=lost, least_gain=300)

    assert_lawful(done, broken, orders)
    kept = {stop.visit for route in done.plan.routes for stop in route.stops}
    held = {visit for order in orders.values() for visit in order if broken.visits[visit].must}
    assert held <= kept  # nobody who was told and has their technician loses the place


@settings(max_examples=8)
@given(st.integers(0, 500), st.integers(8, 14))
def test_an_urgent_visit_gets_a_place_where_one_exists_and_pushes_out_nobody_told(
    seed: int, hour: int
) -> None:
    problem, orders = told(invented_problem(seed, visits=24, technicians=3), 2)
    now = hour * HOUR_S
    leak = replace(
        problem.visits[0],
        key="leak",
        windows=(Window(now, DAY_S - 1, 20_000),),
        skills=frozenset(),
        must=True,
        service_s=1800,
        vehicle=None,
    )
    visits = (*problem.visits, leak)
    broken = Problem(visits, problem.vehicles, problem.duration_s, problem.distance_m, problem.cost)

    done = mend(broken, orders, urgent=Urgency(len(visits) - 1, now, 2_000), least_gain=300)

    assert_lawful(done, broken, orders)
    kept = {stop.visit for route in done.plan.routes for stop in route.stops}
    musts = {v for order in orders.values() for v in order if broken.visits[v].must}
    assert musts <= kept
    assert plan_from_orders(broken, orders) is not None

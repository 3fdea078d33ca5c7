"""Plans where driving takes longer at some hours: the laws hold, and without such hours nothing changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.calc.plan.travel_hours import RushSpan, TravelHours
from fleet.routing.check import plan_faults
from fleet.routing.mend import mend
from fleet.routing.plan import Plan
from fleet.routing.problem import Break, Problem, Vehicle, Visit, Window
from fleet.routing.schedule import plan_from_orders, schedule_route
from fleet.routing.solve import solve, warm_start
from tests.fleet.routing.invented_days import DAY_S, HOUR_S, invented_problem

FEW = settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
FACTORS = st.sampled_from([0.6, 1.3, 2.0, 3.0])


def slow(problem: Problem, morning: float, noon: float) -> Problem:
    """The problem with slow mornings and other noons."""
    spans = (RushSpan(7 * HOUR_S, 9 * HOUR_S, morning), RushSpan(11 * HOUR_S, 13 * HOUR_S, noon))
    return replace(problem, hours=TravelHours(spans, settle_s=120.0, points_per_hour=4200.0))


@FEW
@given(
    seed=st.integers(0, 10_000),
    visits=st.integers(1, 20),
    technicians=st.integers(1, 4),
    days=st.integers(1, 3),
    morning=FACTORS,
    noon=FACTORS,
)
def test_every_plan_through_slow_hours_passes_the_independent_checker(
    seed: int, visits: int, technicians: int, days: int, morning: float, noon: float
) -> None:
    problem = slow(invented_problem(seed, visits=visits, technicians=technicians, days=days), morning, noon)
    first = warm_start(problem, seconds=None)

    plan = solve(problem, seconds=1, seed=1, iterations=60)

    assert plan_faults(problem, first) == ()
    assert plan_faults(problem, plan) == ()
    assert plan.rank <= first.rank
    assert all(left.code and left.reason for left in plan.unserved)


@FEW
@given(seed=st.integers(0, 10_000), order_seed=st.integers(0, 100), morning=FACTORS, noon=FACTORS)
def test_the_checker_agrees_with_any_order_that_can_be_timed(
    seed: int, order_seed: int, morning: float, noon: float
) -> None:
    problem = slow(invented_problem(seed, visits=7, technicians=2), morning, noon)
    rng = np.random.default_rng(order_seed)
    for vehicle in range(2):
        order = rng.permutation(7)[: rng.integers(1, 6)].tolist()
        if schedule_route(problem, vehicle, order) is not None:
            plan = plan_from_orders(problem, {vehicle: order})
            assert plan is not None
            assert plan_faults(problem, plan) == ()


@FEW
@given(seed=st.integers(0, 10_000), shift=st.integers(1, 3 * 3600))
def test_whoever_starts_later_is_nowhere_earlier(seed: int, shift: int) -> None:
    problem = slow(invented_problem(seed, visits=4, technicians=1), 2.0, 1.5)
    who = problem.vehicles[0]
    later = replace(problem, vehicles=(replace(who, shift_start_s=who.shift_start_s + shift),))
    order = list(range(4))

    first, second = schedule_route(problem, 0, order), schedule_route(later, 0, order)

    if second is not None:
        assert first is not None
        assert all(a.start_s <= b.start_s for a, b in zip(first.stops, second.stops, strict=True))


@FEW
@given(seed=st.integers(0, 10_000), days=st.integers(1, 2))
def test_factors_of_one_change_no_plan(seed: int, days: int) -> None:
    problem = invented_problem(seed, visits=14, technicians=2, days=days)
    ones = slow(problem, 1.0, 1.0)

    usual = solve(problem, seconds=1, seed=1, iterations=60)
    same = solve(ones, seconds=1, seed=1, iterations=60)

    assert plan_faults(ones, same) == ()
    assert _served(same) == _served(usual)
    assert same.cost == usual.cost


def _served(plan: Plan) -> set[int]:
    return {visit for route in plan.routes for visit in route.visits}


@FEW
@given(seed=st.integers(0, 10_000), morning=FACTORS)
def test_a_day_that_breaks_is_mended_through_slow_hours(seed: int, morning: float) -> None:
    problem = slow(invented_problem(seed, visits=14, technicians=3), morning, 1.5)
    first = warm_start(problem, seconds=None)
    late = tuple(
        replace(v, shift_start_s=v.shift_start_s + 7200) if n == 0 else v
        for n, v in enumerate(problem.vehicles)
    )
    broken = replace(problem, vehicles=late)

    mended = mend(broken, {route.vehicle: route.visits for route in first.routes})

    assert mended.problem.hours == problem.hours
    assert plan_faults(mended.problem, mended.plan) == ()


def test_a_visit_that_the_rush_makes_late_is_left_out_or_comes_later() -> None:
    """Half an hour away, service by 08:25: without a rush in time from 07:50, at double time not at all."""
    visit = Visit("x", 1, 600, (Window(8 * HOUR_S, 8 * HOUR_S + 1500, 90_000),))
    who = Vehicle("a", "a", 0, 0, 7 * HOUR_S + 3000, 16 * HOUR_S)
    duration = np.array([[0, 1800], [1800, 0]], dtype=np.int64)
    usual = Problem((visit,), (who,), duration, duration, duration)
    rush = replace(usual, hours=TravelHours((RushSpan(7 * HOUR_S, 9 * HOUR_S, 2.0),)))

    assert [r.visits for r in solve(usual, seconds=1, seed=1, iterations=20).routes] == [(0,)]
    late = solve(rush, seconds=1, seed=1, iterations=20)
    assert late.routes == ()
    assert late.unserved[0].code == "too_long"


def test_a_break_is_taken_before_the_rush_or_after_it_as_suits() -> None:
    """From eleven driving takes three times as long until noon: the break at eleven, then the drive."""
    day = Window(0, DAY_S - 1, 50_000)
    visits = (Visit("x", 1, 3 * HOUR_S - 1800, (day,)), Visit("y", 2, HOUR_S, (day,)))
    duration = np.full((3, 3), 1800, dtype=np.int64)
    np.fill_diagonal(duration, 0)
    who = Vehicle("a", "a", 0, 0, 8 * HOUR_S, 16 * HOUR_S, pause=Break(11 * HOUR_S, 13 * HOUR_S, HOUR_S))
    hours = TravelHours((RushSpan(11 * HOUR_S, 12 * HOUR_S, 3.0),))
    problem = Problem(visits, (who,), duration, duration, duration, hours=hours)

    plan = plan_from_orders(problem, {0: [0, 1]})

    assert plan is not None
    assert plan_faults(problem, plan) == ()
    route = plan.routes[0]
    assert route.pause is not None
    starts = [stop.start_s / HOUR_S for stop in route.stops]
    assert starts == pytest.approx([8.5, 12.5])
    assert route.stops[1].drive_s == 1800
    assert route.pause.start_s == 11 * HOUR_S


def test_longer_driving_costs_money() -> None:
    visit = Visit("x", 1, 600, (Window(0, DAY_S - 1, 90_000),))
    who = Vehicle("a", "a", 0, 0, 8 * HOUR_S, 16 * HOUR_S)
    duration = np.array([[0, 1800], [1800, 0]], dtype=np.int64)
    usual = Problem((visit,), (who,), duration, duration, duration)
    hours = TravelHours((RushSpan(8 * HOUR_S, 16 * HOUR_S, 1.5),), points_per_hour=4000.0)

    first, second = (plan_from_orders(problem, {0: [0]}) for problem in (usual, replace(usual, hours=hours)))

    assert first is not None
    assert second is not None
    assert second.routes[0].drive_s == 2 * 2700
    assert second.travel_cost - first.travel_cost == 2000
    assert usual.at_mean_hours() is usual
    mean = replace(usual, hours=hours).at_mean_hours()
    assert mean.hours is None
    assert mean.duration_s[0, 1] == 2700

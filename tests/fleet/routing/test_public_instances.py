"""Checker and solvers on public instances with their best known routes (Solomon 1987; Gehring and Homberger
1999; files from the PyVRP instances repository, MIT licence, see tests/data/README.md)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.routing.check import plan_faults
from fleet.routing.schedule import plan_from_orders
from fleet.routing.solve import solve, warm_start
from tests.fleet.routing.invented_days import invented_problem
from tests.fleet.routing.public_instances import read_instance

# Best known costs as published with the files, one decimal (tenths here).
BEST_KNOWN = {
    "C101": 8273,
    "R101": 16377,
    "RC101": 16198,
    "R201": 11432,
    "C201": 5891,
    "R1_2_1": 46672,
    "C2_2_1": 19221,
}


@pytest.mark.parametrize("name", BEST_KNOWN)
def test_best_known_routes_pass_the_checker_at_their_published_cost(name: str) -> None:
    instance = read_instance(name)

    plan = plan_from_orders(instance.problem, instance.best_orders)

    assert plan is not None
    assert plan_faults(instance.problem, plan) == ()
    assert plan.travel_cost == instance.best_cost == BEST_KNOWN[name]
    assert plan.missed_musts == 0


def test_checker_refuses_a_best_known_plan_with_two_stops_exchanged() -> None:
    instance = read_instance("R101")
    plan = plan_from_orders(instance.problem, instance.best_orders)
    assert plan is not None
    route = next(route for route in plan.routes if len(route.stops) > 4)
    stops = list(route.stops)
    stops[1], stops[3] = stops[3], stops[1]

    wrong = replace(
        plan, routes=tuple(replace(r, stops=tuple(stops)) if r is route else r for r in plan.routes)
    )

    assert any("starts before the drive" in fault for fault in plan_faults(instance.problem, wrong))


@pytest.mark.parametrize(("name", "most_pct"), [("C101", 0.5), ("R101", 1.0), ("RC101", 3.0)])
def test_solved_instances_come_within_a_few_percent_of_the_best_known(name: str, most_pct: float) -> None:
    instance = read_instance(name)

    plan = solve(instance.problem, seconds=1, seed=1, iterations=1500)

    assert plan.missed_musts == 0
    assert plan.cost <= instance.best_cost * (1 + most_pct / 100)
    assert plan.cost >= instance.best_cost


def test_the_improved_plan_is_never_worse_than_the_first_one() -> None:
    problem = invented_problem(8, visits=40, technicians=4)
    first = warm_start(problem, seconds=None)

    plan = solve(problem, seconds=1, seed=3, iterations=200)

    assert plan.rank <= first.rank


def test_the_same_seed_and_iterations_give_the_same_plan() -> None:
    problem = invented_problem(5, visits=30, technicians=3)

    first = solve(problem, seconds=1, seed=5, iterations=200)
    second = solve(problem, seconds=1, seed=5, iterations=200)

    assert first == second

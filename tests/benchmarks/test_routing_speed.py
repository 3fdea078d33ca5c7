"""Routing: gap to best known routes at ten seconds, and invented days and weeks. Prints figures."""

from __future__ import annotations

import time

import pytest

from fleet.routing.check import plan_faults
from fleet.routing.solve import solve, warm_start
from tests.fleet.routing.invented_days import invented_problem
from tests.fleet.routing.public_instances import read_instance

NAMES = ("C101", "R101", "RC101", "R201", "C201", "R1_2_1", "C2_2_1")


@pytest.mark.benchmark
def test_gap_to_the_best_known_routes_at_ten_seconds() -> None:
    gaps, firsts = [], []
    for name in NAMES:
        instance = read_instance(name)
        first = warm_start(instance.problem, seconds=10 / 3)
        plan = solve(instance.problem, seconds=10, seed=1)
        assert plan_faults(instance.problem, plan) == ()
        gaps.append(100 * (plan.cost / instance.best_cost - 1))
        firsts.append(100 * (first.cost / instance.best_cost - 1))
        print(f"{name}: first plan {firsts[-1]:.2f} %, after 10 s {gaps[-1]:.2f} % over the best known")  # noqa: T201
    print(f"mean: first plan {sum(firsts) / len(firsts):.2f} %, after 10 s {sum(gaps) / len(gaps):.2f} %")  # noqa: T201


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("visits", "technicians", "days", "seconds"),
    [(120, 6, 1, 5.0), (300, 7, 5, 10.0), (1500, 40, 5, 60.0)],
    ids=["day-of-120", "week-of-300", "week-of-1500"],
)
def test_invented_days_and_weeks(visits: int, technicians: int, days: int, seconds: float) -> None:
    problem = invented_problem(5, visits=visits, technicians=technicians, days=days)
    began = time.perf_counter()

    plan = solve(problem, seconds=seconds, seed=1)

    took = time.perf_counter() - began
    assert plan_faults(problem, plan) == ()
    served = sum(len(route.stops) for route in plan.routes)
    print(  # noqa: T201
        f"{visits} visits, {len(problem.vehicles)} technician-days, {seconds:g} s asked, {took:.1f} s taken: "
        f"{served} served, cost {plan.cost / 100:.0f}"
    )

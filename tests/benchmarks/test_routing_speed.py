"""Routing: gap to best known routes at ten seconds, and invented days and weeks. Prints figures."""

from __future__ import annotations

import time

import pytest

from fleet.routing.check import plan_faults
from fleet.routing.solve import solve, warm_start
from tests.benchmarks.routing_peers import PEERS, net
from tests.fleet.routing.invented_days import invented_problem
from tests.fleet.routing.public_instances import BEST_SCORES, orienteering, read_instance, score

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
def test_score_of_team_orienteering_at_ten_seconds() -> None:
    reached = []
    for name, bests in BEST_SCORES.items():
        row = []
        for vehicles, best in enumerate(bests, start=1):
            problem = orienteering(name, vehicles=vehicles)
            plan = solve(problem, seconds=10, seed=1)
            assert plan_faults(problem, plan) == ()
            row.append(f"{score(plan)} of {best}")
            reached.append(score(plan) / best)
        print(f"{name}, 1 to 4 vehicles: {', '.join(row)} (best known from memory)")  # noqa: T201
    print(f"mean {100 * sum(reached) / len(reached):.1f} %, least {100 * min(reached):.1f} %")  # noqa: T201


@pytest.mark.benchmark
def test_value_of_twenty_days_against_each_library_alone_in_equal_time() -> None:
    seconds, seeds = 5.0, range(101, 121)
    nets: dict[str, list[float]] = {name: [] for name in PEERS}
    for seed in seeds:
        problem = invented_problem(seed, visits=120, technicians=6)
        for name, plans in PEERS.items():
            plan = plans(problem, seconds)
            assert plan_faults(problem, plan) == ()
            nets[name].append(net(problem, plan))
        print(f"day {seed}: " + ", ".join(f"{name} {own[-1]:.0f}" for name, own in nets.items()))  # noqa: T201
    for name, own in nets.items():
        ahead = [100 * (us / them - 1) for us, them in zip(nets["ours"], own, strict=True)]
        print(  # noqa: T201
            f"{name}: mean {sum(own) / len(own):.0f}; ours {sum(ahead) / len(ahead):+.2f} % in the mean, "
            f"{min(ahead):+.2f} % on its worst day, {max(ahead):+.2f} % on its best"
        )


@pytest.mark.benchmark
def test_a_week_of_two_hundred_visits_a_day_with_a_warm_start() -> None:
    problem = invented_problem(5, visits=1400, technicians=32, days=7)
    previous = None
    for what, seconds in (("from nothing", 60.0), ("again from that plan", 20.0)):
        began = time.perf_counter()
        plan = solve(problem, seconds=seconds, seed=1, previous=previous)
        took = time.perf_counter() - began
        assert plan_faults(problem, plan) == ()
        served = sum(len(route.stops) for route in plan.routes)
        print(  # noqa: T201
            f"1400 visits, 7 days, 32 people, {what}: {seconds:g} s asked, {took:.1f} s taken, "
            f"{served} served, cost {plan.cost / 100:.0f}"
        )
        previous = {route.vehicle: route.visits for route in plan.routes}


@pytest.mark.benchmark
@pytest.mark.parametrize(
    ("visits", "technicians", "days", "seconds"),
    [(120, 6, 1, 5.0), (300, 7, 5, 10.0)],
    ids=["day-of-120", "week-of-300"],
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

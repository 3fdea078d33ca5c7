"""Laws that every plan keeps, and what is said of visits that no plan can serve."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.routing import reasons
from fleet.routing.check import plan_faults
from fleet.routing.compressed import CompressedClock
from fleet.routing.days_first import choose_days, needs_days_first, solve_by_days
from fleet.routing.order import nearest_neighbour_order
from fleet.routing.plan import Plan
from fleet.routing.problem import Break, Problem, Vehicle, Visit, Window
from fleet.routing.schedule import plan_from_orders, schedule_route
from fleet.routing.solve import search, solve, warm_start
from tests.fleet.routing.invented_days import DAY_S, HOUR_S, invented_problem, with_island

FEW = settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def quick(problem: Problem, seed: int = 1) -> Plan:
    return solve(problem, seconds=1, seed=seed, iterations=80)


def tiny(visits: tuple[Visit, ...], vehicles: tuple[Vehicle, ...], drive_s: int = 600) -> Problem:
    """Places ten minutes apart from each other."""
    places = 1 + max((visit.place for visit in visits), default=0)
    duration = np.full((places, places), drive_s, dtype=np.int64)
    np.fill_diagonal(duration, 0)
    return Problem(visits, vehicles, duration, duration * 10, duration)


def person(key: str = "a", **other: object) -> Vehicle:
    given: dict[str, object] = {
        "key": key,
        "technician": key,
        "start_place": 0,
        "end_place": 0,
        "shift_start_s": 8 * HOUR_S,
        "shift_end_s": 16 * HOUR_S,
        **other,
    }
    return Vehicle(**given)  # type: ignore[arg-type]


ALL_DAY = (Window(0, DAY_S - 1, 100_000),)


@FEW
@given(
    seed=st.integers(0, 10_000),
    visits=st.integers(1, 22),
    technicians=st.integers(1, 4),
    days=st.integers(1, 3),
    locked=st.sampled_from([0.0, 0.15]),
)
def test_every_plan_passes_the_independent_checker_and_beats_its_warm_start(
    seed: int, visits: int, technicians: int, days: int, locked: float
) -> None:
    problem = invented_problem(seed, visits=visits, technicians=technicians, days=days, locked_share=locked)
    first = warm_start(problem, seconds=None)

    plan = quick(problem)

    assert plan_faults(problem, first) == ()
    assert plan_faults(problem, plan) == ()
    assert plan.rank <= first.rank
    assert all(left.code and left.reason for left in plan.unserved)


@FEW
@given(seed=st.integers(0, 10_000))
def test_no_route_costs_more_than_its_nearest_neighbour_order(seed: int) -> None:
    problem = invented_problem(seed, visits=18, technicians=3)

    for route in quick(problem).routes:
        other = schedule_route(
            problem, route.vehicle, nearest_neighbour_order(problem, route.vehicle, route.visits)
        )
        won = sum(stop.prize for stop in route.stops)
        if other is not None and sum(stop.prize for stop in other.stops) >= won:
            assert route.travel_cost <= other.travel_cost


@FEW
@given(seed=st.integers(0, 10_000))
def test_a_visit_is_left_out_when_its_detour_costs_more_than_it_is_worth(seed: int) -> None:
    problem = invented_problem(seed, visits=10, technicians=2)
    worthless = tuple(
        replace(v, windows=tuple(replace(w, prize=0) for w in v.windows)) for v in problem.visits
    )

    plan = quick(Problem(worthless, problem.vehicles, problem.duration_s, problem.distance_m, problem.cost))

    assert plan.routes == ()


def test_an_earlier_plan_is_kept_where_nothing_better_is_found() -> None:
    problem = invented_problem(7, visits=20, technicians=3)
    best = solve(problem, seconds=1, seed=1, iterations=1500)
    previous = {route.vehicle: route.visits for route in best.routes}

    again = search(problem, seconds=1, seed=9, iterations=1, previous=previous)

    assert again.rank <= best.rank


def test_without_technicians_nothing_is_served_and_each_visit_says_so() -> None:
    problem = tiny((Visit("x", 1, 600, ALL_DAY),), ())

    plan = quick(problem)

    assert [left.code for left in plan.unserved] == [reasons.NO_TECHNICIAN]


def test_without_visits_there_is_an_empty_plan() -> None:
    assert quick(tiny((), (person(),))) == Plan((), (), 0, 0, 0)


def test_an_impossible_window_a_missing_skill_and_too_much_work_are_told_apart() -> None:
    visits = (
        Visit("night", 1, 600, (Window(0, HOUR_S, 1000),)),
        Visit("skill", 2, 600, ALL_DAY, frozenset({"backflow"})),
        Visit("long", 3, 9 * HOUR_S, ALL_DAY),
        Visit("good", 4, 600, ALL_DAY),
    )

    plan = quick(tiny(visits, (person(),)))

    codes = {visits[left.visit].key: left.code for left in plan.unserved}
    assert codes == {"night": reasons.NO_WINDOW, "skill": reasons.NO_SKILL, "long": reasons.TOO_LONG}
    assert "backflow" in next(left.reason for left in plan.unserved if left.code == reasons.NO_SKILL)


def test_two_locked_visits_that_clash_leave_one_out_with_its_reason() -> None:
    at_ten = (Window(10 * HOUR_S, 10 * HOUR_S + 300, 5000),)
    visits = (
        Visit("x", 1, HOUR_S, at_ten, must=True, vehicle="a"),
        Visit("y", 2, HOUR_S, at_ten, must=True, vehicle="a"),
    )

    plan = quick(tiny(visits, (person("a"), person("b"))))

    assert plan.missed_musts == 1
    assert [left.code for left in plan.unserved] == [reasons.LOCK_CLASH]


def test_a_lock_to_somebody_who_is_not_at_work_says_so() -> None:
    plan = quick(tiny((Visit("x", 1, 600, ALL_DAY, must=True, vehicle="gone"),), (person(),)))

    assert [left.code for left in plan.unserved] == [reasons.LOCKED_AWAY]


def test_an_island_without_road_is_left_out_with_its_reason() -> None:
    problem = with_island(invented_problem(3, visits=12, technicians=2), 5)

    plan = quick(problem)

    left = {problem.visits[one.visit].place: one.code for one in plan.unserved}
    assert left[5] == reasons.NO_WAY


def test_a_full_day_leaves_out_the_least_value() -> None:
    visits = tuple(Visit(f"v{n}", n, 3 * HOUR_S, (Window(0, DAY_S - 1, 10_000 * n),)) for n in range(1, 5))

    plan = quick(tiny(visits, (person(),)))

    assert sorted(visits[v].key for route in plan.routes for v in route.visits) == ["v3", "v4"]
    assert {left.code for left in plan.unserved} == {reasons.NO_ROOM}


def test_the_break_falls_into_the_gap_nearest_the_middle_of_its_window() -> None:
    pause = Break(11 * HOUR_S, 14 * HOUR_S, 1800)
    visits = tuple(Visit(f"v{n}", n, 90 * 60, ALL_DAY) for n in range(1, 5))
    problem = tiny(visits, (person(pause=pause),))

    route = schedule_route(problem, 0, [0, 1, 2, 3])

    assert route is not None
    assert route.pause is not None
    # Served 8:10-9:40, 9:50-11:20, 11:30-13:00: a break at 13:00 is 30 min off the middle (12:30), one
    # before the third visit at most at 11:30 an hour.
    assert (route.pause.after, route.pause.start_s) == (3, 13 * HOUR_S)
    assert [stop.start_s for stop in route.stops][3] == 13 * HOUR_S + 1800 + 600
    assert plan_faults(problem, plan_from_orders(problem, {0: [0, 1, 2, 3]})) == ()  # type: ignore[arg-type]


def test_a_visit_across_the_whole_break_window_cannot_be_made_by_somebody_who_must_break() -> None:
    visits = (Visit("x", 1, 5 * HOUR_S, (Window(10 * HOUR_S, 10 * HOUR_S + 60, 90_000),)),)
    must = tiny(visits, (person(pause=Break(11 * HOUR_S, 14 * HOUR_S, 1800)),))

    assert [left.code for left in quick(must).unserved] == [reasons.TOO_LONG]
    assert quick(tiny(visits, (person(),))).unserved == ()


def test_a_time_inside_the_cut_becomes_its_start_on_the_short_clock() -> None:
    clock = CompressedClock(((100, 30), (500, 50)))

    assert [clock.to_short(t) for t in (0, 100, 115, 130, 200, 500, 540, 600)] == [
        0,
        100,
        100,
        100,
        170,
        470,
        470,
        520,
    ]


def test_a_big_week_is_planned_day_by_day_and_still_proven() -> None:
    problem = invented_problem(11, visits=60, technicians=2, days=3, locked_share=0.1)
    assert not needs_days_first(problem)
    assert needs_days_first(invented_problem(11, visits=61, technicians=2, days=3))
    assert not needs_days_first(invented_problem(11, visits=61, technicians=2, days=1))

    plan = solve_by_days(problem, lambda part, _: warm_start(part, seconds=None))

    assert plan_faults(problem, plan) == ()
    days = choose_days(problem)
    for number, visit in enumerate(problem.visits):
        if visit.vehicle is not None and number in days:
            assert days[number] == int(visit.vehicle.split("/")[1])


@pytest.mark.parametrize("visits", [70, 210], ids=["days-first-then-at-once", "days-first"])
def test_a_big_week_is_never_worse_than_the_plan_it_had(visits: int) -> None:
    problem = invented_problem(13, visits=visits, technicians=4, days=4, locked_share=0.05)
    best = solve(problem, seconds=1, seed=1, iterations=60)
    previous = {route.vehicle: route.visits for route in best.routes}

    again = solve(problem, seconds=1, seed=2, iterations=5, previous=previous)

    assert plan_faults(problem, again) == ()
    assert again.rank <= best.rank


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Window(10, 5),
        lambda: Window(-1, 5),
        lambda: Window(0, 5, -3),
        lambda: Break(10, 5, 60),
        lambda: Break(0, 5, 0),
        lambda: Visit("x", 0, -1, ALL_DAY),
        lambda: Visit("x", 0, 1, ()),
        lambda: Visit("x", 0, 1, (Window(0, 10), Window(5, 20))),
        lambda: person(shift_end_s=0),
        lambda: tiny((Visit("x", 0, 1, ALL_DAY), Visit("x", 0, 1, ALL_DAY)), ()),
        lambda: tiny((), (person(), person())),
        lambda: tiny((), (person(start_place=4),)),
        lambda: Problem((), (), *(np.zeros((2, 3), dtype=np.int64),) * 3),
        lambda: Problem((), (), *(np.zeros((2, 2)),) * 3),  # type: ignore[arg-type]
        lambda: solve(tiny((), ()), seconds=0, seed=1),
    ],
)
def test_nonsense_is_refused_at_the_door(wrong: object) -> None:
    assert callable(wrong)
    with pytest.raises(ValueError, match=r"\w"):
        wrong()

"""A first plan within moments, by vroom. The only module that knows that library."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import timedelta

import vroom

from fleet.routing.problem import Problem
from fleet.routing.schedule import schedule_route

# The library knows priorities from 0 to 100 only, and serves a higher one first whatever it costs.
TOP_PRIORITY = 100


def first_orders(problem: Problem, *, seconds: float | None, threads: int = 2) -> dict[int, list[int]]:
    """Visits of each vehicle in order, each route driveable.

    Parameters
    ----------
    problem
        What is planned.
    seconds
        Time after which the library stops improving [s]; None lets it end by itself, which always gives
        the same answer.
    threads
        Processor threads that it may use.
    """
    if not problem.visits or not problem.vehicles:
        return {}
    answer = _input(problem).solve(
        exploration_level=exploration_level(len(problem.visits)),
        nb_threads=threads,
        timeout=None if seconds is None else timedelta(seconds=seconds),
    )
    rows = answer.routes
    orders: dict[int, list[int]] = defaultdict(list)
    jobs = rows[rows["type"] == "job"]
    if len(jobs):
        for vehicle, visit in zip(jobs["vehicle_id"].tolist(), jobs["id"].tolist(), strict=True):
            orders[int(vehicle)].append(int(visit))
    return {vehicle: driveable(problem, vehicle, order) for vehicle, order in sorted(orders.items())}


def exploration_level(visits: int) -> int:
    """How hard the library searches (1 to 5), so that it leaves most of the time to the second solver."""
    if visits <= 150:
        return 5
    return 3 if visits <= 400 else 1


def _input(problem: Problem) -> vroom.Input:
    """The problem in the library's words."""
    skills = _skill_numbers(problem)
    given = vroom.Input()
    given.set_durations_matrix("car", problem.duration_s)
    given.set_distances_matrix("car", problem.distance_m)
    given.set_costs_matrix("car", problem.cost)
    for number, vehicle in enumerate(problem.vehicles):
        pause = vehicle.pause
        given.add_vehicle(
            vroom.Vehicle(
                number,
                start=vehicle.start_place,
                end=vehicle.end_place,
                capacity=[_capacity(problem, number)],
                skills={skills[skill] for skill in (*vehicle.skills, f"@{vehicle.key}")},
                time_window=vroom.TimeWindow(vehicle.shift_start_s, vehicle.shift_end_s),
                breaks=[
                    vroom.Break(
                        number,
                        time_windows=[vroom.TimeWindow(pause.earliest_s, pause.latest_s)],
                        service=pause.duration_s,
                    )
                ]
                if pause is not None
                else [],
            )
        )
    top = max((visit.best_prize for visit in problem.visits), default=0)
    for number, visit in enumerate(problem.visits):
        wanted = (*visit.skills, *([f"@{visit.vehicle}"] if visit.vehicle is not None else []))
        given.add_job(
            vroom.Job(
                number,
                location=visit.place,
                default_service=visit.service_s,
                delivery=[visit.demand],
                skills={skills[skill] for skill in wanted},
                priority=TOP_PRIORITY if visit.must else _priority(visit.best_prize, top),
                time_windows=[vroom.TimeWindow(window.start_s, window.end_s) for window in visit.windows],
            )
        )
    return given


def _skill_numbers(problem: Problem) -> dict[str, int]:
    """A number for each skill; a lock is a skill that one vehicle has alone."""
    names = {skill for vehicle in problem.vehicles for skill in vehicle.skills}
    names |= {skill for visit in problem.visits for skill in visit.skills}
    names |= {f"@{vehicle.key}" for vehicle in problem.vehicles}
    names |= {f"@{visit.vehicle}" for visit in problem.visits if visit.vehicle is not None}
    return {name: number for number, name in enumerate(sorted(names))}


def _capacity(problem: Problem, vehicle: int) -> int:
    """Capacity of a vehicle; where none is asked for, all there is to carry."""
    capacity = problem.vehicles[vehicle].capacity
    return sum(visit.demand for visit in problem.visits) if capacity is None else capacity


def _priority(prize: int, top: int) -> int:
    """Share of the largest prize as a priority below the top one."""
    return min(TOP_PRIORITY - 1, 1 + prize * (TOP_PRIORITY - 2) // top) if top else 1


def driveable(problem: Problem, vehicle: int, order: Sequence[int]) -> list[int]:
    """Drop visits of least worth until the route can be driven by our own clock."""
    kept = list(order)
    while kept and schedule_route(problem, vehicle, kept) is None:
        kept.remove(min(kept, key=lambda v: (problem.visits[v].must, problem.visits[v].best_prize)))
    return kept

"""Invented routing problems from a seed: optional visits, skills, windows, breaks, locks."""

from __future__ import annotations

import numpy as np

from fleet.calc.plan.travel import estimated_travel
from fleet.calc.visits.settings import VisitSettings
from fleet.routing.problem import UNREACHABLE_S, Break, Problem, Vehicle, Visit, Window

DAY_S = 86_400
HOUR_S = 3_600
SKILLS = ("wiring", "backflow", "dig")
SETTINGS = VisitSettings()


def invented_problem(
    seed: int, *, visits: int, technicians: int, days: int = 1, locked_share: float = 0.0
) -> Problem:
    """A town of 14 km with a depot in its middle; every number follows from the seed."""
    rng = np.random.default_rng(seed)
    lat = 41.2 + rng.uniform(-0.06, 0.06, visits + 1)
    lon = -104.7 + rng.uniform(-0.08, 0.08, visits + 1)
    travel = estimated_travel(lat, lon)
    duration = np.ceil(travel.duration_s).astype(np.int64)
    distance = np.rint(travel.distance_m).astype(np.int64)
    cost = np.rint(
        distance / 1000 * SETTINGS.cost_per_km * 100 + duration / 3600 * SETTINGS.cost_per_hour * 100
    ).astype(np.int64)
    vehicles = []
    for person in range(technicians):
        skills = frozenset(s for n, s in enumerate(SKILLS) if person % 3 == n or rng.random() < 0.4)
        for day in range(days):
            start = day * DAY_S + int(7.5 * HOUR_S)
            end = day * DAY_S + int(rng.choice([16.0, 16.5, 17.0]) * HOUR_S)
            pause = Break(day * DAY_S + 11 * HOUR_S, day * DAY_S + 14 * HOUR_S, 1800)
            vehicles.append(Vehicle(f"t{person}/{day}", f"t{person}", 0, 0, start, end, skills, pause))
    made = []
    for number in range(1, visits + 1):
        value = int(rng.gamma(2.0, 700))
        windows = []
        for day in range(days):
            opens, closes = 0, DAY_S - 1
            if rng.random() < 0.3:
                opens = int(rng.uniform(7.5, 14.0) * HOUR_S)
                closes = opens + int(rng.choice([1, 2, 4]) * HOUR_S)
            windows.append(Window(day * DAY_S + opens, day * DAY_S + closes, value * (7 - day)))
        skill = frozenset([str(rng.choice(SKILLS))]) if rng.random() < 0.25 else frozenset()
        lock = str(rng.choice([v.key for v in vehicles])) if rng.random() < locked_share else None
        made.append(
            Visit(
                f"s{number}",
                number,
                int(rng.integers(20, 91)) * 60,
                tuple(windows),
                skill,
                must=lock is not None,
                vehicle=lock,
            )
        )
    return Problem(tuple(made), tuple(vehicles), duration, distance, cost)


def with_island(problem: Problem, place: int) -> Problem:
    """The same problem with one place that no road leads to."""
    duration, cost = problem.duration_s.copy(), problem.cost.copy()
    for matrix in (duration, cost):
        matrix[place, :] = matrix[:, place] = UNREACHABLE_S
        matrix[place, place] = 0
    return Problem(problem.visits, problem.vehicles, duration, problem.distance_m, cost)

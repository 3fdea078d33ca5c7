"""Public vehicle routing instances with time windows, as problems of ours.

Convention: distances cut to one decimal (all numbers times ten), objective total distance, fleet limit of the
instance. See tests/data/README.md for the source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fleet.routing.plan import Plan
from fleet.routing.problem import Problem, Vehicle, Visit, Window

FOLDER = Path(__file__).parents[2] / "data" / "routing"
TENTHS = 10


@dataclass(frozen=True, slots=True)
class Instance:
    """A problem, and the best known routes (vehicle -> visits) with their cost [tenths]."""

    name: str
    problem: Problem
    best_orders: dict[int, list[int]]
    best_cost: int


def read_instance(name: str) -> Instance:
    """The instance of that name."""
    fields: dict[str, str] = {}
    sections: dict[str, list[list[str]]] = {}
    section: list[list[str]] | None = None
    for line in (FOLDER / f"{name}.vrp").read_text().splitlines():
        if line.endswith("_SECTION"):
            section = sections.setdefault(line, [])
        elif ":" in line:
            key, value = line.split(":", 1)
            fields[key.strip()] = value.strip()
        elif section is not None and line.strip() != "EOF":
            section.append(line.split())
    where = np.array([[float(x), float(y)] for _, x, y in sections["NODE_COORD_SECTION"]])
    apart = np.hypot(*(where[:, None] - where[None]).transpose(2, 0, 1))
    matrix = np.floor(apart * TENTHS + 1e-9).astype(np.int64)
    demands = [int(row[1]) for row in sections["DEMAND_SECTION"]]
    windows = [(int(row[1]) * TENTHS, int(row[2]) * TENTHS) for row in sections["TIME_WINDOW_SECTION"]]
    service = int(fields["SERVICE_TIME"]) * TENTHS
    visits = tuple(
        Visit(str(n), n, service, (Window(*windows[n]),), must=True, demand=demands[n])
        for n in range(1, len(where))
    )
    vehicles = tuple(
        Vehicle(f"v{n}", f"v{n}", 0, 0, *windows[0], capacity=int(fields["CAPACITY"]))
        for n in range(int(fields["VEHICLES"]))
    )
    orders: dict[int, list[int]] = {}
    cost = 0.0
    for line in (FOLDER / f"{name}.sol").read_text().splitlines():
        if line.startswith("Route"):
            orders[len(orders)] = [int(number) - 1 for number in line.split(":")[1].split()]
        elif line.startswith("Cost"):
            cost = float(line.split()[1])
    problem = Problem(visits, vehicles, matrix, matrix, matrix)
    return Instance(name, problem, orders, round(cost * TENTHS))


# Score of the best known plans with 1 to 4 vehicles, all from memory: the usual tables of team orienteering
# with time windows on Solomon's instances (Montemanni and Gambardella 2009 and later).
BEST_SCORES = {
    "C101": (320, 590, 810, 1020),
    "R101": (198, 349, 484, 611),
    "RC101": (219, 427, 624, 811),
}
# Points of prize for a unit of score: far above any detour, so that score comes first.
SCORE_POINTS = 2_000


def orienteering(name: str, *, vehicles: int) -> Problem:
    """An instance as team orienteering: score is the demand, no capacity, no visit is a must."""
    problem = read_instance(name).problem
    visits = tuple(
        replace(
            visit,
            must=False,
            demand=0,
            windows=(replace(visit.windows[0], prize=visit.demand * SCORE_POINTS),),
        )
        for visit in problem.visits
    )
    return Problem(
        visits,
        tuple(replace(vehicle, capacity=None) for vehicle in problem.vehicles[:vehicles]),
        problem.duration_s,
        problem.distance_m,
        problem.cost,
    )


def score(plan: Plan) -> int:
    """Score of a plan of an orienteering problem."""
    return sum(stop.prize for route in plan.routes for stop in route.stops) // SCORE_POINTS

"""A problem as a file that holds nothing but numbers and words, for a search in another process."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import IO, Any

import numpy as np

from fleet.routing.problem import Break, Problem, Vehicle, Visit, Window


def write_problem(problem: Problem, told: dict[str, float], file: IO[bytes]) -> None:
    """Write a problem, and some numbers beside it, as a numpy archive.

    Parameters
    ----------
    problem
        What is planned.
    told
        Numbers by name.
    file
        Where it goes.
    """
    words = {
        "visits": [{**asdict(visit), "skills": sorted(visit.skills)} for visit in problem.visits],
        "vehicles": [{**asdict(who), "skills": sorted(who.skills)} for who in problem.vehicles],
        "told": told,
    }
    np.savez(
        file,
        duration_s=problem.duration_s,
        distance_m=problem.distance_m,
        cost=problem.cost,
        words=np.frombuffer(json.dumps(words).encode(), dtype=np.uint8),
    )


def read_problem(file: IO[bytes]) -> tuple[Problem, dict[str, float]]:
    """A problem and the numbers beside it, as `write_problem` wrote them."""
    with np.load(file, allow_pickle=False) as kept:
        words = json.loads(kept["words"].tobytes())
        matrices = (kept["duration_s"], kept["distance_m"], kept["cost"])
    visits = tuple(_visit(row) for row in words["visits"])
    vehicles = tuple(_vehicle(row) for row in words["vehicles"])
    return Problem(visits, vehicles, *matrices), words["told"]


def _visit(row: dict[str, Any]) -> Visit:
    """A visit of its row."""
    windows = tuple(Window(**window) for window in row["windows"])
    return Visit(**{**row, "windows": windows, "skills": frozenset(row["skills"])})


def _vehicle(row: dict[str, Any]) -> Vehicle:
    """A technician's day of its row."""
    pause = Break(**row["pause"]) if row["pause"] is not None else None
    return Vehicle(**{**row, "pause": pause, "skills": frozenset(row["skills"])})

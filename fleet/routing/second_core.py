"""A second search on another processor core, as a process of its own: a solver holds its interpreter.

It begins from nothing, with another seed: which of two searches ends better differs from day to day, and the
routes of both can be put together. Question and answer go through
unnamed files, so that neither process ever waits for the other to read. Where no process can be started, the
first search is alone.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from typing import IO, Final

from fleet.routing.problem import Problem
from fleet.routing.problem_file import read_problem, write_problem
from fleet.routing.pyvrp_plan import improved_orders
from fleet.routing.route_pool import RoutePool, Seen

# Below this it is not worth starting an interpreter, which takes about half a second [s].
LEAST_SECONDS: Final = 3.0
LEAST_VISITS: Final = 20
# Told to end, the process gets so long to hand over what it has [s].
PATIENCE_S: Final = 2.0
# So much of its time is for handing over: routes come by the ten thousand.
HAND_OVER_SHARE: Final = 0.06
# So many of its newest plans are handed over.
PLANS: Final = 5

Orders = dict[int, list[int]]


@dataclass(frozen=True, slots=True)
class Answered:
    """What it found: plans, best first, and all routes that it held, with what each wins [points]."""

    plans: tuple[Orders, ...] = ()
    routes: tuple[tuple[Seen, float | None], ...] = ()


class SecondSearch:
    """A search under way in a process of its own."""

    def __init__(self, process: subprocess.Popen[bytes], answer: IO[bytes]) -> None:
        self._process, self._answer = process, answer

    def collect(self, *, wait_s: float) -> Answered:
        """What it found; told to end where it is still at it after this time. Nothing where it failed."""
        try:
            try:
                self._process.wait(timeout=max(0.0, wait_s))
            except subprocess.TimeoutExpired:
                self._process.send_signal(signal.SIGTERM)
                self._process.wait(timeout=PATIENCE_S)
            self._answer.seek(0)
            told = _read(self._answer) if self._process.returncode == 0 else Answered()
        except (subprocess.TimeoutExpired, ValueError, KeyError, TypeError):
            told = Answered()
        finally:
            self.close()
        return told

    def close(self) -> None:
        """End the process, whatever it has found."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._answer.close()


def start_second(problem: Problem, *, seconds: float, seed: int) -> SecondSearch | None:
    """Begin a second search of that many seconds; None where there is no second core or not enough to do.

    Parameters
    ----------
    problem
        What is planned.
    seconds
        Time to search, its start included [s].
    seed
        Seed of the search.
    """
    if seconds < LEAST_SECONDS or len(problem.visits) < LEAST_VISITS or cores() < 2:
        return None
    with tempfile.TemporaryFile() as question:
        write_problem(problem, {"until_s": time.perf_counter() + seconds, "seed": seed}, question)
        question.seek(0)
        answer = tempfile.TemporaryFile()  # noqa: SIM115 (closed by the search)
        try:
            process = subprocess.Popen(
                [sys.executable, "-m", "fleet.routing.second_process"],
                stdin=question,
                stdout=answer,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
            )
        except OSError:
            answer.close()
            return None
    return SecondSearch(process, answer)


def cores() -> int:
    """Processor cores that this process may use."""
    if sys.platform == "linux":
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def answer_question(question: IO[bytes], answer: IO[bytes]) -> None:
    """Search as asked, and write what was found; the word to end comes as a signal."""
    is_told_to_end = False

    def end(number: int, frame: object) -> None:
        nonlocal is_told_to_end
        del number, frame
        is_told_to_end = True

    signal.signal(signal.SIGTERM, end)
    problem, told = read_problem(question)
    pool = RoutePool()
    plans = improved_orders(
        problem,
        {},
        seconds=(told["until_s"] - time.perf_counter()) * (1 - HAND_OVER_SHARE),
        seed=int(told["seed"]),
        is_over=lambda _: is_told_to_end,
        pool=pool,
    )
    routes = [(*route, pool.worth(route)) for route in pool.routes]
    found = {"plans": [list(plan.items()) for plan in plans[:PLANS]], "routes": routes}
    answer.write(json.dumps(found).encode())
    answer.flush()


def _read(answer: IO[bytes]) -> Answered:
    """What the process wrote."""
    found = json.loads(answer.read())
    plans = tuple({int(vehicle): list(order) for vehicle, order in plan} for plan in found["plans"])
    routes = (((int(vehicle), tuple(order)), worth) for vehicle, order, worth in found["routes"])
    return Answered(plans, tuple(routes))

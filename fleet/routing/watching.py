"""What a running search tells whoever watches it, and the word to stop."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from fleet.routing.plan import Plan
from fleet.routing.problem import Problem

# So often a watcher is told how far the search is [s].
EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a search is.

    Parameters
    ----------
    elapsed_s
        Time since it began [s].
    phase
        What is done now, in words.
    net
        Value won less cost of travel of the best plan so far, of the days planned so far [points].
    served, unserved
        Visits in that plan, and all others.
    """

    elapsed_s: float
    phase: str
    net: int
    served: int
    unserved: int


FIRST = "first plan"

# Told now and then; a true answer ends the search, the best so far is kept.
Observer = Callable[[Progress], bool]


class Lookout:
    """Carries progress from the search to its observer, and the word to stop back."""

    def __init__(self, visits: int, observer: Observer | None) -> None:
        self.is_stopped = False
        self.phase = FIRST
        self._visits = visits
        self._observer = observer
        self._began = self._told = time.perf_counter()
        self._net = self._served = 0
        self._banked_net = self._banked_served = 0

    def improves(self) -> None:
        """The first plan stands and is being improved."""
        if self.phase == FIRST:
            self.phase = "improving the plan"

    def is_due(self) -> bool:
        """Tell whether the observer has not heard for a while."""
        return self._observer is not None and time.perf_counter() - self._told >= EVERY_S

    def see(self, problem: Problem, plan: Plan) -> None:
        """Keep the figures of the best plan of what is searched now."""
        best = sum(visit.best_prize for visit in problem.visits)
        self._net = best - plan.cost
        self._served = sum(len(route.stops) for route in plan.routes)

    def tell(self) -> bool:
        """Tell the observer; whether the search shall end."""
        if self._observer is not None:
            self._told = time.perf_counter()
            served = self._banked_served + self._served
            told = Progress(
                elapsed_s=self._told - self._began,
                phase=self.phase,
                net=self._banked_net + self._net,
                served=served,
                unserved=self._visits - served,
            )
            self.is_stopped = self._observer(told) or self.is_stopped
        return self.is_stopped

    def bank(self) -> None:
        """A part is planned: what is searched next comes on top of it."""
        self._banked_net += self._net
        self._banked_served += self._served
        self._net = self._served = 0

    def begin_anew(self, problem: Problem, plan: Plan) -> None:
        """All parts together are searched from here on."""
        self._banked_net = self._banked_served = 0
        self.see(problem, plan)

"""What candidates' clocks offer, and what of it the sensors of their governing zones let through."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from sites.calc.search.gating import Counts, Outcome, Single, ZoneState, run_governing
from sites.calc.search.problem import Problem
from weather.calc.arrays import FloatArray, IntArray

_CONTROLLERS_AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class Outer:
    """Candidates of each controller: what the governing zone's clock offers, (controllers, candidates).

    Parameters
    ----------
    pattern
        Position of the day pattern.
    starts
        Starts a day [1].
    minutes
        Minutes of the governing zone [min].
    """

    pattern: IntArray
    starts: IntArray
    minutes: FloatArray

    def take(self, columns: IntArray) -> Outer:
        """Some candidates of each controller.

        Parameters
        ----------
        columns
            Positions of candidates, (controllers, n).
        """
        rows = np.arange(len(columns))[:, None]
        return Outer(self.pattern[rows, columns], self.starts[rows, columns], self.minutes[rows, columns])


def governing_outcome(problem: Problem, outer: Outer) -> Outcome:
    """What candidates do to the governing zones, (controllers, candidates).

    Parameters
    ----------
    problem
        Governed controllers.
    outer
        Candidates.
    """
    parts = []
    # With the use that the starts have to suffice for; what drains is a little less then.
    state = problem.with_margin()
    for begin in range(0, len(problem.controllers), _CONTROLLERS_AT_ONCE):
        rows = np.arange(begin, min(begin + _CONTROLLERS_AT_ONCE, len(problem.controllers)))
        part = Outer(outer.pattern[rows], outer.starts[rows], outer.minutes[rows])
        parts.append(_gated(problem, rows, part, state, keep_starts=False)[0])
    return Outcome(
        *(
            np.concatenate([getattr(part, name) for part in parts])
            for name in ("adequacy", "percolated_mm", "dry_share", "end_depletion_mm", "passes")
        )
    )


def governed_runs(problem: Problem, outer: Outer) -> tuple[Outcome, Counts]:
    """What candidates do to the governing zones, and the starts let through.

    Whether the starts suffice is asked with the margin on the zone's use; which of them run, and what drains,
    without it, since the sensor lets through what is used.

    Parameters
    ----------
    problem
        Governed controllers.
    outer
        Candidates, (controllers, candidates).
    """
    rows = np.arange(len(problem.controllers))
    hot, _ = _gated(problem, rows, outer, problem.with_margin(), keep_starts=False)
    plain, starts = _gated(problem, rows, outer, problem.state, keep_starts=True)
    if starts is None:
        raise RuntimeError("starts were asked for")
    return replace(plain, adequacy=hot.adequacy, dry_share=hot.dry_share), starts


def _gated(
    problem: Problem, rows: IntArray, outer: Outer, state: ZoneState, *, keep_starts: bool
) -> tuple[Outcome, Counts | None]:
    """Candidates of some controllers on their governing zones in a given state."""
    return run_governing(
        state.take(problem.governing[rows]),
        problem.threshold_mm()[rows].astype(np.float32),
        pass_depth_mm(problem, outer, rows),
        offered_starts(problem, rows, outer),
        keep_starts=keep_starts,
    )


def pass_depth_mm(problem: Problem, outer: Outer, rows: IntArray | None = None) -> Single:
    """Net depth of the governing zone's pass [mm], above 0, float32 (controllers, candidates).

    Parameters
    ----------
    problem
        Governed controllers.
    outer
        Candidates.
    rows
        Positions of the candidates' controllers, (n,); None: all.
    """
    zone = problem.governing if rows is None else problem.governing[rows]
    gross = problem.zones.precipitation_rate_mm_h[zone][:, None] / 60.0 * outer.minutes
    net = (gross - problem.settings.run_loss_mm) * problem.zones.application_efficiency[zone][:, None]
    return np.maximum(net, 0.05).astype(np.float32)


def offered_starts(problem: Problem, rows: IntArray, outer: Outer) -> Counts:
    """Starts that candidates offer on each day [1/d], uint8 (days, n, candidates).

    Parameters
    ----------
    problem
        The problem.
    rows
        Positions of the controllers, (n,).
    outer
        Their candidates, (n, candidates).
    """
    runs = problem.offered[:, rows[:, None], outer.pattern]
    return np.asarray(runs * outer.starts.astype(np.uint8), dtype=np.uint8)

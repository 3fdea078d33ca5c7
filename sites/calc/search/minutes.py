"""The smallest whole minutes that meet a zone's target, for many zones and candidates at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.search.gating import Counts, Outcome, ZoneState, run_zones
from sites.calc.search.problem import Problem
from weather.calc.arrays import BoolArray, FloatArray, IntArray

_ROUNDS = 6
# A zone that no minutes can keep is given those beyond which more minutes hardly help.
_ADEQUACY_SLACK = 0.003
_DRY_SLACK = 0.01
_STORE_SLACK_MM = 0.5


@dataclass(frozen=True, slots=True)
class ZoneRuns:
    """Chosen minutes of zones and what they do, (zones, candidates).

    Parameters
    ----------
    minutes
        Minutes of a run [min].
    outcome
        What they do under the demand that is planned for.
    """

    minutes: FloatArray
    outcome: Outcome


def smallest_minutes(
    problem: Problem,
    zones: IntArray,
    state: ZoneState,
    starts: Counts,
    seed_min: FloatArray,
    cap_min: FloatArray,
) -> ZoneRuns:
    """Smallest whole minutes of zones that reach the target under given starts.

    The target: adequacy, few days beyond the allowed depletion, and no living off the store. All three rise
    with minutes, so a bracket is closed by trial. A zone that misses it even at its cap gets the smallest
    minutes that do nearly as well as the cap.

    Parameters
    ----------
    problem
        The problem.
    zones
        Positions of the zones, (n,).
    state
        Those zones with the demand that is planned for, (n,).
    starts
        Starts that run [1/d], (days, controllers, candidates, seasons).
    seed_min
        First guess [min], (n, candidates).
    cap_min
        Longest run [min], (n, candidates).
    """
    owner = problem.owner[zones]
    step = problem.controllers.minute_step[owner][:, None]
    part = _Part(problem, zones, state, starts, owner)
    high = np.broadcast_to(cap_min, seed_min.shape).astype(np.float64)
    low = np.minimum(problem.least_min[zones][:, None], high) - step
    goal = part.goal(high)
    trial = np.clip(np.round(seed_min / step) * step, low + step, high)
    for turn in range(_ROUNDS):
        good = part.meets(trial, goal)
        high = np.where(good, trial, high)
        low = np.where(good, low, trial)
        trial = np.clip(_next_trial(low, high, good, turn, step), np.minimum(low + step, high), high)
    return ZoneRuns(high, part.outcome(high))


def _next_trial(
    low: FloatArray, high: FloatArray, good: BoolArray, turn: int, step: FloatArray
) -> FloatArray:
    """Minutes to try next: a stride from the seed at first, then the middle of the bracket."""
    middle = np.sqrt(np.maximum(low, step / 2) * high)
    if turn == 0:
        middle = np.where(good, np.maximum(high * 0.8, middle), np.minimum(low * 1.25, middle))
    return np.floor(middle / step + 0.5) * step


@dataclass(frozen=True, slots=True)
class _Goal:
    """What a zone has to reach, (zones, candidates)."""

    adequacy: FloatArray
    dry_share: FloatArray
    end_depletion_mm: FloatArray


class _Part:
    """Some zones of a problem under given starts."""

    def __init__(
        self, problem: Problem, zones: IntArray, state: ZoneState, starts: Counts, owner: IntArray
    ) -> None:
        self.problem = problem
        self.rate = problem.zones.precipitation_rate_mm_h[zones][:, None] / 60.0
        self.efficiency = problem.zones.application_efficiency[zones][:, None]
        self.state = state
        self.starts = starts
        self.owner = owner

    def outcome(self, minutes: FloatArray) -> Outcome:
        """What minutes do."""
        net = np.maximum(self.rate * minutes - self.problem.settings.run_loss_mm, 0.0) * self.efficiency
        return run_zones(self.state, net.astype(np.float32), self.starts, self.owner)

    def goal(self, cap_min: FloatArray) -> _Goal:
        """The target, or nearly what the cap reaches where that is less."""
        settings = self.problem.settings
        top = self.outcome(cap_min)
        start = np.maximum(self.state.depletion_mm, self.state.allowed_mm / 2)[:, None]
        return _Goal(
            np.minimum(settings.target_adequacy, top.adequacy - _ADEQUACY_SLACK),
            np.maximum(settings.most_dry_share, top.dry_share + _DRY_SLACK),
            np.maximum(start, top.end_depletion_mm + _STORE_SLACK_MM),
        )

    def meets(self, minutes: FloatArray, goal: _Goal) -> BoolArray:
        """Whether minutes reach the goal."""
        done = self.outcome(minutes)
        return np.asarray(
            (done.adequacy >= goal.adequacy)
            & (done.dry_share <= goal.dry_share)
            & (done.end_depletion_mm <= goal.end_depletion_mm)
        )

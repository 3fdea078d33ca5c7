"""The search for programs: day patterns x starts x minutes, each run against several seasons.

The gate of a sensor depends on the governing zone alone. So the candidates (pattern, starts, governing
minutes) are run with the governing zones first; a shortlist of each controller is then run with all zones,
whose minutes are found one by one: the smallest whole step that meets the target. Clock-only is the same
with the gate open.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from sites.calc.gating import Outcome, ZoneState, run_governing, run_zones
from sites.calc.program_cost import broken, need_mm, overrun_min, zone_cost
from sites.calc.program_problem import MOST_PATTERNS, MOST_STARTS, Problem
from weather.calc.arrays import BoolArray, FloatArray, IntArray

# Minutes tried for the governing zone, as shares of what fills the root zone from the threshold on [1].
_GOVERNING_SHARES: Final = (0.35, 0.5, 0.65, 0.8, 0.95, 1.1, 1.3, 1.6)
# Depths tried for every other zone, as multiples of its ratio to the governing zone, or of its mean need [1].
_DEPTHS: Final = (0.75, 0.9, 1.0, 1.15, 1.35, 1.6)
_CLOCK_DEPTHS: Final = (0.6, 0.8, 0.95, 1.1, 1.3, 1.6, 2.0)


@dataclass(frozen=True, slots=True)
class Chosen:
    """The best program of each controller, and what it does to its zones over the horizon.

    Parameters
    ----------
    pattern
        Position of the day pattern, -1 where nothing may run, (controllers,).
    starts
        Starts of a watering day [1], (controllers,).
    minutes
        Minutes of one start [min], (zones,).
    adequacy, dry_share
        Share of ET without stress, share of days beyond allowed depletion [1], (zones,).
    lost_mm, need_mm, gross_mm, passes
        Losses, need, gross depth [mm] and runs [1] over the horizon, mean of the seasons, (zones,).
    offered
        Starts offered over the horizon [1], (controllers,).
    cost
        Value of the objective [1], (controllers,).
    overrun_min
        Minutes by which the program does not fit its hours [min], (controllers,).
    tried
        Candidates tried [1], (controllers,).
    """

    pattern: IntArray
    starts: IntArray
    minutes: FloatArray
    adequacy: FloatArray
    dry_share: FloatArray
    lost_mm: FloatArray
    need_mm: FloatArray
    gross_mm: FloatArray
    passes: FloatArray
    offered: FloatArray
    cost: FloatArray
    overrun_min: FloatArray
    tried: IntArray


@dataclass(frozen=True, slots=True)
class _Candidates:
    """Shortlisted candidates, arrays (controllers, candidates), and the starts that run under each."""

    pattern: IntArray
    starts: IntArray
    governing_min: FloatArray
    running: npt.NDArray[np.uint8]  # (days, controllers, candidates, seasons or 1)
    is_open: BoolArray


def best_programs(given: Problem) -> Chosen:
    """The best program of each controller of one problem.

    Parameters
    ----------
    given
        Controllers of one kind with all their zones.
    """
    is_governed = bool(np.all(given.governing >= 0))
    found = _governed_candidates(given) if is_governed else _clock_candidates(given)
    state = given.with_margin()
    base = _ratio_depth_mm(given, found) if is_governed else _mean_need_mm(given, found)
    minutes, outcome = _smallest_minutes(given, state, found, base, is_governed=is_governed)
    return _choose(given, found, minutes, outcome)


def _lattice(minutes: int) -> tuple[IntArray, IntArray, IntArray]:
    """Pattern, starts and minute index of every candidate, (candidates,)."""
    pattern, starts, index = np.meshgrid(
        np.arange(MOST_PATTERNS), np.arange(1, MOST_STARTS + 1), np.arange(minutes), indexing="ij"
    )
    return pattern.ravel(), starts.ravel(), index.ravel()


def _offered(given: Problem, pattern: IntArray, starts: IntArray) -> npt.NDArray[np.uint8]:
    """Starts offered each day, (days, controllers, candidates)."""
    runs = np.take_along_axis(given.offered, pattern[None], axis=2)
    return (runs * starts[None]).astype(np.uint8)


def _governed_candidates(given: Problem) -> _Candidates:
    """The shortlist of governed controllers, by what their governing zones say."""
    zones = given.governing
    pattern, starts, index = _lattice(len(_GOVERNING_SHARES))
    count = len(given.controllers)
    threshold = given.threshold_mm()
    shares = np.array(_GOVERNING_SHARES)[index]
    picked = _rows(given, zones)
    depth = np.minimum(threshold[:, None] * shares[None, :], given.net_mm(given.cap_min[:, None])[zones])
    step = given.controllers.minute_step[:, None]
    # In doubt the governing zone is rounded down: it then simply runs more often.
    minutes = np.floor(picked.minutes_for(np.maximum(depth, 0.3)) / step + 1e-9) * step
    minutes = np.clip(
        minutes, given.least_min[zones][:, None], np.maximum(given.cap_min[zones], 1.0)[:, None]
    )
    patterns, many = np.tile(pattern, (count, 1)), np.tile(starts, (count, 1))
    offered = _offered(given, patterns, many)
    pass_mm = picked.net_mm(minutes).astype(np.float32)
    outcome, _ = run_governing(
        given.state.take(zones),
        threshold.astype(np.float32),
        np.maximum(pass_mm, 0.05),
        offered,
        keep_starts=False,
    )
    is_open = given.is_open[np.arange(count)[:, None], patterns] & (
        many <= given.controllers.starts_per_program[:, None]
    )
    whole = _pass_minutes(given, minutes, zones)
    beyond = overrun_min(given, patterns, many, whole)
    cost = zone_cost(given, outcome, need_mm=need_mm(given.state)[zones], is_dry_counted=False)
    cost = cost + given.settings.start_weight * offered.sum(axis=0) / (offered.shape[0] / 7.0)
    cost = cost + broken(given, patterns, beyond)
    order = np.argsort(np.where(is_open, cost, np.inf), axis=1, kind="stable")[:, : given.settings.shortlist]
    patterns, many = np.take_along_axis(patterns, order, axis=1), np.take_along_axis(many, order, axis=1)
    minutes, is_open = np.take_along_axis(minutes, order, axis=1), np.take_along_axis(is_open, order, axis=1)
    _, running = run_governing(
        given.state.take(zones),
        threshold.astype(np.float32),
        np.maximum(picked.net_mm(minutes).astype(np.float32), 0.05),
        _offered(given, patterns, many),
        keep_starts=True,
    )
    if running is None:
        raise RuntimeError("starts were asked for")
    return _Candidates(patterns, many, minutes, running, is_open)


def _clock_candidates(given: Problem) -> _Candidates:
    """All patterns and starts of clock-only controllers; each start runs."""
    pattern, starts, _ = _lattice(1)
    count = len(given.controllers)
    patterns, many = np.tile(pattern, (count, 1)), np.tile(starts, (count, 1))
    is_open = given.is_open[np.arange(count)[:, None], patterns] & (
        many <= given.controllers.starts_per_program[:, None]
    )
    return _Candidates(
        patterns, many, np.zeros(patterns.shape), _offered(given, patterns, many)[:, :, :, None], is_open
    )


class _Rows:
    """Depth and minutes of some zones, one row each."""

    def __init__(self, given: Problem, zones: IntArray) -> None:
        self.rate = given.zones.precipitation_rate_mm_h[zones][:, None]
        self.efficiency = given.zones.application_efficiency[zones][:, None]
        self.step = given.controllers.minute_step[given.owner[zones]][:, None]
        self.loss = given.settings.run_loss_mm

    def net_mm(self, minutes: FloatArray) -> FloatArray:
        """Net depth of a run [mm]."""
        return np.asarray(np.maximum(self.rate / 60 * minutes - self.loss, 0.0) * self.efficiency)

    def minutes_for(self, net_mm: FloatArray) -> FloatArray:
        """Minutes that give a net depth [min], in no steps."""
        return np.asarray(60.0 * (net_mm / self.efficiency + self.loss) / self.rate)


def _rows(given: Problem, zones: IntArray) -> _Rows:
    """Depth and minutes of some zones."""
    return _Rows(given, zones)


def _ratio_depth_mm(given: Problem, found: _Candidates) -> FloatArray:
    """Net depth of a pass of every zone in its ratio to the governing zone [mm], (zones, candidates)."""
    coefficient = given.zones.landscape_coefficient
    governing = given.governing[given.owner]
    ratio = given.margin * coefficient / coefficient[governing]
    depth = _rows(given, given.governing).net_mm(found.governing_min)
    return np.asarray(depth[given.owner] * ratio[:, None])


def _mean_need_mm(given: Problem, found: _Candidates) -> FloatArray:
    """Net depth of a pass that meets the mean need of the horizon [mm], (zones, candidates)."""
    passes = np.maximum(found.running[:, :, :, 0].sum(axis=0), 1)[given.owner]
    return np.asarray(need_mm(given.with_margin())[:, None] / passes)


def _smallest_minutes(
    given: Problem,
    state: ZoneState,
    found: _Candidates,
    base_mm: FloatArray,
    *,
    is_governed: bool,
) -> tuple[FloatArray, Outcome]:
    """Smallest minutes of every zone that meet the target, else the most tried, with their outcome."""
    settings = given.settings
    best_minutes = np.zeros(base_mm.shape)
    best: list[npt.NDArray[np.float32]] = []
    met = np.zeros(base_mm.shape, dtype=np.bool_)
    for share in _DEPTHS if is_governed else _CLOCK_DEPTHS:
        minutes = np.clip(
            given.minutes_for(base_mm * share), given.least_min[:, None], given.cap_min[:, None]
        )
        if is_governed:
            minutes[given.governing] = found.governing_min
        outcome = run_zones(state, given.net_mm(minutes).astype(np.float32), found.running, given.owner)
        columns = [
            outcome.adequacy,
            outcome.percolated_mm,
            outcome.dry_share,
            outcome.end_depletion_mm,
            outcome.passes,
        ]
        if not best:
            best, best_minutes = [column.copy() for column in columns], minutes.copy()
        else:
            better = ~met & (minutes > best_minutes)
            for kept, new in zip(best, columns, strict=True):
                kept[better] = new[better]
            best_minutes[better] = minutes[better]
        met |= (best[0] >= settings.target_adequacy) & (best[2] <= settings.most_dry_share)
    return best_minutes, Outcome(*best)


def _pass_minutes(given: Problem, governing_min: FloatArray, zones: IntArray) -> FloatArray:
    """Minutes of a whole pass with every zone in its ratio [min], (controllers, candidates)."""
    coefficient = given.zones.landscape_coefficient
    ratio = given.margin * coefficient / coefficient[zones[given.owner]]
    depth = _rows(given, zones).net_mm(governing_min)[given.owner] * ratio[:, None]
    minutes = np.clip(given.minutes_for(depth), given.least_min[:, None], given.cap_min[:, None])
    return np.asarray(np.add.reduceat(minutes, given.first, axis=0))


def _choose(given: Problem, found: _Candidates, minutes: FloatArray, outcome: Outcome) -> Chosen:
    """The candidate of lowest cost of each controller, as results."""
    need = need_mm(given.state)
    by_zone = zone_cost(given, outcome, need_mm=need) * given.weight[:, None]
    cost = np.add.reduceat(by_zone, given.first, axis=0)
    days = found.running.shape[0]
    offered = _offered(given, found.pattern, found.starts).sum(axis=0)
    beyond = overrun_min(given, found.pattern, found.starts, np.add.reduceat(minutes, given.first, axis=0))
    cost = cost + given.settings.start_weight * offered / (days / 7.0) + broken(given, found.pattern, beyond)
    cost = np.where(found.is_open, cost, np.inf)
    best = np.argmin(cost, axis=1)
    rows = np.arange(best.size)
    any_open = found.is_open.any(axis=1)
    column = best[given.owner]
    zone = np.arange(column.size)
    picked = minutes[zone, column]
    passes = outcome.passes[zone, column].astype(np.float64)
    gross = given.zones.precipitation_rate_mm_h / 60 * picked * passes
    lost = outcome.percolated_mm[zone, column] + passes * np.minimum(
        given.settings.run_loss_mm, given.zones.precipitation_rate_mm_h / 60 * picked
    )
    return Chosen(
        pattern=np.where(any_open, found.pattern[rows, best], -1),
        starts=found.starts[rows, best],
        minutes=picked,
        adequacy=outcome.adequacy[zone, column].astype(np.float64),
        dry_share=outcome.dry_share[zone, column].astype(np.float64),
        lost_mm=np.asarray(lost, dtype=np.float64),
        need_mm=need,
        gross_mm=gross,
        passes=passes,
        offered=offered[rows, best].astype(np.float64),
        cost=cost[rows, best],
        overrun_min=beyond[rows, best],
        tried=found.is_open.sum(axis=1)
        * (len(_DEPTHS) if np.any(given.governing >= 0) else len(_CLOCK_DEPTHS)),
    )

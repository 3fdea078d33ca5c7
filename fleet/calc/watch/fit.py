"""Numbers that the whole fleet's own logs set: a coordinate search, then site offsets by group.

A pedotransfer function is wrong by a factor for one garden, and no book says how much of a dose a sensor sees
before the next start. The logs of many gardens together do. The search uses the healthy model alone and
leaves out the worst fifth of the sites, where the faulty ones are; guard and temper are off, since they
would make the likelihoods of two candidates incomparable.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.filter import FULL_GRID, FilterOptions, watch_fleet
from fleet.calc.watch.grid import offset_grid, site_offsets
from fleet.calc.watch.habits import Habits, no_habits, only
from fleet.calc.watch.inputs import WatchInputs, take_sites
from fleet.calc.watch.result import WatchRun, fault_score
from fleet.calc.watch.settings import (
    THRESHOLD_SD_START,
    USE_SD_START,
    FleetFit,
    WatchSettings,
    with_numbers,
)

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

SEARCH_SITES = 250
OFFSET_SITES = 1000
FEWEST_SITES = 12
"""Below this number of controllers with a log nothing is learned and the starting numbers stand."""
_BEST_SHARE = 0.8
_WIDE_GRID = offset_grid((-2.2, -1.1, 0.0, 1.1, 2.2), (-1.8, -0.6, 0.6, 1.8))
# The fit learns spreads alone: on the finer nodes of the filter it takes longer and finds them too small.
_GROUP_GRID = offset_grid((-2.2, -1.1, 0.0, 1.1, 2.2), (-1.8, -0.6, 0.6, 1.8), (-1.0, 1.0))
_WIDE_USE_SD, _WIDE_THRESHOLD_SD = 0.35, 0.55
_SEARCH: dict[str, tuple[float, ...]] = {
    "rain_before_share": (0.0, 0.15, 0.25, 0.3, 0.6, 1.0),
    "dose_seen_share": (0.05, 0.1, 0.2, 0.4, 0.5, 1.0),
    "excess_share": (0.0, 0.3, 0.5, 0.6, 1.0),
    "drainage_h": (12.0, 48.0, 150.0),
    "noise_mm": (0.2, 0.5, 1.0),
    "tension_noise": (0.02, 0.1, 0.2, 0.4, 1.0, 2.0, 4.0),
    "rain_cv": (0.15, 0.35, 0.6),
}
_SHIFT_SEARCH: dict[str, tuple[float, ...]] = {
    "shift_sd_mm": (0.2, 0.5, 1.0, 2.0),
    "shift_sd_share": (0.1, 0.3, 0.6),
}
_USE_BOUNDS = (0.12, 0.60)
_THRESHOLD_BOUNDS = (0.15, 0.70)
_MEAN_PRIOR_SITES = 3.0
_OFFSET_PASSES = 5  # with two the groups had not settled: twice the false alarms on simulated fleets
_SPREAD_PRIOR_SITES = 5.0
HABIT_DAYS = 28
"""Days with a count below which a season teaches no habit [d]."""
_LEAST_VARIANCE = 1e-6


@dataclass(frozen=True, slots=True)
class _Group:
    """Offsets of one axis: prior spread and bounds [1]."""

    prior_sd: float
    bounds: tuple[float, float]


def fit_fleet(inputs: WatchInputs, start: FleetFit, settings: WatchSettings) -> FleetFit:
    """Fleet-level numbers under which the logs of the healthy majority are most likely [1].

    Parameters
    ----------
    inputs
        Sites with logs; those without a count teach nothing and are left out. Habits of single gardens are
        not looked at: groups are learned from the days at hand.
    start
        Fit to start from; last week's saves nothing but keeps ties where they were.
    settings
        Fixed settings.
    """
    inputs = replace(inputs, habits=no_habits(inputs.site_count))
    useful = np.flatnonzero(inputs.seen.sum(axis=0) > 0)
    if useful.size < FEWEST_SITES:
        return start
    search = take_sites(inputs, _evenly(useful, SEARCH_SITES))
    fit = _coordinate_search(search, start, settings, _SEARCH, shift=False)
    fit = _coordinate_search(search, fit, settings, _SHIFT_SEARCH, shift=True)
    offsets = take_sites(inputs, _evenly(useful, OFFSET_SITES))
    for _ in range(_OFFSET_PASSES):
        run = watch_fleet(offsets, fit, settings, options=FilterOptions(grid=_GROUP_GRID))
        fit = _offsets_by_group(offsets, fit, run)
    return fit


def _coordinate_search(
    inputs: WatchInputs,
    fit: FleetFit,
    settings: WatchSettings,
    space: dict[str, tuple[float, ...]],
    *,
    shift: bool,
) -> FleetFit:
    """Best value of each number in turn, the others held."""
    best = _likelihood(inputs, fit, settings, shift=shift)
    for name, values in space.items():
        held = getattr(fit, name)
        for value in values:
            if value == held:
                continue
            tried = with_numbers(fit, **{name: value})
            found = _likelihood(inputs, tried, settings, shift=shift)
            if found > best:
                best, fit = found, tried
    return fit


def _likelihood(inputs: WatchInputs, fit: FleetFit, settings: WatchSettings, *, shift: bool) -> float:
    """Sum of the sites' log likelihoods without the worst fifth, per day seen."""
    wide = replace(
        fit,
        use_sd=np.full(fit.use_sd.shape, _WIDE_USE_SD),
        threshold_sd=np.full(fit.threshold_sd.shape, _WIDE_THRESHOLD_SD),
    )
    plain = replace(
        settings,
        temper=1.0,
        guard_mm=float("inf"),
        fault_rate=0.0,
        erratic_rate=0.0,
        reads_wet_rate=0.0,
        reads_dry_rate=0.0,
    )
    options = FilterOptions(shift=shift, branches=False, grid=_WIDE_GRID)
    run = watch_fleet(inputs, wide, plain, options=options)
    per_day = run.log_evidence / np.maximum(inputs.seen.sum(axis=0), 1)
    kept = np.sort(per_day)[round((1.0 - _BEST_SHARE) * per_day.size) :]
    return float(kept.sum())


def _offsets_by_group(inputs: WatchInputs, fit: FleetFit, run: WatchRun) -> FleetFit:
    """Group means and spreads of the offsets from the sites' posteriors."""
    use, threshold = site_offsets(inputs, fit, _GROUP_GRID)
    healthy = np.clip(run.probability[-1, :, 0].astype(np.float64), 0.02, 1.0)
    use_mean, use_sd = _group_spread(
        use, run.node_weight, healthy, inputs.use_group, fit.use_mean, _Group(USE_SD_START, _USE_BOUNDS)
    )
    threshold_mean, threshold_sd = _group_spread(
        threshold,
        run.node_weight,
        healthy,
        inputs.soil_group,
        fit.threshold_mean,
        _Group(THRESHOLD_SD_START, _THRESHOLD_BOUNDS),
    )
    return replace(
        fit,
        use_mean=use_mean,
        use_sd=use_sd,
        threshold_mean=threshold_mean,
        threshold_sd=threshold_sd,
    )


def _group_spread(
    offset: FloatArray,
    node_weight: npt.NDArray[np.float32],
    healthy: FloatArray,
    group: IntArray,
    old_mean: FloatArray,
    axis: _Group,
) -> tuple[FloatArray, FloatArray]:
    """Mean of each group, shrunk to the fleet's, and its spread, shrunk to the prior, (groups,)."""
    site_mean = (offset * node_weight).sum(axis=1)
    site_variance = (offset**2 * node_weight).sum(axis=1) - site_mean**2
    groups = old_mean.size
    weight = np.bincount(group, weights=healthy, minlength=groups)
    total = np.maximum(weight, 1e-9)
    fleet_mean = float(np.sum(healthy * site_mean) / np.sum(healthy))
    mean = np.bincount(group, weights=healthy * site_mean, minlength=groups) / total
    share = weight / (weight + _MEAN_PRIOR_SITES)
    mean = np.where(weight > 0, share * mean + (1.0 - share) * fleet_mean, fleet_mean)
    square = (site_mean - mean[group]) ** 2 + site_variance
    variance = np.bincount(group, weights=healthy * square, minlength=groups)
    prior = _SPREAD_PRIOR_SITES * axis.prior_sd**2
    spread = np.sqrt((variance + prior) / (weight + _SPREAD_PRIOR_SITES))
    return mean, np.clip(spread, *axis.bounds)


def learned_habits(inputs: WatchInputs, fit: FleetFit, run: WatchRun, settings: WatchSettings) -> Habits:
    """What a season taught of each garden; unknown where it was short or its end was not calm [1].

    Parameters
    ----------
    inputs, fit, run
        A season, the fleet's numbers and what the full filter says of it.
    settings
        Fixed settings.
    """
    use, threshold = site_offsets(inputs, fit, FULL_GRID)
    parts = (*_moments(use, run.node_weight), *_moments(threshold, run.node_weight))
    in_order = fault_score(run.probability[-1]) < settings.watch_score
    enough = inputs.seen.sum(axis=0) >= HABIT_DAYS
    return only(Habits(*parts), in_order & enough)


def _moments(offset: FloatArray, weight: npt.NDArray[np.float32]) -> tuple[FloatArray, FloatArray]:
    """Mean and spread of each site over its nodes, both (sites,)."""
    mean = (offset * weight).sum(axis=1)
    return mean, np.sqrt(np.maximum((offset**2 * weight).sum(axis=1) - mean**2, _LEAST_VARIANCE))


def _evenly(sites: IntArray, most: int) -> IntArray:
    """At most so many of the sites, evenly spaced, so that the choice needs no chance."""
    if sites.size <= most:
        return sites
    return sites[np.linspace(0, sites.size - 1, most).round().astype(np.int64)]

"""The watch's forward filter: one pass over the days for all sites, hypotheses and offsets at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch import hypotheses
from fleet.calc.watch import shift as watch_shift
from fleet.calc.watch.block import Block
from fleet.calc.watch.block_day import BlockDay
from fleet.calc.watch.grid import OFFSET_NODES, Grid, SiteConstants, offset_points, site_constants
from fleet.calc.watch.inputs import WatchInputs
from fleet.calc.watch.result import WatchRun, with_fault_odds
from fleet.calc.watch.settings import CAUSES, FleetFit, WatchSettings
from fleet.calc.watch.weather import FilterWeather, filter_weather

SingleArray: TypeAlias = npt.NDArray[np.float32]
FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

BLOCK_SITES = 96
FULL_GRID = offset_points(OFFSET_NODES)


@dataclass(frozen=True, slots=True)
class FilterOptions:
    """Parts of the filter that the fleet fit switches off while it searches.

    Parameters
    ----------
    shift
        Whether the common error of a location-day is taken out.
    branches
        Whether misreading branches are followed.
    grid
        Nodes of the site offsets.
    """

    shift: bool = True
    branches: bool = True
    grid: Grid = FULL_GRID


@dataclass(frozen=True, slots=True)
class _Days:
    """Everything by day and site, sorted by location, in the types of the blocks."""

    rain_mm: SingleArray
    et_mm: SingleArray
    missing_sd_mm: SingleArray
    dose_mm: SingleArray
    starts: npt.NDArray[np.int16]
    ran: npt.NDArray[np.int16]
    assumed_ran: SingleArray
    period_starts: npt.NDArray[np.int16]
    period_ran: npt.NDArray[np.int16]
    period_begins: npt.NDArray[np.bool_]
    first_day: IntArray


def watch_fleet(
    inputs: WatchInputs,
    fit: FleetFit,
    settings: WatchSettings,
    *,
    options: FilterOptions | None = None,
    assumed_ran: FloatArray | None = None,
) -> WatchRun:
    """Posterior of every site and day: healthy or which fault, with the expected bypass rate [1].

    Parameters
    ----------
    inputs
        Logs, programs, weather and book values.
    fit
        Fleet-level numbers.
    settings
        Fixed settings.
    options
        Parts to switch off; none by default.
    assumed_ran
        Starts that ran on the days of counted periods, spread by the balance, NaN elsewhere, (days, sites)
        [1].
    """
    chosen = options or FilterOptions()
    order = np.argsort(inputs.location, kind="stable")
    weather = filter_weather(inputs)
    spread = np.full(inputs.starts.shape, np.nan) if assumed_ran is None else assumed_ran
    days = _sorted_days(inputs, weather, spread, order)
    constants = site_constants(inputs, fit, chosen.grid)
    pieces = [order[at : at + BLOCK_SITES] for at in range(0, order.size, BLOCK_SITES)]
    blocks = [Block(_some(constants, piece), fit, settings, branches=chosen.branches) for piece in pieces]
    return _run_days(inputs, days, blocks, order, chosen, (fit, settings))


def _run_days(
    inputs: WatchInputs,
    days: _Days,
    blocks: list[Block],
    order: IntArray,
    options: FilterOptions,
    numbers: tuple[FleetFit, WatchSettings],
) -> WatchRun:
    """The loop over days, with the common shift between the two halves of each."""
    fit, settings = numbers
    day_count, sites = inputs.starts.shape
    location = inputs.location[order]
    locations = int(location.max(initial=-1)) + 1
    guard = watch_shift.starting_guard(locations, sites)
    probability = np.empty((day_count, sites, 1 + len(CAUSES)), dtype=np.float32)
    rate, depletion, spread = (np.empty((day_count, sites), dtype=np.float32) for _ in range(3))
    shifts = np.zeros((day_count, locations))
    for day in range(day_count):
        todays = [_block_day(days, day, at, block) for at, block in _places(blocks)]
        for block, today in zip(blocks, todays, strict=True):
            block.rain(today, fit.rain_before_share)
        exponent = np.ones(sites)
        if options.shift:
            guard = watch_shift.rained(guard, days.rain_mm[day].astype(np.float64) + days.missing_sd_mm[day])
            guard, shifts[day] = _take_out_common(blocks, todays, guard, location, fit)
            exponent = watch_shift.evidence_share(guard, settings.guard_mm)[location]
        for (at, block), today in zip(_places(blocks), todays, strict=True):
            part = slice(at, at + today.starts.size)
            rate[day, order[part]] = block.judge(today, exponent[part])
            block.finish(today, exponent[part])
            probability[day, order[part]] = hypotheses.cause_probabilities(block.weights, settings)
            depletion[day, order[part]], spread[day, order[part]] = block.depletion()
    with_fault_odds(probability, inputs.habits.known, settings.known_garden_odds)
    return _gather(blocks, order, (probability, rate, depletion, spread, shifts))


def _take_out_common(
    blocks: list[Block],
    todays: list[BlockDay],
    guard: watch_shift.Guard,
    location: IntArray,
    fit: FleetFit,
) -> tuple[watch_shift.Guard, FloatArray]:
    """Let the sites vote on the day's common error, and take it out of each by the others."""
    votes = [block.vote(today) for block, today in zip(blocks, todays, strict=True)]
    sd = watch_shift.prior_shift_sd(guard, fit.shift_sd_mm, fit.shift_sd_share)
    others, together = watch_shift.common_shift(
        np.concatenate([vote[0] for vote in votes]),
        np.concatenate([vote[1] for vote in votes]),
        location,
        sd,
        guard.slow_mm.size,
    )
    for at, block in _places(blocks):
        block.shift(others[at : at + block.twin.ran.shape[0]])
    return watch_shift.shifted(guard, together), together


def _places(blocks: list[Block]) -> list[tuple[int, Block]]:
    """Each block with the position of its first site."""
    return [(number * BLOCK_SITES, block) for number, block in enumerate(blocks)]


def _sorted_days(inputs: WatchInputs, weather: FilterWeather, spread: FloatArray, order: IntArray) -> _Days:
    """Daily arrays in the order of the blocks."""

    def single(values: FloatArray) -> SingleArray:
        return np.ascontiguousarray(values[:, order], dtype=np.float32)

    return _Days(
        rain_mm=single(weather.rain_mm),
        et_mm=single(weather.et_mm),
        missing_sd_mm=single(weather.missing_sd_mm),
        dose_mm=single(inputs.dose_mm),
        starts=inputs.starts[:, order],
        ran=inputs.ran[:, order],
        assumed_ran=single(spread),
        period_starts=inputs.period_starts[:, order],
        period_ran=inputs.period_ran[:, order],
        period_begins=_begins(inputs)[:, order],
        first_day=inputs.first_day[order],
    )


def _begins(inputs: WatchInputs) -> npt.NDArray[np.bool_]:
    """Days on which a counted period begins, (days, sites)."""
    begins = np.zeros(inputs.period_days.shape, dtype=np.bool_)
    end, site = np.nonzero(inputs.period_days > 0)
    begins[np.maximum(end - inputs.period_days[end, site] + 1, 0), site] = True
    return begins


def _block_day(days: _Days, day: int, at: int, block: Block) -> BlockDay:
    """One day of one block."""
    part = slice(at, at + block.twin.ran.shape[0])
    return BlockDay(
        day=day,
        rain_mm=days.rain_mm[day, part],
        et_mm=days.et_mm[day, part],
        missing_sd_mm=days.missing_sd_mm[day, part],
        dose_mm=days.dose_mm[day, part],
        starts=days.starts[day, part].astype(np.int64),
        ran=days.ran[day, part].astype(np.int64),
        assumed_ran=days.assumed_ran[day, part],
        period_starts=days.period_starts[day, part].astype(np.int64),
        period_ran=days.period_ran[day, part].astype(np.int64),
        period_begins=days.period_begins[day, part],
        is_on=days.first_day[part] <= day,
    )


def _some(constants: SiteConstants, sites: IntArray) -> SiteConstants:
    """Constants of some of the sites."""
    return SiteConstants(
        coefficient=constants.coefficient[sites],
        dose_factor=constants.dose_factor[sites],
        threshold_mm=constants.threshold_mm[sites],
        available_mm=constants.available_mm[sites],
        floor_mm=constants.floor_mm[sites],
        decision_variance_mm2=constants.decision_variance_mm2[sites],
        prior_weight=constants.prior_weight,
    )


def _gather(
    blocks: list[Block],
    order: IntArray,
    series: tuple[SingleArray, SingleArray, SingleArray, SingleArray, FloatArray],
) -> WatchRun:
    """The run's result in the order of the inputs."""
    back = np.argsort(order, kind="stable")
    nodes = [block.weights.joint[0] for block in blocks]
    since = [hypotheses.cause_since(block.weights, block.settings) for block in blocks]
    node_weight = np.concatenate([node / node.sum(axis=-1, keepdims=True) for node in nodes])
    return WatchRun(
        probability=series[0],
        expected_rate=series[1],
        depletion_mm=series[2],
        depletion_sd_mm=series[3],
        since=np.concatenate(since)[back],
        node_weight=node_weight[back],
        log_evidence=np.concatenate([block.log_evidence for block in blocks])[back],
        location_shift_mm=series[4],
    )

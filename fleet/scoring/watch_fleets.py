"""Simulated fleets for the sensor watch: what it is given, and apart from it, the truth.

The watch is called with `SimulatedFleet.inputs` alone, a plain `WatchInputs`, which has no place for any
truth.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from fleet.calc.watch.inputs import UNSEEN, WatchInputs
from fleet.calc.watch.settings import CAUSES
from fleet.calc.watch.visibility import divergence
from fleet.scoring.watch_climates import SeasonWeather
from fleet.scoring.watch_faults import DRY_DOSE, NO_FAULT, WET_DOSE, Faults, FleetTruth, draw_faults
from fleet.scoring.watch_gardens import (
    SOILS,
    BookGardens,
    Errors,
    TrueGardens,
    draw_gardens,
)
from fleet.scoring.watch_physics import PHYSICS, SPOTS, Physics
from fleet.scoring.watch_records import book_inputs, logged_days, recorded_weather
from fleet.scoring.watch_truth import GOOD, evidence_of_starts

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

_STUCK_SHARE: Final = 0.99
_FIRST_START_H: Final = 4
_DAY_HOURS: Final = range(6, 20)
_TRUTH_SPREAD: Final = 0.35  # of ln(tension): what nobody outside the garden could know of its sensor
_TEMPER: Final = 0.6
_READS_SHARE: Final = 0.7  # of a misreading's rate shows, because its water follows what really ran


@dataclass(frozen=True, slots=True)
class Gardens:
    """Gardens of a fleet: the book's picture, what they truly are, and their faults in a season."""

    book: BookGardens
    garden: TrueGardens
    faults: Faults


@dataclass(frozen=True, slots=True)
class SimulatedFleet:
    """A season of a fleet.

    Parameters
    ----------
    inputs
        What the watch is given.
    evidence
        Log likelihood of each day's log by the true water, if healthy and under each cause, for the row that
        was told the truth, (days, sites, 1 + causes) [1].
    truth
        The faults.
    gardens
        What was drawn, for the season that follows.
    """

    inputs: WatchInputs
    evidence: FloatArray
    truth: FleetTruth
    gardens: Gardens


@dataclass(frozen=True, slots=True)
class _Season:
    """What happened by day: starts, runs, what the fault left to be seen, what each start speaks for."""

    starts: npt.NDArray[np.int16]
    ran: npt.NDArray[np.int16]
    nats: FloatArray
    evidence: FloatArray


def simulated_fleet(
    *, weather: SeasonWeather, physics: str, sites: int, seed: int, errors: Errors | None = None
) -> SimulatedFleet:
    """A season of a fleet with faults on a quarter of its sensors.

    Parameters
    ----------
    weather
        True weather of the locations, before the book's errors.
    physics
        Name in PHYSICS.
    sites
        Number of controllers.
    seed
        Seed of everything that is drawn.
    errors
        How far book, weather and log stray from the truth.
    """
    rng = np.random.default_rng(seed)
    chosen = errors or Errors()
    peak = float(np.percentile(weather.reference_et_mm, 95))
    gardens = draw_gardens(sites, weather.rain_mm.shape[1], peak, chosen, rng)
    faults = draw_faults(sites, weather.rain_mm.shape[0], rng)
    return season_of(Gardens(*gardens, faults), weather, physics=physics, errors=chosen, rng=rng)


def season_of(
    gardens: Gardens, weather: SeasonWeather, *, physics: str, errors: Errors, rng: np.random.Generator
) -> SimulatedFleet:
    """A season of given gardens under given faults.

    Parameters
    ----------
    gardens
        Gardens, the book's picture of them, and their faults.
    weather
        True weather of the locations.
    physics
        Name in PHYSICS.
    errors
        How far book, weather and log stray from the truth.
    rng
        Source of chance.
    """
    book, garden, faults = gardens.book, gardens.garden, gardens.faults
    season = _run_season(weather, book, garden, faults, physics, errors, rng)
    days, sites = season.ran.shape
    seen = logged_days(days, sites, errors, rng)
    recorded = recorded_weather(weather, errors, rng)
    ran = np.where(seen, season.ran, UNSEEN).astype(np.int16)
    inputs = book_inputs(book, season.starts, ran, recorded)
    return SimulatedFleet(
        inputs=inputs,
        evidence=season.evidence * seen[..., None],
        truth=FleetTruth(faults.fault, faults.onset, (season.nats * seen).sum(axis=0)),
        gardens=gardens,
    )


def _run_season(
    weather: SeasonWeather,
    book: BookGardens,
    garden: TrueGardens,
    faults: Faults,
    physics: str,
    errors: Errors,
    rng: np.random.Generator,
) -> _Season:
    """Hour by hour: water at the sensor's spot and at a good one beside it, under the starts that ran."""
    days, sites = weather.rain_mm.shape[0], book.location.size
    rain = weather.rain_mm[:, book.location] * garden.rain_factor
    rain = rain * np.exp(rng.normal(0.0, errors.rain_site_day, rain.shape))
    et = weather.reference_et_mm[:, book.location]
    number = np.arange(days)[:, None]
    starts = np.where((number + book.phase) % book.every_days == 0, book.starts_a_day, 0).astype(np.int16)
    ran, nats = np.zeros((days, sites), dtype=np.int16), np.zeros((days, sites))
    evidence = np.zeros((days, sites, 1 + len(CAUSES)))
    water: Physics = PHYSICS[physics].start(garden)
    for day in range(days):
        active = day >= faults.onset
        early = rng.beta(1.0, 4.0, sites)
        ran[day], nats[day], evidence[day] = _morning(
            water, garden, faults, starts[day], active, rain[day] * early, rng
        )
        _rest_of_day(water, garden, faults, active, rain[day] * (1.0 - early), et[day], rng)
    return _Season(starts, ran, nats, evidence)


def _spots(faults: Faults, active: npt.NDArray[np.bool_], depth_mm: FloatArray, kind: str) -> FloatArray:
    """Water at the sensor's spot, at a good one and at two that misread, (spots, sites) [mm]."""
    own = np.where(active, faults.dose, 1.0)
    factor = np.stack([own, *(np.full_like(own, dose) for dose in (1.0, WET_DOSE, DRY_DOSE))])
    if kind == "rain":
        factor = np.where(factor > 1.0, 1.15, 1.0)
    if kind == "et":
        factor = np.where(factor > 1.0, 0.92, np.where(factor < 1.0, 1.08, 1.0))
    return np.asarray(depth_mm * factor)


def _morning(
    water: Physics,
    garden: TrueGardens,
    faults: Faults,
    starts: npt.NDArray[np.int16],
    active: npt.NDArray[np.bool_],
    rain_mm: FloatArray,
    rng: np.random.Generator,
) -> tuple[npt.NDArray[np.int16], FloatArray, FloatArray]:
    """Night rain, then the starts one after the other; runs, what the fault left, what they speak for."""
    sites = starts.size
    none = np.zeros((SPOTS, sites))
    for hour in range(_FIRST_START_H):
        water.hour(_spots(faults, active, rain_mm, "rain") if hour == 1 else none, none)
    ran, nats = np.zeros(sites, dtype=np.int16), np.zeros(sites)
    evidence = np.zeros((1 + len(CAUSES), sites))
    for start in range(int(starts.max(initial=0))):
        offered = starts > start
        blocks = water.blocks(rng.normal(0.0, 1.0, sites))
        own, good = _blocking_shares(water, garden, faults, active)
        faulty_now = active & (faults.fault != NO_FAULT) & ~np.isin(faults.fault, _READS)
        blocked = np.where(faulty_now, rng.random(sites) < own, blocks)
        runs = offered & ~blocked
        ran += runs.astype(np.int16)
        said = evidence_of_starts(blocked, water.log_tension(), garden.threshold_kpa)
        evidence += np.where(offered, said, 0.0)
        shows = np.where(np.isin(faults.fault, _READS), _READS_SHARE, 1.0)
        nats += np.where(offered & active, _TEMPER * shows * divergence(own, good), 0.0)
        water.hour(_spots(faults, active, garden.dose_mm * runs, "dose"), none)
        water.hour(none, none)
    return ran, nats, evidence.T


_READS: Final = (CAUSES.index("reads_wet"), CAUSES.index("reads_dry"))


def _blocking_shares(
    water: Physics, garden: TrueGardens, faults: Faults, active: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Blocking probability of the sensor as it is, and of a good one beside it, both clipped, (sites,)."""
    past = (np.log(garden.threshold_kpa) - water.log_tension()[: GOOD + 1]) * (1.702 / _TRUTH_SPREAD)
    own, good = 1.0 / (1.0 + np.exp(-np.clip(past, -30.0, 30.0)))
    own = np.where(faults.fault == CAUSES.index("stuck_wet"), _STUCK_SHARE, own)
    own = np.where(faults.fault == CAUSES.index("stuck_dry"), 1.0 - _STUCK_SHARE, own)
    own = np.where(faults.fault == CAUSES.index("erratic"), faults.erratic, own)
    own = np.where(active, own, good)
    return np.clip(own, 0.01, 0.99), np.clip(good, 0.03, 0.97)


def _rest_of_day(
    water: Physics,
    garden: TrueGardens,
    faults: Faults,
    active: npt.NDArray[np.bool_],
    rain_mm: FloatArray,
    et_mm: FloatArray,
    rng: np.random.Generator,
) -> None:
    """ET over the daylight hours, a storm in the afternoon."""
    sites = et_mm.size
    none = np.zeros((SPOTS, sites))
    shape = np.sin(np.pi * (np.arange(len(_DAY_HOURS)) + 0.5) / len(_DAY_HOURS))
    shape /= shape.sum()
    storm = rng.integers(6, 12)
    for number in range(len(_DAY_HOURS)):
        fallen = np.maximum(rain_mm - 0.8, 0.0) / 2.0 if number in (storm, storm + 1) else np.zeros(sites)
        demand = et_mm * garden.coefficient * shape[number]
        water.hour(_spots(faults, active, fallen, "rain"), _spots(faults, active, demand, "et"))
    for _ in range(4):
        water.hour(none, none)


def soil_groups() -> int:
    """Number of soils in the simulated fleets [1]."""
    return len(SOILS)

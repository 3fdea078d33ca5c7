"""Invented gardens for the score of issued programs: what the planner believes, and what is true."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from sites.calc import landscape, soil
from sites.calc.search.controllers import ControllerTable
from sites.calc.zone_table import BookZones, ZoneTable, zone_table
from weather.calc.arrays import FloatArray, IntArray

_TEXTURES: Final = ("sand", "sandy_loam", "loam", "silt_loam", "clay_loam", "clay")
# Settings that a crew would leave by texture [kPa] (common practice, no source).
_THRESHOLD_KPA: Final = {
    "sand": 16.0,
    "sandy_loam": 25.0,
    "loam": 38.0,
    "silt_loam": 38.0,
    "clay_loam": 50.0,
    "clay": 60.0,
}
_BEDS: Final = ("shrubs", "groundcover", "annuals", "desert", "mixed", "trees")
# Hidden errors, standard deviations of logarithms or shares [1].
RATE_ERROR: Final = 0.12
COEFFICIENT_ERROR: Final = 0.12
UNIFORMITY_ERROR: Final = 0.05
STORE_ERROR: Final = 0.15
SENSOR_ERROR: Final = 0.10


@dataclass(frozen=True, slots=True)
class Gardens:
    """Gardens as believed, with one controller each, and their hidden truth.

    Parameters
    ----------
    zones, controllers
        As the planner knows them.
    threshold_kpa
        Threshold of each sensor [kPa], (controllers,).
    rate_mm_h, efficiency, coefficient, available_mm
        True precipitation rate [mm/h], efficiency [1], landscape coefficient [1] and available water [mm],
        (zones,).
    sensor_factor
        True over read tension [1], (controllers,).
    """

    zones: ZoneTable
    controllers: ControllerTable
    threshold_kpa: FloatArray
    rate_mm_h: FloatArray
    efficiency: FloatArray
    coefficient: FloatArray
    available_mm: FloatArray
    sensor_factor: FloatArray

    def __post_init__(self) -> None:
        """Refuse a truth that fits no zone."""
        if self.rate_mm_h.shape != self.zones.zone_id.shape:
            raise ValueError("the truth has one row a zone")
        if np.any(self.available_mm <= 0) or np.any(self.rate_mm_h <= 0):
            raise ValueError("rates and stores are above 0")


def invented_gardens(count: int, *, is_governed: bool, is_dry: bool, rng: np.random.Generator) -> Gardens:
    """Gardens of three to six zones; the first zone, a lawn, governs.

    Parameters
    ----------
    count
        Gardens [1].
    is_governed
        Whether a sensor stands in the first zone of each.
    is_dry
        Whether plant factors of a dry climate apply.
    rng
        Source of chance.
    """
    sizes = rng.integers(3, 7, count)
    owner = np.repeat(np.arange(count), sizes)
    station = np.concatenate([np.arange(1, size + 1) for size in sizes])
    total = len(owner)
    texture = rng.choice(len(_TEXTURES), count)
    lawn = rng.choice(["cool_turf", "warm_turf"], count)
    is_lawn = (station == 1) | (rng.random(total) < 0.4)
    plant = np.where(is_lawn, lawn[owner], rng.choice(_BEDS, total))
    head = np.where(
        is_lawn, rng.choice(["fixed_spray", "rotor", "rotary_nozzle"], total), _bed_heads(total, rng)
    )
    zones = zone_table(
        BookZones(
            zone_id=np.arange(1, total + 1),
            controller_id=owner + 1,
            site_id=owner + 1,
            station=station,
            location_id=np.ones(total, dtype=np.int64),
            rain_location_id=np.zeros(total, dtype=np.int64),
            plant=np.array([landscape.PLANTS.index(name) for name in plant]),
            head=np.array([landscape.HEADS.index(name) for name in head]),
            sun=np.where(is_lawn, 0, rng.integers(0, len(landscape.SUNS), total)),
            soil=np.array([soil.TEXTURES.index(_TEXTURES[at]) for at in texture])[owner],
            area_m2=rng.lognormal(4.2, 0.5, total),
            precipitation_rate_mm_h=np.full(total, np.nan),
            flow_l_min=np.full(total, np.nan),
            distribution_uniformity=np.full(total, np.nan),
            slope_pct=rng.choice([1.0, 2.0, 5.0, 9.0], count)[owner],
            root_depth_mm=np.full(total, np.nan),
            landscape_coefficient=np.full(total, np.nan),
            is_governing=(station == 1) & is_governed,
            is_dry_climate=np.full(total, is_dry),
        )
    )
    return _with_truth(zones, owner, texture, is_governed, rng)


def _bed_heads(total: int, rng: np.random.Generator) -> np.ndarray:
    """Heads of beds."""
    return rng.choice(["dripline", "fixed_spray", "bubbler"], total, p=[0.6, 0.25, 0.15])


def _with_truth(
    zones: ZoneTable, owner: IntArray, texture: IntArray, is_governed: bool, rng: np.random.Generator
) -> Gardens:
    """The gardens with hidden errors drawn."""
    count, total = len(texture), len(owner)
    kpa = np.array([_THRESHOLD_KPA[_TEXTURES[at]] for at in texture])
    first = np.searchsorted(owner, np.arange(count))
    threshold = soil.threshold_depletion_mm(zones.soil[first], kpa, zones.root_depth_mm[first])
    # Half of the error of the coefficient is common to a garden: its exposure.
    half = COEFFICIENT_ERROR / np.sqrt(2.0)
    coefficient_error = rng.normal(0, half, count)[owner] + rng.normal(0, half, total)
    uniformity = np.clip(zones.distribution_uniformity + rng.normal(0, UNIFORMITY_ERROR, total), 0.2, 0.95)
    return Gardens(
        zones=zones,
        controllers=ControllerTable(
            controller_id=np.arange(1, count + 1),
            is_governed=np.full(count, is_governed),
            stops_midway=np.zeros(count, dtype=np.bool_),
            has_free_order=np.ones(count, dtype=np.bool_),
            program_count=np.full(count, 3),
            starts_per_program=np.full(count, 4),
            max_run_min=np.full(count, 240.0),
            minute_step=np.ones(count),
            threshold_mm=threshold if is_governed else np.full(count, np.nan),
            case=np.zeros(count, dtype=np.int64),
            stations_at_once=np.ones(count, dtype=np.int64),
            flow_limit_l_min=np.full(count, np.nan),
        ),
        threshold_kpa=kpa,
        rate_mm_h=zones.precipitation_rate_mm_h * np.exp(rng.normal(0, RATE_ERROR, total)),
        efficiency=0.4 + 0.6 * uniformity,
        coefficient=zones.landscape_coefficient * np.exp(coefficient_error),
        available_mm=zones.total_available_water_mm * np.exp(rng.normal(0, STORE_ERROR, total)),
        sensor_factor=np.exp(rng.normal(0, SENSOR_ERROR, count)),
    )

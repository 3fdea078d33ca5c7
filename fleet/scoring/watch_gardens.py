"""Invented gardens: what they truly are, and what the book says of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, TypeAlias

import numpy as np
import numpy.typing as npt

from sites.calc import soil as book_soil

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]

SOILS: Final = ("sand", "loamy_sand", "sandy_loam", "loam", "silt_loam", "clay_loam", "clay")
THRESHOLD_KPA: Final = (16.0, 18.0, 28.0, 42.0, 45.0, 55.0, 60.0)
USE_GROUPS: Final = 4
_GROUP_KL: Final = (0.75, 0.80, 0.60, 0.50)
_STARTS: Final = (1, 2, 3)
_EVERY: Final = (1, 2, 3)


@dataclass(frozen=True, slots=True)
class Errors:
    """How far book, weather and log stray from the truth; `scaled` makes all of them larger.

    Parameters
    ----------
    rain_location, rain_site_day, rain_site
        Log spread of rain: location and day, site and day, site [1].
    missed_shower, phantom_rain
        Share of days with an unrecorded shower, of wet days whose rain did not fall [1].
    et_week
        Log spread of ET by location and week [1].
    coefficient, rate, root_depth, spot, threshold
        Log spread of landscape coefficient, precipitation rate, root depth, sensor spot, threshold [1].
    wrong_soil, stale_program, stale_run
        Share of wrong soil classes, of programs set otherwise, log spread of those run times [1].
    missing_day, gap_share
        Share of log days missing, and of logs with a longer gap [1].
    season_drift
        Log spread of what changes from one season to the next: coefficient, dose and threshold, each [1].
    """

    rain_location: float = 0.30
    rain_site_day: float = 0.20
    rain_site: float = 0.10
    missed_shower: float = 0.03
    phantom_rain: float = 0.06
    et_week: float = 0.05
    coefficient: float = 0.14
    rate: float = 0.20
    root_depth: float = 0.20
    spot: float = 0.12
    threshold: float = 0.12
    wrong_soil: float = 0.15
    stale_program: float = 0.15
    stale_run: float = 0.30
    missing_day: float = 0.02
    gap_share: float = 0.10
    season_drift: float = 0.08


@dataclass(frozen=True, slots=True)
class BookGardens:
    """What the book says, all (sites,); see `WatchInputs` for the meaning."""

    location: IntArray
    use_group: IntArray
    soil_group: IntArray
    coefficient: FloatArray
    root_depth_mm: FloatArray
    threshold_kpa: FloatArray
    dose_mm: FloatArray
    starts_a_day: IntArray
    every_days: IntArray
    phase: IntArray


@dataclass(frozen=True, slots=True)
class TrueGardens:
    """What the gardens truly are, all (sites,).

    Parameters
    ----------
    soil
        Position in SOILS [1].
    coefficient
        True landscape coefficient at the sensor's spot [1].
    root_depth_mm
        True root depth [mm].
    threshold_kpa
        Tension at which the sensor truly stops blocking [kPa].
    dose_mm
        True net depth of a start at the spot [mm].
    curve_shift
        Log shift of the soil's retention curve against its class mean [1].
    rain_factor
        Lasting factor on the site's rain [1].
    """

    soil: IntArray
    coefficient: FloatArray
    root_depth_mm: FloatArray
    threshold_kpa: FloatArray
    dose_mm: FloatArray
    curve_shift: FloatArray
    rain_factor: FloatArray


def draw_gardens(
    sites: int, locations: int, peak_et_mm: float, errors: Errors, rng: np.random.Generator
) -> tuple[BookGardens, TrueGardens]:
    """Gardens whose clocks can meet a hot dry week, and the book's imperfect picture of them.

    Parameters
    ----------
    sites, locations
        Number of gardens and of weather locations [1].
    peak_et_mm
        Reference ET of a hot dry week [mm/d].
    errors
        How far the book strays.
    rng
        Source of chance.
    """
    soil = rng.integers(0, len(SOILS), sites)
    use_group = rng.integers(0, USE_GROUPS, sites)
    coefficient = np.asarray(_GROUP_KL)[use_group]
    root_depth = rng.choice(np.array([120.0, 150.0, 180.0]), sites)
    threshold = np.asarray(THRESHOLD_KPA)[soil]
    starts, every = rng.choice(np.array(_STARTS), sites), rng.choice(np.array(_EVERY), sites)
    reserve = rng.uniform(1.15, 1.6, sites)
    dose = peak_et_mm * coefficient * reserve * every / starts
    wrong = rng.random(sites) < errors.wrong_soil
    book_class = np.where(
        wrong, np.clip(soil + rng.choice(np.array([-1, 1]), sites), 0, len(SOILS) - 1), soil
    )
    stale = rng.random(sites) < errors.stale_program
    true = TrueGardens(
        soil=soil,
        coefficient=coefficient * _log(errors.coefficient, sites, rng) * _log(errors.spot, sites, rng),
        root_depth_mm=root_depth * _log(errors.root_depth, sites, rng),
        threshold_kpa=threshold * _log(errors.threshold, sites, rng),
        dose_mm=dose
        * _log(errors.rate, sites, rng)
        * _log(errors.spot, sites, rng)
        * np.where(stale, _log(errors.stale_run, sites, rng), 1.0),
        curve_shift=rng.normal(0.0, 0.2, sites),
        rain_factor=_log(errors.rain_site, sites, rng),
    )
    book = BookGardens(
        location=rng.integers(0, locations, sites),
        use_group=use_group,
        soil_group=book_class,
        coefficient=coefficient,
        root_depth_mm=root_depth,
        threshold_kpa=threshold,
        dose_mm=dose,
        starts_a_day=starts,
        every_days=every,
        phase=rng.integers(0, 6, sites),
    )
    return book, true


def a_year_later(garden: TrueGardens, errors: Errors, rng: np.random.Generator) -> TrueGardens:
    """The same gardens after a winter: plants, heads and soil at the sensor have changed a little.

    Parameters
    ----------
    garden
        What they were.
    errors
        How much changes, and how many programs were keyed in anew otherwise than in the book.
    rng
        Source of chance.
    """
    sites = garden.soil.size
    keyed_in = rng.random(sites) < errors.stale_program / 3.0
    return replace(
        garden,
        coefficient=garden.coefficient * _log(errors.season_drift, sites, rng),
        threshold_kpa=garden.threshold_kpa * _log(errors.season_drift, sites, rng),
        dose_mm=garden.dose_mm
        * _log(errors.season_drift, sites, rng)
        * np.where(keyed_in, _log(errors.stale_run, sites, rng), 1.0),
    )


def book_water(book: BookGardens) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Threshold depletion, available water, excess water and slope by the book's curve, all (sites,) [mm].

    Parameters
    ----------
    book
        The book's picture of the gardens.
    """
    texture = np.array([book_soil.texture_index(name) for name in SOILS])[book.soil_group]
    root = book.root_depth_mm
    threshold = book_soil.threshold_depletion_mm(texture, book.threshold_kpa, root)
    drier = book_soil.threshold_depletion_mm(texture, 1.05 * book.threshold_kpa, root)
    available = book_soil.available_water_mm(texture, root)
    excess = (book_soil.water_content(texture, 1e-3) - book_soil.field_capacity(texture)) * root
    return threshold, available, np.maximum(excess, 0.5), (drier - threshold) / np.log(1.05)


def scaled(errors: Errors, factor: float) -> Errors:
    """All errors made larger by a factor; shares stay below one half [1].

    Parameters
    ----------
    errors
        Errors to scale.
    factor
        Factor on each [1].
    """
    values = {name: getattr(errors, name) * factor for name in Errors.__slots__}
    for name in ("missed_shower", "phantom_rain", "wrong_soil", "stale_program", "missing_day", "gap_share"):
        values[name] = min(0.5, values[name])
    return Errors(**values)


def _log(spread: float, sites: int, rng: np.random.Generator) -> FloatArray:
    """Log-normal factors with median one."""
    return np.exp(rng.normal(0.0, spread, sites))

"""Whether a sensor's threshold fits all the zones that it speaks for, and which setting would.

Between two allowed starts the governing zone uses d; zone j uses d x KL_j / KL_g. Where that is more than its
roots may lose, no run time can help: a wetter threshold does, one step at a time; else another zone has to
govern; else a second sensor. A drier step is only taken after the present one was watched.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sites.calc import soil
from sites.calc.search.problem import Problem
from weather.calc.arrays import BoolArray, FloatArray

HELD_DAYS = 14
HELD_DRY_DOWNS = 2
PLANTING_DAYS = 30
# Below this mean use of the governing zone nothing can be learned from a sensor [mm/d].
OFF_SEASON_MM_D = 1.0
PATCHY_WORDS = (
    "Leave the threshold: patchy colour is a question of coverage. Check heads, nozzles and pressure there."
)
# Where the unit's settings are not known, a step is at most a quarter of the tension [1].
_LARGEST_STEP = 0.25
# A drier step must leave every zone well inside what its roots may lose [1].
_ROOM_FOR_DRIER = 0.7
_LEAST_MM = 1.5


@dataclass(frozen=True, slots=True)
class ThresholdAdvice:
    """What to do about one sensor.

    Parameters
    ----------
    threshold_kpa
        Setting to key in [kPa]; the present one where nothing changes, NaN where none is known.
    words
        Why, in a sentence; empty: nothing to do.
    """

    threshold_kpa: float
    words: str


def fragile_zones(given: Problem) -> tuple[BoolArray, FloatArray]:
    """Zones that use more between waterings than their roots may lose, and the share of it used [1].

    The governing zone is taken to dry to the threshold and on through one more hot day, the 80th percentile
    of its daily use.

    Parameters
    ----------
    given
        The problem.
    """
    governed = given.governing >= 0
    zone = np.maximum(given.governing, 0)
    hot = np.percentile(given.truth.demand_mm[:, zone], 80, axis=(0, 2))
    used = np.nan_to_num(given.threshold_mm(), nan=0.0) + hot
    coefficient = given.zones.landscape_coefficient
    share = used[given.owner] * coefficient / coefficient[zone][given.owner]
    share = share / given.zones.allowed_depletion_mm
    others = governed[given.owner] & (np.arange(len(given.owner)) != zone[given.owner])
    return others & (share > 1.0), np.where(others, share, 0.0)


@dataclass(frozen=True, slots=True)
class Watched:
    """What is known of a sensor beside its setting.

    Parameters
    ----------
    held_days
        Days since the setting was last changed [d]; None: not known.
    dry_downs
        Dry-downs watched since [1]; None: not known.
    sensor_days
        Days since the sensor was put in [d]; None: not known.
    planting_days
        Days since the youngest planting of its zones [d]; None: long ago.
    turf_seen
        What the last visit saw since the setting stands: `good`, `evenly_dry`, `patchy`, `soggy`; empty:
        nothing.
    """

    held_days: int | None = None
    dry_downs: int | None = None
    sensor_days: int | None = None
    planting_days: int | None = None
    turf_seen: str = ""

    @property
    def is_held(self) -> bool:
        """Whether the setting was watched long enough to go drier: two weeks with two dry-downs."""
        return (self.held_days or 0) >= HELD_DAYS and (self.dry_downs or 0) >= HELD_DRY_DOWNS

    @property
    def is_on_trial(self) -> bool:
        """Whether the sensor is new: less than two weeks in the ground, and not two dry-downs yet."""
        return (
            self.sensor_days is not None
            and self.sensor_days < HELD_DAYS
            and (self.dry_downs or 0) < HELD_DRY_DOWNS
        )


def threshold_advice(
    given: Problem,
    at: int,
    *,
    fragile: BoolArray,
    threshold_kpa: float,
    steps_kpa: Sequence[float],
    watched: Watched,
) -> ThresholdAdvice:
    """What to do about the threshold of one controller.

    Off season, under a new planting and while the sensor is on trial it stays. Evenly dry turf asks for a
    wetter step; patchy colour is a question of coverage and never of the threshold; soggy turf asks for a
    drier step, which is only taken after the present one was watched (common practice, no source).

    Parameters
    ----------
    given
        The problem.
    at
        Position of the controller.
    fragile
        Zones that suffer because they use more between waterings than their roots may lose, (zones,).
    threshold_kpa
        Present setting [kPa]; NaN: not known.
    steps_kpa
        Settings that the unit offers [kPa]; none: not known.
    watched
        What is known of the sensor.
    """
    if np.isnan(threshold_kpa) or given.governing[at] < 0:
        return ThresholdAdvice(threshold_kpa, "")
    waits = _waits(given, at, watched)
    if waits is not None:
        return ThresholdAdvice(threshold_kpa, waits)
    mine = np.flatnonzero(given.owner == at)
    if fragile[mine].any():
        return _wetter(given, at, threshold_kpa, steps_kpa)
    if watched.turf_seen == "evenly_dry":
        return _said(
            "The last visit found the turf evenly dry.", _wetter(given, at, threshold_kpa, steps_kpa)
        )
    if watched.turf_seen == "patchy":
        return ThresholdAdvice(threshold_kpa, PATCHY_WORDS)
    if watched.turf_seen == "soggy":
        return _after_soggy(threshold_kpa, steps_kpa, watched)
    worst = float(fragile_zones(given)[1][mine].max())
    drier = _drier(threshold_kpa, steps_kpa)
    if watched.is_held and drier is not None and _has_room(given, at, worst, threshold_kpa, drier):
        return ThresholdAdvice(
            drier,
            f"The threshold can go one step drier, {threshold_kpa:g} to {drier:g} kPa: no zone comes near its"
            " limit.",
        )
    return ThresholdAdvice(threshold_kpa, "")


def _waits(given: Problem, at: int, watched: Watched) -> str | None:
    """Why the threshold stays whatever else is seen; None: it may move."""
    zone = int(given.governing[at])
    if float(given.truth.demand_mm[:, zone].mean()) < OFF_SEASON_MM_D:
        return ""
    if watched.planting_days is not None and watched.planting_days < PLANTING_DAYS:
        left = PLANTING_DAYS - watched.planting_days
        return f"The threshold stays as it is: something was planted here, for {left} more days."
    if watched.is_on_trial:
        return (
            "The threshold stays as it is: the sensor is on trial until it was watched for"
            f" {HELD_DAYS} days or {HELD_DRY_DOWNS} dry-downs."
        )
    return None


def _drier(threshold_kpa: float, steps_kpa: Sequence[float]) -> float | None:
    """The next drier setting that the unit offers; None where there is none."""
    return min((step for step in steps_kpa if step > threshold_kpa), default=None)


def _has_room(given: Problem, at: int, worst: float, threshold_kpa: float, drier: float) -> bool:
    """Whether a drier setting leaves every zone well inside what its roots may lose."""
    zone = int(given.governing[at])
    deeper = depletion_mm(given, zone, drier) / max(depletion_mm(given, zone, threshold_kpa), _LEAST_MM)
    own = depletion_mm(given, zone, drier) / float(given.zones.allowed_depletion_mm[zone])
    return 0 < worst < _ROOM_FOR_DRIER and worst * deeper < _ROOM_FOR_DRIER and own < _ROOM_FOR_DRIER


def _after_soggy(threshold_kpa: float, steps_kpa: Sequence[float], watched: Watched) -> ThresholdAdvice:
    """A drier step after soggy turf, once the present one was watched; the spot is looked at first."""
    drier = _drier(threshold_kpa, steps_kpa)
    said = "The last visit found the turf soggy: look for leaks and a low spot first."
    if drier is None:
        return ThresholdAdvice(threshold_kpa, f"{said} No drier setting is left.")
    if not watched.is_held:
        return ThresholdAdvice(
            threshold_kpa,
            f"{said} Then one step drier, after {HELD_DAYS} days with {HELD_DRY_DOWNS} dry-downs at"
            f" {threshold_kpa:g} kPa.",
        )
    return ThresholdAdvice(drier, f"{said} Then set the threshold one step drier, to {drier:g} kPa.")


def _said(first: str, advice: ThresholdAdvice) -> ThresholdAdvice:
    """Advice with a sentence before its own."""
    return ThresholdAdvice(advice.threshold_kpa, f"{first} {advice.words}")


def depletion_mm(given: Problem, zone: int, threshold_kpa: float) -> float:
    """Depletion of a zone at a threshold [mm].

    Parameters
    ----------
    given
        The problem.
    zone
        Position of the zone.
    threshold_kpa
        Threshold [kPa], above field capacity.
    """
    texture, depth = int(given.zones.soil[zone]), float(given.zones.root_depth_mm[zone])
    return float(soil.threshold_depletion_mm(texture, threshold_kpa, depth))


def _wetter(given: Problem, at: int, threshold_kpa: float, steps_kpa: Sequence[float]) -> ThresholdAdvice:
    """A wetter step where there is one, else another place for the sensor, else a second one."""
    if steps_kpa:
        wetter = max((step for step in steps_kpa if step < threshold_kpa), default=0.0)
    else:
        wetter = float(np.floor(threshold_kpa * (1.0 - _LARGEST_STEP)))
    zone = int(given.governing[at])
    if wetter > soil.FIELD_CAPACITY_KPA and depletion_mm(given, zone, wetter) >= _LEAST_MM:
        return ThresholdAdvice(
            wetter, f"Set the threshold one step wetter, {threshold_kpa:g} to {wetter:g} kPa."
        )
    mine = np.flatnonzero(given.owner == at)
    ease = given.zones.allowed_depletion_mm[mine] / given.zones.landscape_coefficient[mine]
    best = int(mine[np.argmin(ease)])
    if best != zone:
        station = int(given.zones.station[best])
        return ThresholdAdvice(
            threshold_kpa, f"No wetter setting is left: station {station} should hold the sensor instead."
        )
    return ThresholdAdvice(
        threshold_kpa, "No wetter setting is left: the garden needs a second sensor or controller."
    )

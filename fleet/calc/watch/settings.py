"""Numbers of the sensor watch: fixed settings, and those that a fleet's own logs set."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

FloatArray: TypeAlias = npt.NDArray[np.float64]

CAUSES = ("stuck_wet", "stuck_dry", "reads_wet", "reads_dry", "erratic")
"""Faults of sensor, wire and place, in the order of every array with a cause axis."""

TOO_WET = ("stuck_wet", "reads_wet")
TOO_DRY = ("stuck_dry", "reads_dry")

WATCH_DAYS_KEPT = 60
"""Length of the window over which visibility is counted [d]."""


FLAG_SCORE_NAME = "watch.flag_score"
"""Name of the company's own setting."""


@dataclass(frozen=True, slots=True)
class Misreading:
    """How a badly placed or badly set sensor sees the water of its zone.

    Parameters
    ----------
    dose, et, rain
        Factors on irrigation, ET and rain at the sensor's spot [1].
    """

    dose: float
    et: float
    rain: float


@dataclass(frozen=True, slots=True)
class WatchSettings:
    """Fixed settings; the defaults were set on simulated fleets.

    Parameters
    ----------
    temper
        Exponent on every likelihood, because days are less independent than the model says [1].
    noise_share
        Share of days that tell nothing [1].
    fault_rate, erratic_rate, reads_wet_rate, reads_dry_rate
        Prior rate of stuck wet and stuck dry each, and of the others [1/d]. They share out the budget of
        false alarms between the faults, and were set on simulated fleets.
    twin_weight, twin_prior, twin_memory, twin_mixing
        Empirical healthy twin: prior share of healthy [1], prior counts [1], kept per day [1], exchange
        [1/d].
    reads_wet, reads_dry
        Factors of the two misreadings.
    stuck_share
        Share of starts that a stuck sensor blocks, or lets run [1].
    erratic_shares
        Blocking shares of an erratic sensor, equally likely [1].
    spawn_days, slots
        Every so many days a branch "misreading began now" starts [d]; branches kept [1].
    et_cv, dose_cv
        Relative error of a day's ET and of a start's dose [1].
    guard_mm
        Unexplained common shift at which the evidence counts half [mm].
    habit_use_drift, habit_threshold_drift
        How far a garden's log error of use over dose, and of the threshold, may have moved since the season
        that taught it, as standard deviations [1].
    known_garden_odds
        Factor on the odds of a fault in gardens whose habit is known: they cry wolf less, so that the budget
        of false alarms leaves them more [1].
    flag_score, watch_score
        Log odds of a fault from which a controller is flagged, or watched [1].
    small_fleet, small_fleet_penalty
        Below this number of controllers the flag asks for more [1].
    healthy_nats, promise_nats
        Evidence a fault would have left: needed to say "healthy", and to promise detection [nat].
    """

    temper: float = 0.7
    noise_share: float = 0.05
    fault_rate: float = 1.7e-4
    erratic_rate: float = 1.5e-4
    reads_wet_rate: float = 4.9e-4
    reads_dry_rate: float = 1.5e-4
    twin_weight: float = 0.10
    twin_prior: float = 3.0
    twin_memory: float = 0.998
    twin_mixing: float = 0.005
    reads_wet: Misreading = field(default_factory=lambda: Misreading(dose=2.2, et=0.92, rain=1.15))
    reads_dry: Misreading = field(default_factory=lambda: Misreading(dose=0.30, et=1.08, rain=1.0))
    stuck_share: float = 0.985
    erratic_shares: tuple[float, ...] = (0.3, 0.5, 0.7)
    spawn_days: int = 10
    slots: int = 3
    et_cv: float = 0.15
    dose_cv: float = 0.10
    guard_mm: float = 12.0
    habit_use_drift: float = 0.15
    habit_threshold_drift: float = 0.20
    known_garden_odds: float = 1.8
    flag_score: float = -0.1
    watch_score: float = -1.5
    small_fleet: int = 200
    small_fleet_penalty: float = 0.5
    healthy_nats: float = 6.0
    promise_nats: float = 10.0

    def __post_init__(self) -> None:
        """Reject shares outside 0..1 and a watch that is stricter than the flag."""
        for name in (
            "temper",
            "noise_share",
            "fault_rate",
            "erratic_rate",
            "reads_wet_rate",
            "reads_dry_rate",
            "twin_weight",
            "twin_memory",
            "twin_mixing",
        ):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise ValueError(f"{name} must lie between 0 and 1")
        if self.watch_score > self.flag_score:
            raise ValueError("watch_score must not be above flag_score")
        if self.spawn_days < 1 or self.slots < 1:
            raise ValueError("spawn_days and slots must be at least 1")

    def flag_score_for(self, site_count: int) -> float:
        """Log odds from which a controller of a fleet of this size is flagged [1].

        Parameters
        ----------
        site_count
            Controllers watched together [1].
        """
        return self.flag_score + (self.small_fleet_penalty if site_count < self.small_fleet else 0.0)


def watch_settings(changed: Mapping[str, object]) -> WatchSettings:
    """Settings with the company's own flag score in place of the default [log odds].

    Parameters
    ----------
    changed
        Number by name; other names are not looked at.
    """
    usual = WatchSettings()
    own = changed.get(FLAG_SCORE_NAME)
    if not isinstance(own, int | float) or isinstance(own, bool) or not math.isfinite(own):
        return usual
    return replace(usual, flag_score=float(own), watch_score=min(usual.watch_score, float(own)))


@dataclass(frozen=True, slots=True)
class FleetFit:
    """Numbers that the whole fleet's own logs set.

    Parameters
    ----------
    rain_before_share
        Share of a day's rain that falls before its starts [1].
    dose_seen_share
        Share of a dose that the sensor sees before the next start [1].
    excess_share
        Share of the water above field capacity that the balance may hold [1].
    drainage_h
        Time in which water above field capacity falls to 1/e [h].
    noise_mm, tension_noise
        Spread of the decision: fixed [mm], and in units of ln(tension) [1].
    rain_cv
        Relative error of a day's rain at a site [1].
    shift_sd_mm, shift_sd_share
        Spread of the common error of a location-day: fixed [mm], and per mm of recent rain [1].
    use_on_dose
        Share of a garden's error of use over dose that lies in the dose, not in the use [1].
    level_sd
        Spread of the log error that use and dose of a garden share [1].
    use_mean, use_sd
        Log error of use over dose by group of planting and head, (groups,) [1].
    threshold_mean, threshold_sd
        Log error of the threshold depletion by soil, (soils,) [1].
    """

    rain_before_share: float
    dose_seen_share: float
    excess_share: float
    drainage_h: float
    noise_mm: float
    tension_noise: float
    rain_cv: float
    shift_sd_mm: float
    shift_sd_share: float
    use_on_dose: float
    level_sd: float
    use_mean: FloatArray
    use_sd: FloatArray
    threshold_mean: FloatArray
    threshold_sd: FloatArray

    def __post_init__(self) -> None:
        """Reject spreads that are not above zero."""
        if np.any(self.use_sd <= 0.0) or np.any(self.threshold_sd <= 0.0):
            raise ValueError("spreads of the site offsets must be above 0")
        if self.use_mean.shape != self.use_sd.shape or self.threshold_mean.shape != self.threshold_sd.shape:
            raise ValueError("means and spreads of the offsets must have one value a group each")
        if not 0.0 <= self.rain_before_share <= 1.0 or self.drainage_h <= 0.0:
            raise ValueError("rain_before_share must lie in 0..1 and drainage_h above 0")


USE_SD_START = 0.22
THRESHOLD_SD_START = 0.40


def starting_fit(use_groups: int, soil_groups: int) -> FleetFit:
    """The fit before any log was seen.

    Parameters
    ----------
    use_groups, soil_groups
        Number of groups of planting and head, and of soils [1].
    """
    return FleetFit(
        rain_before_share=0.25,
        dose_seen_share=0.4,
        excess_share=0.5,
        drainage_h=48.0,
        noise_mm=0.5,
        tension_noise=0.4,
        rain_cv=0.35,
        shift_sd_mm=0.5,
        shift_sd_share=0.3,
        use_on_dose=0.67,
        level_sd=0.18,
        use_mean=np.zeros(use_groups),
        use_sd=np.full(use_groups, USE_SD_START),
        threshold_mean=np.zeros(soil_groups),
        threshold_sd=np.full(soil_groups, THRESHOLD_SD_START),
    )


def with_numbers(fit: FleetFit, **numbers: float) -> FleetFit:
    """The same fit with some of its numbers replaced.

    Parameters
    ----------
    fit
        Fit to start from.
    numbers
        New values by name.
    """
    return replace(fit, **numbers)  # type: ignore[arg-type]


def fit_values(fit: FleetFit) -> dict[str, object]:
    """Numbers of a fit by name, arrays as lists, to be kept.

    Parameters
    ----------
    fit
        Fit to keep.
    """
    values = {one.name: getattr(fit, one.name) for one in fields(fit)}
    return {
        name: value.tolist() if isinstance(value, np.ndarray) else value for name, value in values.items()
    }


def fit_from_values(start: FleetFit, values: Mapping[str, object]) -> FleetFit:
    """The fit that was kept; numbers that it lacks, or whose groups have changed, from `start`.

    Parameters
    ----------
    start
        Fit that gives the shape and what is lacking.
    values
        What `fit_values` gave.
    """
    kept: dict[str, object] = {}
    for one in fields(start):
        value, usual = values.get(one.name), getattr(start, one.name)
        if isinstance(usual, np.ndarray):
            array = np.asarray(value if isinstance(value, list) else [], dtype=np.float64)
            kept[one.name] = array if array.shape == usual.shape else usual
        else:
            kept[one.name] = float(value) if isinstance(value, int | float) else usual
    return replace(start, **kept)  # type: ignore[arg-type]

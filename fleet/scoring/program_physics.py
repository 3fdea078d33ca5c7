"""An hourly garden that the planner does not know: ponding, slow drainage, another retention, a noisy sensor.

It shares no formula with the planner but the stress coefficient of FAO-56 Eq. 84, which defines what is
scored: water enters at the intake rate and stands on the surface until it runs off, what is above field
capacity drains over hours and may be used meanwhile, tension rises log-linearly from field capacity to the
wilting point, and ET follows the sun.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.scoring.program_gardens import Gardens
from sites.calc import soil
from weather.calc.arrays import BoolArray, FloatArray, IntArray

FIELD_CAPACITY_KPA: Final = 10.0
WILTING_POINT_KPA: Final = 1500.0
READING_ERROR: Final = 0.06
RUN_LOSS_MM: Final = 0.4
_STRESS_FROM: Final = 0.5
_SUN = np.maximum(np.sin((np.arange(24) - 6.0) / 14.0 * np.pi), 0.0) * (np.arange(24) < 20)
_ET_SHARE: Final = _SUN / _SUN.sum()
_RAIN_HOURS: Final = (15, 16, 17)
_DRAIN_HOURS: Final = {
    "sand": 4.0,
    "sandy_loam": 8.0,
    "loam": 12.0,
    "silt_loam": 12.0,
    "clay_loam": 20.0,
    "clay": 28.0,
}
# Water that the root zone can hold above field capacity, as a share of what is available [1].
_ROOM_ABOVE: Final = 0.6


@dataclass(frozen=True, slots=True)
class Program:
    """What the timers are set to on one day.

    Parameters
    ----------
    runs, low_runs
        Whether the main letter, and the letter for low demand, run that day, (controllers,).
    start_hours
        Hours of the main letter's starts, -1 where there is none, (controllers, starts).
    minutes, low_minutes
        Minutes of a run in each letter [min], (zones,).
    """

    runs: BoolArray
    low_runs: BoolArray
    start_hours: IntArray
    minutes: FloatArray
    low_minutes: FloatArray


@dataclass(frozen=True, slots=True)
class Day:
    """What a day did, (zones,) and (controllers,).

    Parameters
    ----------
    met_mm, wanted_mm
        ET, and ET without stress [mm].
    gross_mm, lost_mm
        Water applied, and what of it was lost: run-off, drainage, the cost of a run [mm].
    run_cost_mm, run_off_mm
        Of what was lost, what each run costs, and what ran off [mm]; the rest drained.
    rain_used_mm
        Rain that the root zone kept [mm].
    allowed, low_allowed, offered
        Starts of the main letter and of the letter for low demand that ran, and main starts offered [1].
    depletion_mm
        Depletion at the end [mm].
    """

    met_mm: FloatArray
    wanted_mm: FloatArray
    gross_mm: FloatArray
    lost_mm: FloatArray
    run_cost_mm: FloatArray
    run_off_mm: FloatArray
    rain_used_mm: FloatArray
    allowed: FloatArray
    low_allowed: FloatArray
    offered: FloatArray
    depletion_mm: FloatArray


class HourlyGardens:
    """Gardens that live hour by hour."""

    def __init__(self, gardens: Gardens, rng: np.random.Generator) -> None:
        self.gardens = gardens
        self.rng = rng
        zones = gardens.zones
        self.owner = zones.controller_id - 1
        self.first = np.searchsorted(self.owner, np.arange(len(gardens.controllers)))
        self.depletion = 0.3 * gardens.available_mm
        self.surface = np.zeros(len(zones))
        hours = np.array([_DRAIN_HOURS.get(name, 12.0) for name in soil.TEXTURES])
        self.drained = 1.0 - np.exp(-1.0 / hours[zones.soil])
        self.is_governed = bool(gardens.controllers.is_governed.all())

    def live(self, program: Program, et_mm: FloatArray, rain_mm: FloatArray) -> Day:
        """One day of all gardens.

        Parameters
        ----------
        program
            What the timers are set to.
        et_mm, rain_mm
            Reference ET and rain of each garden [mm/d], (controllers,).
        """
        names = ("met", "wanted", "gross", "lost", "run_cost", "run_off", "rain")
        sums = {name: np.zeros(len(self.owner)) for name in names}
        allowed, low_allowed, offered = (np.zeros(len(self.first)) for _ in range(3))
        is_first = np.ones(len(self.first), dtype=np.bool_)
        for hour in range(24):
            starts = program.runs & (program.start_hours == hour).any(axis=1)
            if starts.any():
                is_open = starts & self._is_dry()
                low = is_open & program.low_runs & is_first
                self._run(np.where(low[self.owner], program.low_minutes, 0.0), sums)
                self._run(np.where(is_open[self.owner], program.minutes, 0.0), sums)
                allowed += is_open
                low_allowed += low
                offered += starts
                is_first &= ~starts
            self._soak(sums)
            if hour in _RAIN_HOURS:
                self._rain(rain_mm[self.owner] / len(_RAIN_HOURS), sums)
            self._use(et_mm[self.owner] * self.gardens.coefficient * _ET_SHARE[hour], sums)
        return Day(
            sums["met"],
            sums["wanted"],
            sums["gross"],
            sums["lost"],
            sums["run_cost"],
            sums["run_off"],
            sums["rain"],
            allowed,
            low_allowed,
            offered,
            self.depletion.copy(),
        )

    def refill(self, controllers: BoolArray) -> FloatArray:
        """Fill root zones of some controllers, as nobody can; gross water without any loss [mm], (zones,).

        Parameters
        ----------
        controllers
            Whose, (controllers,).
        """
        lacks = np.where(controllers[self.owner], np.maximum(self.depletion, 0.0), 0.0)
        self.depletion -= lacks
        return np.asarray(lacks / self.gardens.efficiency)

    def _is_dry(self) -> BoolArray:
        """Whether each sensor lets a start through."""
        if not self.is_governed:
            return np.ones(len(self.first), dtype=np.bool_)
        gone = np.clip(self.depletion[self.first] / self.gardens.available_mm[self.first], 0.0, 1.0)
        tension = FIELD_CAPACITY_KPA * (WILTING_POINT_KPA / FIELD_CAPACITY_KPA) ** gone
        noise = np.exp(self.rng.normal(0, READING_ERROR, len(self.first)))
        return np.asarray(tension * noise / self.gardens.sensor_factor >= self.gardens.threshold_kpa)

    def _run(self, minutes: FloatArray, sums: dict[str, FloatArray]) -> None:
        """One run of each zone: what the surface cannot take or hold runs off."""
        zones = self.gardens.zones
        gross = self.gardens.rate_mm_h * minutes / 60.0
        cost = np.minimum(RUN_LOSS_MM, gross)
        soaked = np.minimum(gross - cost + self.surface, zones.intake_rate_mm_h * minutes / 60.0)
        standing = np.where(minutes > 0, gross - cost + self.surface - soaked, self.surface)
        # The allowed accumulation is where run-off begins by the book; a real surface has some more room.
        run_off = np.maximum(standing - 1.1 * zones.surface_accumulation_mm, 0.0)
        self.surface = standing - run_off
        sums["gross"] += gross
        sums["lost"] += cost + run_off
        sums["run_cost"] += cost
        sums["run_off"] += run_off
        self._wet(np.where(minutes > 0, soaked, 0.0), sums)

    def _soak(self, sums: dict[str, FloatArray]) -> None:
        """An hour in which standing water soaks in and what is above field capacity drains."""
        soaked = np.minimum(self.surface, self.gardens.zones.intake_rate_mm_h)
        self.surface -= soaked
        self._wet(soaked, sums)
        above = np.maximum(-self.depletion, 0.0) * self.drained
        self.depletion += above
        sums["lost"] += above

    def _wet(self, soaked: FloatArray, sums: dict[str, FloatArray]) -> None:
        """Irrigation enters the root zone; only its even share counts."""
        self.depletion -= soaked * self.gardens.efficiency
        beyond = np.maximum(-_ROOM_ABOVE * self.gardens.available_mm - self.depletion, 0.0)
        self.depletion += beyond
        sums["lost"] += beyond

    def _rain(self, rain_mm: FloatArray, sums: dict[str, FloatArray]) -> None:
        """Rain enters up to what the surface takes; beyond field capacity it is gone and nobody's loss."""
        enters = np.minimum(
            rain_mm, self.gardens.zones.intake_rate_mm_h + self.gardens.zones.surface_accumulation_mm
        )
        kept = np.minimum(enters, np.maximum(self.depletion, 0.0))
        self.depletion -= kept
        sums["rain"] += kept

    def _use(self, wanted: FloatArray, sums: dict[str, FloatArray]) -> None:
        """An hour's ET, under stress beyond half of the available water."""
        available = self.gardens.available_mm
        stress = np.clip((available - self.depletion) / (available * (1.0 - _STRESS_FROM)), 0.0, 1.0)
        met = stress * wanted
        self.depletion = np.minimum(self.depletion + met, available)
        sums["met"] += met
        sums["wanted"] += wanted

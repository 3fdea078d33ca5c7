"""One day of the water balance on working arrays that are written in place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sites.calc.balance.parts import BalanceState, RootZones

FloatArray = npt.NDArray[np.float64]
# Standard deviation of a uniform distribution over 0 to 1: no depletion is less known than that.
UNIFORM_SD = 12.0**-0.5


@dataclass(slots=True)
class DayArrays:
    """Working arrays of one block of zones [mm unless said], (zones,)."""

    reference_et: FloatArray
    reference_et_sd: FloatArray
    rain: FloatArray
    rain_sd: FloatArray
    run: FloatArray
    run_sd: FloatArray
    depletion: FloatArray
    variance: FloatArray
    coefficient_effect: FloatArray
    rate_effect: FloatArray
    water: FloatArray
    room: FloatArray
    stress: FloatArray
    landscape_et: FloatArray
    actual_et: FloatArray
    effective_rain: FloatArray
    percolation: FloatArray
    depletion_sd: FloatArray
    spare: FloatArray
    scratch: FloatArray
    stress_slope: FloatArray
    widest_sd: FloatArray
    lowest_rate_effect: FloatArray
    highest_coefficient_effect: FloatArray

    @classmethod
    def of(cls, zones: RootZones, state: BalanceState, block: slice) -> DayArrays:
        """Arrays of a block, with its state."""
        count = zones.landscape_coefficient.size

        def blank() -> FloatArray:
            return np.zeros(count)

        widest = UNIFORM_SD * zones.total_available_water_mm
        with np.errstate(divide="ignore"):
            lowest = -widest / zones.rate_error
            highest = widest / zones.coefficient_error
        return cls(
            reference_et=blank(),
            reference_et_sd=blank(),
            rain=blank(),
            rain_sd=blank(),
            run=blank(),
            run_sd=blank(),
            depletion=state.depletion_mm[block].copy(),
            variance=state.variance_mm2[block].copy(),
            coefficient_effect=state.coefficient_effect_mm[block].copy(),
            rate_effect=state.rate_effect_mm[block].copy(),
            water=blank(),
            room=blank(),
            stress=blank(),
            landscape_et=blank(),
            actual_et=blank(),
            effective_rain=blank(),
            percolation=blank(),
            depletion_sd=blank(),
            spare=blank(),
            scratch=blank(),
            stress_slope=1.0 / (zones.total_available_water_mm - zones.allowed_depletion_mm),
            widest_sd=widest,
            lowest_rate_effect=lowest,
            highest_coefficient_effect=highest,
        )

    def write_back(self, state: BalanceState, block: slice) -> None:
        """The state after the last day."""
        state.depletion_mm[block] = self.depletion
        state.variance_mm2[block] = self.variance
        state.coefficient_effect_mm[block] = self.coefficient_effect
        state.rate_effect_mm[block] = self.rate_effect

    def clear_rain(self) -> None:
        """No rain until the next wet day."""
        self.rain[:] = 0.0
        self.rain_sd[:] = 0.0
        self.effective_rain[:] = 0.0

    def clear_runs(self) -> None:
        """No runs until the next day with one."""
        self.run[:] = 0.0
        self.run_sd[:] = 0.0

    def start_again_where_unknown(self, zones: RootZones) -> None:
        """Zones whose depletion is unknown start from half of the allowed depletion, as good as unknown."""
        lost = np.isnan(self.depletion)
        if lost.any():
            self.depletion[lost] = 0.5 * zones.allowed_depletion_mm[lost]
            self.variance[lost] = self.widest_sd[lost] ** 2
            self.coefficient_effect[lost] = 0.0
            self.rate_effect[lost] = 0.0

    def refill_where_runs_are_unknown(self, zones: RootZones) -> None:
        """Runs that nobody told are as needed: back to full once the allowed depletion is used."""
        unknown = np.isnan(self.run)
        if unknown.any():
            used = self.depletion >= zones.allowed_depletion_mm
            self.run[unknown] = np.where(used, self.depletion, 0.0)[unknown]
            self.run_sd[unknown] = 0.0
            # Where in its cycle the root zone is, nobody knows.
            self.variance[unknown] = (UNIFORM_SD * zones.allowed_depletion_mm[unknown]) ** 2
            self.coefficient_effect[unknown] = 0.0
            self.rate_effect[unknown] = 0.0


def run_day(w: DayArrays, zones: RootZones, *, has_rain: bool, has_runs: bool, is_same_day: bool) -> None:
    """Move the working arrays on by one day (FAO-56 Eq. 84, 85, 88)."""
    is_wet = has_rain or has_runs
    if is_wet:
        np.add(w.rain, w.run, out=w.water)
    else:
        w.water[:] = 0.0
    np.multiply(zones.landscape_coefficient, w.reference_et, out=w.landscape_et)
    # Depletion after the day's water; what is left above the wilting point; its stress, Eq. 84.
    np.subtract(w.depletion, w.water, out=w.spare)
    np.maximum(w.spare, 0.0, out=w.spare)
    np.subtract(zones.total_available_water_mm, w.spare, out=w.room)
    np.multiply(w.room, w.stress_slope, out=w.stress)
    np.minimum(w.stress, 1.0, out=w.stress)
    np.multiply(w.stress, w.landscape_et, out=w.actual_et)
    np.minimum(w.actual_et, w.room, out=w.actual_et)
    # Room for water: the depletion, and under Eq. 88 the day's ET.
    np.copyto(w.room, w.depletion)
    if is_same_day:
        w.room += w.actual_et
    if is_wet:
        np.minimum(w.rain, w.room, out=w.effective_rain)
        np.subtract(w.water, w.room, out=w.percolation)
        np.maximum(w.percolation, 0.0, out=w.percolation)
        _forget_where_full(w, zones)
    else:
        w.percolation[:] = 0.0
    _carry_errors(w, zones)
    # Eq. 85.
    w.depletion += w.actual_et
    w.depletion -= w.water
    w.depletion += w.percolation
    np.maximum(w.depletion, 0.0, out=w.depletion)  # rounding only


def _forget_where_full(w: DayArrays, zones: RootZones) -> None:
    """Errors of the day's water come in; a root zone that fills up forgets, as far as it surely fills up."""
    w.rate_effect -= w.run
    np.maximum(w.rate_effect, w.lowest_rate_effect, out=w.rate_effect)
    np.multiply(w.rain_sd, w.rain_sd, out=w.spare)
    w.variance += w.spare
    np.multiply(w.run_sd, w.run_sd, out=w.spare)
    w.variance += w.spare
    _total_variance(w, zones, out=w.depletion_sd)
    # z: depletion after the water in standard deviations; share kept: about the normal probability above 0.
    np.subtract(w.room, w.water, out=w.spare)
    w.spare *= 0.8
    np.multiply(w.spare, w.spare, out=w.room)
    w.room += w.depletion_sd
    np.maximum(w.room, 1e-12, out=w.room)
    np.sqrt(w.room, out=w.room)
    np.divide(w.spare, w.room, out=w.spare)
    w.spare += 1.0
    w.spare *= 0.5
    np.copyto(w.spare, 1.0, where=w.water == 0.0)
    w.rate_effect *= w.spare
    w.coefficient_effect *= w.spare
    w.variance *= w.spare
    w.variance *= w.spare


def _carry_errors(w: DayArrays, zones: RootZones) -> None:
    """Errors of the day's ET come in; a dry root zone forgets, since stress holds ET back."""
    np.multiply(w.landscape_et, w.stress_slope, out=w.spare)
    np.subtract(1.0, w.spare, out=w.spare)
    np.maximum(w.spare, 0.0, out=w.spare)
    np.copyto(w.spare, 1.0, where=w.stress >= 1.0)
    w.rate_effect *= w.spare
    w.coefficient_effect *= w.spare
    w.variance *= w.spare
    w.variance *= w.spare
    w.coefficient_effect += w.actual_et
    np.minimum(w.coefficient_effect, w.highest_coefficient_effect, out=w.coefficient_effect)
    np.multiply(w.stress, zones.landscape_coefficient, out=w.spare)
    w.spare *= w.reference_et_sd
    w.spare *= w.spare
    w.variance += w.spare
    _total_variance(w, zones, out=w.depletion_sd)
    np.sqrt(w.depletion_sd, out=w.depletion_sd)
    np.minimum(w.depletion_sd, w.widest_sd, out=w.depletion_sd)


def _total_variance(w: DayArrays, zones: RootZones, out: FloatArray) -> None:
    """Variance of the depletion from all errors [mm2]."""
    np.multiply(w.coefficient_effect, zones.coefficient_error, out=out)
    out *= out
    np.multiply(w.rate_effect, zones.rate_error, out=w.scratch)
    w.scratch *= w.scratch
    out += w.scratch
    out += w.variance

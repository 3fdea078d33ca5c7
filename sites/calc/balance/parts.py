"""What the water balance takes in: root zones, weather and irrigation, and the state between two days."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from sites.calc.balance.run_off import lawn_curve_number, rain_runoff_mm
from sites.calc.zone_table import ZoneTable

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Rain below this share of the day's ETo wets leaves only (FAO-56, chapter 8).
LEAF_WETTING_SHARE = 0.2
# Relative errors (one standard deviation) of a typed and of an assumed value: own judgement, to be replaced
# by what the fleet's own logs teach.
COEFFICIENT_ERROR = (0.08, 0.14)
RATE_ERROR = (0.08, 0.20)
UNIFORMITY_ERROR = (0.03, 0.08)


@dataclass(frozen=True, slots=True)
class RootZones:
    """Root zones of the balance, arrays (zones,).

    Parameters
    ----------
    total_available_water_mm
        TAW [mm].
    allowed_depletion_mm
        Depletion beyond which ET falls, RAW [mm], below TAW.
    landscape_coefficient
        KL [1].
    curve_number
        Curve number of storm run-off [1]; 0 = no run-off.
    coefficient_error, rate_error
        Relative standard deviation of KL, and of the net depth of a run [1].
    """

    total_available_water_mm: FloatArray
    allowed_depletion_mm: FloatArray
    landscape_coefficient: FloatArray
    curve_number: FloatArray
    coefficient_error: FloatArray
    rate_error: FloatArray

    def __post_init__(self) -> None:
        """Refuse root zones that hold no water."""
        if len({getattr(self, field.name).shape for field in fields(self)}) > 1:
            raise ValueError("root zones need arrays of one length")
        allowed, available = self.allowed_depletion_mm, self.total_available_water_mm
        if not np.all((allowed > 0) & (allowed < available)):
            raise ValueError("allowed depletion lies between 0 and the total available water")
        if np.any(self.coefficient_error < 0) or np.any(self.rate_error < 0):
            raise ValueError("errors are never negative")

    def take(self, positions: slice | IntArray) -> RootZones:
        """Some of the root zones.

        Parameters
        ----------
        positions
            Positions, or a slice.
        """
        return replace(self, **{field.name: getattr(self, field.name)[positions] for field in fields(self)})


@dataclass(frozen=True, slots=True)
class Forcing:
    """What acts on the root zones.

    Parameters
    ----------
    reference_et_mm, reference_et_sd_mm
        ETo and its standard deviation [mm/d], (days, locations); NaN = unknown.
    rain_mm, rain_sd_mm
        Rain and its standard deviation [mm/d], (days, rain locations); NaN = unknown.
    location, rain_location
        Column of each zone in the arrays of ETo and of rain, (zones,).
    irrigation_net_mm
        Mean net depth of the day's runs [mm], (days, zones); NaN = unknown, taken as needed.
    irrigation_sd_mm
        Standard deviation of that depth, beside the error of the rate [mm], (days, zones); None = 0.
    """

    reference_et_mm: FloatArray
    reference_et_sd_mm: FloatArray
    rain_mm: FloatArray
    rain_sd_mm: FloatArray
    location: IntArray
    rain_location: IntArray
    irrigation_net_mm: npt.NDArray[np.floating]
    irrigation_sd_mm: npt.NDArray[np.floating] | None = None

    def __post_init__(self) -> None:
        """Refuse arrays that do not fit each other."""
        days = self.reference_et_mm.shape[0]
        if self.reference_et_sd_mm.shape != self.reference_et_mm.shape:
            raise ValueError("ETo and its standard deviation need one shape")
        if self.rain_mm.shape != self.rain_sd_mm.shape or self.rain_mm.shape[0] != days:
            raise ValueError("rain and its standard deviation need one shape and the days of ETo")
        if self.irrigation_net_mm.shape != (days, self.location.size):
            raise ValueError("irrigation must be shaped (days, zones)")
        if np.any(self.irrigation_net_mm < 0) or np.any(self.rain_mm < 0):
            raise ValueError("rain and irrigation are never negative")


@dataclass(frozen=True, slots=True)
class BalanceState:
    """State of the balance between two days, arrays (zones,).

    Parameters
    ----------
    depletion_mm
        Depletion [mm].
    variance_mm2
        Variance of its error from ETo, rain and starts, new every day [mm2].
    coefficient_effect_mm, rate_effect_mm
        Change of the depletion per relative change of KL, and of the net depth of runs [mm].
    """

    depletion_mm: FloatArray
    variance_mm2: FloatArray
    coefficient_effect_mm: FloatArray
    rate_effect_mm: FloatArray

    def copy(self) -> BalanceState:
        """The same state in arrays of its own."""
        return BalanceState(
            *(np.array(getattr(self, field.name), dtype=np.float64) for field in fields(self))
        )


def unknown_start(zones: RootZones) -> BalanceState:
    """State of root zones of which nothing is known: half of the allowed depletion, as good as any [mm].

    Parameters
    ----------
    zones
        Root zones, (zones,).
    """
    nothing = np.zeros(zones.landscape_coefficient.size)
    return BalanceState(
        depletion_mm=0.5 * zones.allowed_depletion_mm,
        variance_mm2=zones.total_available_water_mm**2 / 12.0,
        coefficient_effect_mm=nothing,
        rate_effect_mm=nothing.copy(),
    )


def root_zones(table: ZoneTable) -> RootZones:
    """Root zones of a zone table, with the errors that its marks tell, (zones,).

    Parameters
    ----------
    table
        Zones.
    """
    rate = np.where(table.precipitation_rate_assumed, RATE_ERROR[1], RATE_ERROR[0])
    uniformity = np.where(table.distribution_uniformity_assumed, UNIFORMITY_ERROR[1], UNIFORMITY_ERROR[0])
    return RootZones(
        total_available_water_mm=table.total_available_water_mm,
        allowed_depletion_mm=table.allowed_depletion_mm,
        landscape_coefficient=table.landscape_coefficient,
        curve_number=lawn_curve_number(table.soil, table.slope_pct),
        coefficient_error=np.where(
            table.landscape_coefficient_assumed, COEFFICIENT_ERROR[1], COEFFICIENT_ERROR[0]
        ),
        rate_error=np.hypot(rate, 0.6 * uniformity / table.application_efficiency),
    )


def infiltrating_rain_mm(
    rain_mm: npt.ArrayLike, reference_et_mm: npt.ArrayLike, curve_number: npt.ArrayLike
) -> FloatArray:
    """Rain that enters the soil [mm]: none below a fifth of ETo (FAO-56, chapter 8), less storm run-off.

    Parameters
    ----------
    rain_mm
        Rain of the day [mm], (n,); NaN stays NaN.
    reference_et_mm
        ETo of the day [mm/d], (n,).
    curve_number
        Curve number of storm run-off [1], (n,); 0 = no run-off.
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    number = np.asarray(curve_number, dtype=np.float64)
    lost = rain_runoff_mm(rain, np.where(number > 0, number, 1.0)) * (number > 0)
    too_little = rain < LEAF_WETTING_SHARE * np.asarray(reference_et_mm, dtype=np.float64)
    return np.where(too_little, 0.0, rain - lost)

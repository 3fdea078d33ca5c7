"""When water runs off: run-off limit of a run, cycles and soak, and storm run-off of rain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from sites.calc.reference_tables import table_rows
from sites.calc.soil import TEXTURES

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_GROUP_OF_TEXTURE = {row["texture"]: row["hydrologic_group"] for row in table_rows("soil_intake")}
_CURVE_NUMBER_OF_GROUP = {row["group"]: float(row["good"]) for row in table_rows("lawn_curve_numbers")}
_CURVE_NUMBER = np.array([_CURVE_NUMBER_OF_GROUP[_GROUP_OF_TEXTURE[texture]] for texture in TEXTURES])


@dataclass(frozen=True, slots=True)
class CyclesAndSoak:
    """A run split so that nothing runs off, arrays (n,).

    Parameters
    ----------
    cycles
        Number of cycles [1]; 0 where there is nothing to run.
    cycle_min
        Minutes of each cycle [min].
    soak_min
        Least wait from the end of a cycle to the next start [min].
    """

    cycles: IntArray
    cycle_min: FloatArray
    soak_min: FloatArray


def runoff_limit_min(
    precipitation_rate_mm_h: npt.ArrayLike,
    intake_rate_mm_h: npt.ArrayLike,
    surface_accumulation_mm: npt.ArrayLike,
) -> FloatArray:
    """Longest run before water runs off [min]; infinite where the soil takes all that the heads give.

    60 ASA / (PR - IR), Irrigation Association 2005, Landscape Irrigation Scheduling and Water Management.

    Parameters
    ----------
    precipitation_rate_mm_h
        Precipitation rate of the heads, PR [mm/h], (n,).
    intake_rate_mm_h
        Steady intake rate of the soil, IR [mm/h], (n,).
    surface_accumulation_mm
        Allowed surface accumulation, ASA [mm], (n,).
    """
    excess = np.asarray(precipitation_rate_mm_h, dtype=np.float64) - np.asarray(intake_rate_mm_h)
    room = np.asarray(surface_accumulation_mm, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(excess > 0, 60.0 * room / excess, np.inf)


def start_spacing(precipitation_rate_mm_h: npt.ArrayLike, intake_rate_mm_h: npt.ArrayLike) -> FloatArray:
    """Least time from a run's start to its next start, over its minutes [1]: PR / IR, at least 1.

    What stands on the surface after a run, (PR - IR) x minutes, soaks in at the rate IR.

    Parameters
    ----------
    precipitation_rate_mm_h
        Precipitation rate of the heads, PR [mm/h], (n,).
    intake_rate_mm_h
        Steady intake rate of the soil, IR [mm/h], above 0, (n,).
    """
    rate = np.asarray(precipitation_rate_mm_h, dtype=np.float64)
    return np.asarray(np.maximum(rate / np.asarray(intake_rate_mm_h, dtype=np.float64), 1.0))


def cycles_and_soak(
    run_min: npt.ArrayLike,
    precipitation_rate_mm_h: npt.ArrayLike,
    intake_rate_mm_h: npt.ArrayLike,
    surface_accumulation_mm: npt.ArrayLike,
) -> CyclesAndSoak:
    """Cycles of a run and the soak between them.

    As few equal cycles as the run-off limit asks for; what then stands on the surface, (PR - IR) x cycle,
    must soak in at the rate IR before the next cycle (derived from the same balance of the surface).

    Parameters
    ----------
    run_min
        Minutes of the whole run [min], (n,).
    precipitation_rate_mm_h
        Precipitation rate of the heads, PR [mm/h], (n,).
    intake_rate_mm_h
        Steady intake rate of the soil, IR [mm/h], above 0, (n,).
    surface_accumulation_mm
        Allowed surface accumulation, ASA [mm], (n,).
    """
    run = np.asarray(run_min, dtype=np.float64)
    rate = np.asarray(precipitation_rate_mm_h, dtype=np.float64)
    intake = np.asarray(intake_rate_mm_h, dtype=np.float64)
    limit = runoff_limit_min(rate, intake, surface_accumulation_mm)
    # A run that meets its limit but for rounding is not split.
    cycles = np.where(run > 0, np.maximum(1.0, np.ceil(run / limit - 1e-9)), 0.0)
    cycle = np.divide(
        run, cycles, out=np.zeros_like(run * limit, subok=False, dtype=np.float64), where=cycles > 0
    )
    soak = np.where(cycles > 1, cycle * (start_spacing(rate, intake) - 1.0), 0.0)
    return CyclesAndSoak(cycles.astype(np.int64), cycle, soak)


def lawn_curve_number(soil: IntArray | int, slope_pct: npt.ArrayLike) -> FloatArray:
    """Curve number of a lawn in good condition [1], adjusted to its slope.

    Lawns of more than 75 % cover, USDA TR-55 (1986), Table 2-2a, by hydrologic soil group of the texture.
    Slope by Sharpley and Williams 1990 (EPIC), CN + (CN3 - CN)/3 [1 - 2 exp(-13.86 slope)], which leaves 5 %
    as it is; wet number CN3 by Hawkins: CN / (0.427 + 0.00573 CN) (both from memory).

    Parameters
    ----------
    soil
        Position in `soil.TEXTURES`, (n,) or one.
    slope_pct
        Slope [%], (n,) or one.
    """
    average = _CURVE_NUMBER[soil]
    wet = average / (0.427 + 0.00573 * average)
    steepness = 1.0 - 2.0 * np.exp(-13.86 * np.asarray(slope_pct, dtype=np.float64) / 100.0)
    return np.asarray(average + (wet - average) / 3.0 * steepness)


def rain_runoff_mm(rain_mm: npt.ArrayLike, curve_number: npt.ArrayLike) -> FloatArray:
    """Storm run-off of a day's rain [mm], USDA TR-55 (1986), Eq. 2-1 to 2-4. Never for irrigation.

    Parameters
    ----------
    rain_mm
        Rain of the day [mm], (n,); NaN stays NaN.
    curve_number
        Curve number [1], above 0 to 100, (n,) or one.
    """
    rain = np.asarray(rain_mm, dtype=np.float64)
    storage = potential_storage_mm(curve_number)
    beyond = np.maximum(0.0, rain - 0.2 * storage)
    # S is 0 at a curve number of 100; a day without rain stays 0, an unknown one NaN.
    total = np.asarray(beyond + storage)
    return np.asarray(beyond * np.divide(beyond, total, out=np.zeros_like(total), where=beyond > 0))


def potential_storage_mm(curve_number: npt.ArrayLike) -> FloatArray:
    """Potential storage S of the curve number method [mm], USDA TR-55 (1986), Eq. 2-4: 25400/CN - 254.

    Parameters
    ----------
    curve_number
        Curve number [1], above 0 to 100, (n,) or one.
    """
    return np.asarray(25400.0 / np.asarray(curve_number, dtype=np.float64) - 254.0)

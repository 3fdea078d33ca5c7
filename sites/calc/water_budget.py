"""Yearly and monthly water budgets that agencies ask for. Volumes in litres; 1 mm on 1 m2 is 1 L.

California's Model Water Efficient Landscape Ordinance (23 CCR 490-495) prints its formulas in inches, square
feet and gallons with the rounded factor 0.62; here the exact 1 L is used, so a filled form differs by 0.5 %.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

RESIDENTIAL_ADJUSTMENT = 0.55
LANDSCAPE_ALLOWANCE_SHARE = 0.70


def maximum_applied_water_l(
    reference_et_mm: float,
    landscape_m2: float,
    special_m2: float = 0.0,
    adjustment: float = RESIDENTIAL_ADJUSTMENT,
) -> float:
    """Maximum applied water allowance MAWA of a year [L] (23 CCR 492.4): ETo [ETAF LA + (1 - ETAF) SLA].

    Parameters
    ----------
    reference_et_mm
        Yearly reference ET [mm].
    landscape_m2
        Landscape area, the special one included [m2].
    special_m2
        Special landscape area [m2].
    adjustment
        ET adjustment factor ETAF [1], 0.55 residential, 0.45 else.
    """
    if special_m2 > landscape_m2:
        raise ValueError("the special landscape area is a part of the landscape area")
    return reference_et_mm * (adjustment * landscape_m2 + (1.0 - adjustment) * special_m2)


def estimated_total_water_l(
    reference_et_mm: float,
    plant_factor: npt.ArrayLike,
    irrigation_efficiency: npt.ArrayLike,
    area_m2: npt.ArrayLike,
    special_m2: float = 0.0,
) -> float:
    """Estimated total water use ETWU of a year [L] (23 CCR 492.4): ETo [sum(PF / IE x HA) + SLA].

    Parameters
    ----------
    reference_et_mm
        Yearly reference ET [mm].
    plant_factor
        Plant factor of each hydrozone [1], (n,).
    irrigation_efficiency
        Irrigation efficiency of each hydrozone [1], above 0, (n,): 0.75 overhead spray, 0.81 drip.
    area_m2
        Area of each hydrozone [m2], (n,).
    special_m2
        Special landscape area [m2].
    """
    factor = np.asarray(plant_factor, dtype=np.float64) / np.asarray(irrigation_efficiency, dtype=np.float64)
    return float(reference_et_mm * (np.sum(factor * np.asarray(area_m2, dtype=np.float64)) + special_m2))


def average_adjustment(
    plant_factor: npt.ArrayLike, irrigation_efficiency: npt.ArrayLike, area_m2: npt.ArrayLike
) -> float:
    """Average ET adjustment factor of the hydrozones [1], to compare with 0.55 or 0.45.

    Parameters
    ----------
    plant_factor
        Plant factor of each hydrozone [1], (n,).
    irrigation_efficiency
        Irrigation efficiency of each hydrozone [1], above 0, (n,).
    area_m2
        Area of each hydrozone [m2], (n,).
    """
    area = np.asarray(area_m2, dtype=np.float64)
    return estimated_total_water_l(1.0, plant_factor, irrigation_efficiency, area) / float(area.sum())


def landscape_water_allowance_l(peak_month_reference_et_mm: float, area_m2: float) -> float:
    """Landscape water allowance LWA of the peak month [L]: 70 % of reference ET on the area.

    US EPA WaterSense water budget tool (formula from memory).

    Parameters
    ----------
    peak_month_reference_et_mm
        Reference ET of the peak month [mm].
    area_m2
        Landscape area [m2].
    """
    return LANDSCAPE_ALLOWANCE_SHARE * peak_month_reference_et_mm * area_m2

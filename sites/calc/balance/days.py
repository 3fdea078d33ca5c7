"""The stored balance of zones as arrays: the seam between the balance and all that reads it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats32 = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class BalanceDays:
    """Days of zones, arrays (days, zones); NaN where a day is not computed.

    Parameters
    ----------
    days
        Calendar days, datetime64[D], (days,).
    zone_ids
        Zones, (zones,).
    reference_et_mm, landscape_et_mm
        ETo, and ETL = KL x ETo before stress [mm/d].
    actual_et_mm
        ET at the stress of the day [mm/d].
    rain_mm, effective_rain_mm
        Rain, and the part that stayed in the root zone [mm/d].
    irrigation_net_mm
        Mean net depth of the day's irrigation [mm/d].
    depletion_mm, depletion_sd_mm
        Depletion at the day's end and its standard deviation [mm].
    stress
        Share of ETL that the plant could not get, 1 - Ks: 0 = none [1].
    irrigation_source
        Codes of `sites.calc.balance.irrigation.IrrigationSource`, uint8; 0 where not computed.
    allowed_mm, available_mm
        Allowed depletion and total available water as last computed [mm], (zones,).
    """

    days: npt.NDArray[np.datetime64]
    zone_ids: npt.NDArray[np.int64]
    reference_et_mm: Floats32
    landscape_et_mm: Floats32
    actual_et_mm: Floats32
    rain_mm: Floats32
    effective_rain_mm: Floats32
    irrigation_net_mm: Floats32
    depletion_mm: Floats32
    depletion_sd_mm: Floats32
    stress: Floats32
    irrigation_source: npt.NDArray[np.uint8]
    allowed_mm: npt.NDArray[np.float64]
    available_mm: npt.NDArray[np.float64]

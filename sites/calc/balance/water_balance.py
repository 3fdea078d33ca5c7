"""Daily soil water balance of every zone, with the uncertainty of its depletion.

FAO-56 (Allen, Pereira, Raes and Smith 1998), single coefficient: Eq. 84 (stress) and 85-88 (balance). One
day runs in this order, which is stated because the order decides how much of a full day's water is lost:
rain comes first, then the runs, then ET at the stress of the root zone so watered (the `Dr, start` of
Example 38). What finds no room percolates. Two readings of "room" are offered (`DayOrder`): the table of
Example 38 drains before the day's ET (the default, as the programs are simulated), Eq. 88 as printed lets the
day's own ET make room.

Uncertainty is carried to first order: errors of ETo and rain are new every day, those of the landscape
coefficient and of the precipitation rate stay with the zone, so their effects add up until a full or an
empty root zone forgets them.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from enum import Enum

import numpy as np
import numpy.typing as npt

from sites.calc.balance.day import DayArrays, run_day
from sites.calc.balance.parts import (
    BalanceState,
    Forcing,
    RootZones,
    infiltrating_rain_mm,
)

FloatArray = npt.NDArray[np.float64]
StoreArray = npt.NDArray[np.floating]
# Zones computed at once: their working arrays stay in the processor's cache (measured, see the benchmark).
ZONES_AT_ONCE = 4096


class DayOrder(Enum):
    """Which reading of FAO-56 decides how much water finds room in a day."""

    SAME_DAY = "Eq. 88 as printed: the day's ET makes room for the day's water"
    WATER_FIRST = "Example 38: water percolates before the day's ET"


@dataclass(frozen=True, slots=True)
class WaterBalance:
    """The balance of zones over days, arrays (days, zones) unless said otherwise; NaN = not known.

    Parameters
    ----------
    landscape_et_mm
        Landscape ET of a well-watered planting, KL x ETo [mm/d].
    actual_et_mm
        ET at the stress of the day, Ks x KL x ETo [mm/d].
    effective_rain_mm
        Rain that stayed in the root zone [mm].
    irrigation_net_mm
        Net depth of the runs as given, or as needed where it was unknown [mm].
    percolation_mm
        Water that found no room, of rain and runs [mm].
    depletion_mm
        Depletion at the end of the day [mm].
    depletion_sd_mm
        Standard deviation of its error [mm].
    end
        State after the last day, (zones,).
    """

    landscape_et_mm: StoreArray
    actual_et_mm: StoreArray
    effective_rain_mm: StoreArray
    irrigation_net_mm: StoreArray
    percolation_mm: StoreArray
    depletion_mm: StoreArray
    depletion_sd_mm: StoreArray
    end: BalanceState


def water_balance(
    zones: RootZones,
    forcing: Forcing,
    start: BalanceState,
    *,
    order: DayOrder = DayOrder.WATER_FIRST,
    dtype: type[np.float32] | type[np.float64] = np.float32,
) -> WaterBalance:
    """Water balance of all zones over all days, (days, zones).

    A day whose ETo or rain is unknown makes the depletion unknown; the next known day starts again from half
    of the allowed depletion with the widest uncertainty. Irrigation that is unknown (NaN) is taken as needed:
    the root zone is refilled when its depletion reaches the allowed value.

    Parameters
    ----------
    zones
        Root zones, (zones,).
    forcing
        Weather and irrigation, (days, locations) and (days, zones).
    start
        State before the first day, (zones,).
    order
        Reading of FAO-56 that decides what finds room.
    dtype
        Precision of the result; the state itself is always computed in 64 bits.
    """
    days = forcing.reference_et_mm.shape[0]
    count = zones.landscape_coefficient.size
    if forcing.location.size != count or start.depletion_mm.size != count:
        raise ValueError("root zones, forcing and starting state must have the same zones")
    shape = (days, count)
    names = [field.name for field in fields(WaterBalance) if field.name != "end"]
    out = {name: np.empty(shape, dtype=dtype) for name in names}
    end = start.copy()
    for first in range(0, count, ZONES_AT_ONCE):
        block = slice(first, min(first + ZONES_AT_ONCE, count))
        _run_block(
            zones.take(block),
            forcing,
            block,
            end,
            {name: array[:, block] for name, array in out.items()},
            is_same_day=order is DayOrder.SAME_DAY,
        )
    return WaterBalance(**out, end=end)


def _run_block(
    zones: RootZones,
    forcing: Forcing,
    block: slice,
    end: BalanceState,
    out: dict[str, StoreArray],
    *,
    is_same_day: bool,
) -> None:
    """All days of some zones; writes the results and moves their state on."""
    work = DayArrays.of(zones, end, block)
    location = forcing.location[block]
    rain_location = forcing.rain_location[block]
    irrigation = forcing.irrigation_net_mm[:, block]
    irrigation_sd = None if forcing.irrigation_sd_mm is None else forcing.irrigation_sd_mm[:, block]
    here = np.unique(rain_location)
    # A dry day with an error (a missed shower) counts: no zone's result may hang on its neighbours.
    has_rain = np.any((forcing.rain_mm[:, here] != 0) | (forcing.rain_sd_mm[:, here] != 0), axis=1)
    has_runs = np.any(irrigation != 0, axis=1)  # NaN counts as a run
    may_be_unknown = bool(
        np.any(np.isnan(forcing.reference_et_mm[:, np.unique(location)]))
        or np.any(np.isnan(forcing.rain_mm[:, here]))
        or np.any(np.isnan(irrigation))
        or np.any(np.isnan(work.depletion))
    )
    for day in range(irrigation.shape[0]):
        np.take(forcing.reference_et_mm[day], location, out=work.reference_et)
        np.take(forcing.reference_et_sd_mm[day], location, out=work.reference_et_sd)
        if has_rain[day]:
            rain = forcing.rain_mm[day, rain_location]
            work.rain[:] = infiltrating_rain_mm(rain, work.reference_et, zones.curve_number)
            work.rain_sd[:] = forcing.rain_sd_mm[day, rain_location]
        if has_runs[day]:
            work.run[:] = irrigation[day]
            work.run_sd[:] = 0.0 if irrigation_sd is None else irrigation_sd[day]
        if may_be_unknown:
            work.start_again_where_unknown(zones)
            work.refill_where_runs_are_unknown(zones)
        run_day(
            work,
            zones,
            has_rain=bool(has_rain[day]),
            has_runs=bool(has_runs[day]),
            is_same_day=is_same_day,
        )
        out["landscape_et_mm"][day] = work.landscape_et
        out["actual_et_mm"][day] = work.actual_et
        out["effective_rain_mm"][day] = work.effective_rain
        out["irrigation_net_mm"][day] = work.run
        out["percolation_mm"][day] = work.percolation
        out["depletion_mm"][day] = work.depletion
        out["depletion_sd_mm"][day] = work.depletion_sd
        if has_rain[day]:
            work.clear_rain()
        if has_runs[day]:
            work.clear_runs()
    work.write_back(end, block)

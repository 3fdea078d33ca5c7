"""Water that a garden needed, whatever was applied: litres by site and day.

The soil of each zone is a store that only rain fills. Irrigation need is what landscape ET asks beyond the
rain that the store could hold, so that an over-watered garden cannot raise its own need by wasting rain:
need = area x (ETL - effective rain - change of stored water) / (0.4 + 0.6 DU), which is never negative.
The daily form is the one of public water budgets (City of Redwood City 2017: NIR = max(0, ETo - ERain -
Soil), ERain = min(P, MaxSoil + ETo - Soil)).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sites.calc.balance.parts import infiltrating_rain_mm
from weather.calc.arrays import DayArray, FloatArray, IntArray

GOOD_UNIFORMITY = 0.75  # DU of the "need at a good DU"; common practice, no source
# Relative standard error of a need, mostly of landscape coefficients, common to all days. [judgement]
NEED_ERROR = 0.15


@dataclass(frozen=True, slots=True)
class NeedZones:
    """What the need takes from the zones, arrays (zones,).

    Parameters
    ----------
    site
        Index of the zone's site in the caller's order [1].
    et_column, rain_column
        Column of the zone's location in the weather arrays, -1 where it has none [1].
    area_m2
        Planted area [m2].
    landscape_coefficient
        KL [1].
    store_mm
        Rain that the root zone holds for the plant, the allowed depletion [mm].
    curve_number
        Curve number of storm run-off [1]; 0 = no run-off.
    application_efficiency
        0.4 + 0.6 DU [1].
    """

    site: IntArray
    et_column: IntArray
    rain_column: IntArray
    area_m2: FloatArray
    landscape_coefficient: FloatArray
    store_mm: FloatArray
    curve_number: FloatArray
    application_efficiency: FloatArray

    def __post_init__(self) -> None:
        """Reject arrays that do not belong together."""
        for name in self.__slots__:
            if getattr(self, name).shape != self.site.shape:
                raise ValueError(f"{name} has another shape than site")


@dataclass(frozen=True, slots=True)
class SiteNeed:
    """Need of sites by day.

    Parameters
    ----------
    first_day
        The first day, datetime64[D] [1].
    cumulative_l, cumulative_good_l
        Need from the first day up to, but without, each day [L], shape (days + 1, sites): with the zones'
        own uniformity and with the good one.
    cumulative_unknown
        Count of days without weather up to each day [d], shape (days + 1, sites).
    """

    first_day: np.datetime64
    cumulative_l: FloatArray
    cumulative_good_l: FloatArray
    cumulative_unknown: IntArray

    def between(self, site: IntArray, start: DayArray, end: DayArray, *, good: bool = False) -> FloatArray:
        """Need between days [L], NaN where a day of it has no weather.

        Parameters
        ----------
        site
            Index of the site, shape (n,) [1].
        start, end
            First day and the day after the last, shape (n,) [1].
        good
            Whether at the good uniformity [1].
        """
        last = self.cumulative_l.shape[0] - 1
        low = (start - self.first_day).astype(np.int64)
        high = (end - self.first_day).astype(np.int64)
        inside = (low >= 0) & (high <= last) & (low <= high)
        low, high = np.clip(low, 0, last), np.clip(high, 0, last)
        total = self.cumulative_good_l if good else self.cumulative_l
        known = inside & (self.cumulative_unknown[high, site] == self.cumulative_unknown[low, site])
        return np.where(known, total[high, site] - total[low, site], np.nan)


def site_need(
    *,
    first_day: np.datetime64,
    reference_et_mm: FloatArray,
    rain_mm: FloatArray,
    zones: NeedZones,
    site_count: int,
    good_uniformity: float = GOOD_UNIFORMITY,
) -> SiteNeed:
    """Water that each site needed, by day [L].

    Parameters
    ----------
    first_day
        Day of the first row, datetime64[D] [1].
    reference_et_mm
        Reference ET [mm/d], shape (days, locations); NaN = unknown.
    rain_mm
        Rain [mm/d], shape (days, locations); NaN = unknown.
    zones
        The zones, (zones,) [1].
    site_count
        Count of sites in the caller's order [1].
    good_uniformity
        DU of the need at a good uniformity [1].
    """
    days = reference_et_mm.shape[0]
    own, good = np.zeros((days + 1, site_count)), np.zeros((days + 1, site_count))
    unknown = np.zeros((days + 1, site_count), dtype=np.int64)
    litres_own = zones.area_m2 / zones.application_efficiency
    litres_good = zones.area_m2 / (0.4 + 0.6 * good_uniformity)
    placed = (zones.et_column >= 0) & (zones.rain_column >= 0)
    never = np.bincount(zones.site, ~placed, site_count) > 0
    stored_mm = np.zeros(zones.site.shape)
    dry = np.zeros(zones.site.shape)
    for day in range(days):
        et_row, rain_row = reference_et_mm[day], rain_mm[day]
        et, rain = et_row[zones.et_column], rain_row[zones.rain_column]
        unknown[day + 1] = never
        if np.isnan(et_row).any() or np.isnan(rain_row).any() or not placed.all():
            blind = np.isnan(et) | np.isnan(rain) | ~placed
            # an unknown day leaves the store as it is; its need counts as unknown, not as nothing
            et, rain = np.where(blind, 0.0, et), np.where(blind, 0.0, rain)
            unknown[day + 1] = np.bincount(zones.site, blind, site_count) > 0
        need_mm, stored_mm = day_need_mm(
            zones.landscape_coefficient * et,
            infiltrating_rain_mm(rain, et, zones.curve_number) if rain.any() else dry,
            stored_mm,
            zones.store_mm,
        )
        own[day + 1] = own[day] + np.bincount(zones.site, need_mm * litres_own, site_count)
        good[day + 1] = good[day] + np.bincount(zones.site, need_mm * litres_good, site_count)
    return SiteNeed(first_day, own, good, np.cumsum(unknown, axis=0, out=unknown))


def day_need_mm(
    landscape_et_mm: FloatArray, rain_mm: FloatArray, stored_mm: FloatArray, store_mm: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Need of one day and the rain stored after it [mm], each of shape (zones,).

    Parameters
    ----------
    landscape_et_mm
        ETL of the day [mm], shape (zones,).
    rain_mm
        Rain that enters the soil [mm], shape (zones,).
    stored_mm
        Rain stored before the day [mm], shape (zones,).
    store_mm
        Rain that the soil can keep over night [mm], shape (zones,).
    """
    at_hand = stored_mm + rain_mm
    used = np.minimum(at_hand, landscape_et_mm)
    return landscape_et_mm - used, np.minimum(at_hand - used, store_mm)

"""A garden's water budgets as agencies ask for them, from its own zones and its location's last year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np

from sites.calc.landscape import HEADS
from sites.calc.water_budget import (
    RESIDENTIAL_ADJUSTMENT,
    average_adjustment,
    estimated_total_water_l,
    landscape_water_allowance_l,
    maximum_applied_water_l,
)
from sites.calc.zone_table import ZoneTable
from sites.models import Site, Zone
from sites.selectors.zones import zone_table
from weather.calc.arrays import FloatArray
from weather.selectors import weather_days

# Irrigation efficiency by class of heads in the ordinance's worksheet (23 CCR 492.13): overhead, drip.
OVERHEAD, DRIP = 0.75, 0.81
LEAST_DAYS: Final = 330
_DRIP_HEADS: Final = ("dripline", "bubbler")


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A hydrozone's row of the ordinance's worksheet: one zone.

    Parameters
    ----------
    word
        The zone and what grows there.
    plant_factor, is_assumed
        Plant factor [1], and whether it is only assumed.
    method
        Overhead spray or drip, the ordinance's two classes.
    efficiency, adjustment
        Irrigation efficiency of the class, and plant factor over it (ETAF) [1].
    area_m2, weighed_m2
        Area, and ETAF times it [m2].
    used_l
        Estimated total water use of the row [L].
    """

    word: str
    plant_factor: float
    is_assumed: bool
    method: str
    efficiency: float
    adjustment: float
    area_m2: float
    weighed_m2: float
    used_l: float


@dataclass(frozen=True, slots=True)
class SiteBudget:
    """Budgets of a year and of its peak month.

    Parameters
    ----------
    reference_et_mm
        Reference ET of the last 365 days, unknown days taken as the mean of the known ones [mm].
    known_days
        Days whose reference ET is known [d].
    area_m2
        Planted area [m2].
    allowed_l, estimated_l
        Maximum applied water allowance and estimated total water use of the year [L].
    adjustment, adjustment_allowed
        Average ET adjustment factor, and the ordinance's [1].
    peak_month_l
        Allowance of the month with the highest reference ET [L].
    has_assumed
        Whether a landscape coefficient of it is only assumed.
    overhead, drip
        Irrigation efficiency of the form by class of heads [1].
    rows
        The worksheet's rows, by station.
    weighed_m2
        Sum of ETAF times area [m2].
    """

    reference_et_mm: float
    known_days: int
    area_m2: float
    allowed_l: float
    estimated_l: float
    adjustment: float
    adjustment_allowed: float
    peak_month_l: float
    has_assumed: bool
    rows: tuple[SheetRow, ...]
    weighed_m2: float
    overhead: float = OVERHEAD
    drip: float = DRIP

    @property
    def is_within(self) -> bool:
        """Whether the estimated use keeps the allowance."""
        return self.estimated_l <= self.allowed_l


def site_budget(*, site: Site, day: date) -> SiteBudget | None:
    """Budgets of a garden; None without zones or without a year of reference ET.

    Parameters
    ----------
    site
        The garden.
    day
        The year ends the day before.
    """
    zones = zone_table(site_ids=[site.pk])
    if len(zones) == 0 or site.location_id is None:
        return None
    sky = weather_days(location_ids=[site.location_id], start=day - timedelta(days=365), end=day)
    reference = sky.reference_et_mm[:, 0]
    known = np.isfinite(reference)
    if known.sum() < LEAST_DAYS:
        return None
    months = sky.days.astype("datetime64[M]")
    peak = max(
        float(np.nanmean(reference[mine])) * float(mine.sum())
        for month in np.unique(months)
        if (mine := months == month).sum() >= 28 and known[mine].any()
    )
    year_mm = 365.0 * float(np.nanmean(reference))
    efficiency = np.where(np.isin(zones.head, [HEADS.index(name) for name in _DRIP_HEADS]), DRIP, OVERHEAD)
    planting = (zones.landscape_coefficient, efficiency, zones.area_m2)
    area = float(zones.area_m2.sum())
    rows = _rows(zones, efficiency, year_mm)
    return SiteBudget(
        reference_et_mm=year_mm,
        known_days=int(known.sum()),
        area_m2=area,
        allowed_l=maximum_applied_water_l(year_mm, area),
        estimated_l=estimated_total_water_l(year_mm, *planting),
        adjustment=average_adjustment(*planting),
        adjustment_allowed=RESIDENTIAL_ADJUSTMENT,
        peak_month_l=landscape_water_allowance_l(peak, area),
        has_assumed=bool(zones.landscape_coefficient_assumed.any()),
        rows=rows,
        weighed_m2=sum(row.weighed_m2 for row in rows),
    )


def _rows(zones: ZoneTable, efficiency: FloatArray, year_mm: float) -> tuple[SheetRow, ...]:
    """The worksheet's rows in the order of the zones."""
    named = {
        zone.pk: f"{zone.controller.code}/{zone.station} {zone.name or zone.get_plant_display()}"
        for zone in Zone.objects.filter(pk__in=zones.zone_id.tolist()).select_related("controller")
    }
    found = []
    for place, pk in enumerate(zones.zone_id.tolist()):
        factor, area = float(zones.landscape_coefficient[place]), float(zones.area_m2[place])
        share = float(efficiency[place])
        found.append(
            SheetRow(
                word=named[pk],
                plant_factor=factor,
                is_assumed=bool(zones.landscape_coefficient_assumed[place]),
                method="drip" if share == DRIP else "overhead",
                efficiency=share,
                adjustment=factor / share,
                area_m2=area,
                weighed_m2=factor / share * area,
                used_l=estimated_total_water_l(year_mm, factor, share, area),
            )
        )
    return tuple(found)

"""What would change if a day of weather were wrong: the balance computed twice, nothing written."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

import numpy as np
import numpy.typing as npt
from django.db.models import Q

from sites.calc.balance.parts import root_zones
from sites.calc.balance.water_balance import WaterBalance, water_balance
from sites.calc.zone_table import ZoneTable
from sites.models import BalanceFront, Controller, Site
from sites.selectors.zones import zone_table
from sites.services.balance import SITES_AT_ONCE, stored_state
from sites.services.balance_span import Span, forcing_of, irrigation_of, sky_of
from weather.calc.weather_days import WeatherDays

FloatArray = npt.NDArray[np.float64]
# A zone whose depletion moves less than this is not moved [mm].
LEAST_MM: Final = 0.1
FARTHEST_BACK_D: Final = 120


@dataclass(frozen=True, slots=True)
class MovedSite:
    """A site whose balance would move, told by the zone that moves most.

    Parameters
    ----------
    site_id, code, name
        The site.
    zones_moved, zones
        Zones that move by 0.1 mm or more on the last day, and all of the site.
    controller, station
        Where the zone that moves most is.
    depletion_mm, depletion_then_mm, allowed_mm, sd_mm
        Its depletion on the last day as computed and as it would be, the allowed one, and the spread that the
        balance states [mm].
    extra_min
        Minutes that its next watering would change by [min].
    extra_litres
        Water that all zones together would want more, or less [L].
    crosses
        True where a zone would pass its allowed depletion, one way or the other, on the last day.
    is_governed
        True where a sensor decides on the site: it corrects the error by itself.
    zones_then_mm
        Depletion of every zone on the last day as it would be, by zone id [mm].
    """

    site_id: int
    code: str
    name: str
    zones_moved: int
    zones: int
    controller: str
    station: int
    depletion_mm: float
    depletion_then_mm: float
    allowed_mm: float
    sd_mm: float
    extra_min: float
    extra_litres: float
    crosses: bool
    is_governed: bool
    zones_then_mm: Mapping[int, float]

    @property
    def change_mm(self) -> float:
        """Return how much deeper the depletion would be [mm]."""
        return self.depletion_then_mm - self.depletion_mm

    @property
    def is_within_spread(self) -> bool:
        """Return whether the balance already counts with an error of this size."""
        return abs(self.change_mm) <= self.sd_mm


@dataclass(frozen=True, slots=True)
class DayInDoubt:
    """What a day's error would do.

    Parameters
    ----------
    sites
        Sites that take this day's ET or rain, and have a balance that reaches it.
    last_day
        Day on which the effect is told; None: no site.
    moved
        Sites that would move, the most moved first.
    worst_on_the_way_mm
        Largest change of any zone on any day between [mm].
    litres
        Sum of the water that the zones would want more, or less [L].
    """

    sites: int
    last_day: date | None
    moved: tuple[MovedSite, ...]
    worst_on_the_way_mm: float
    litres: float


def doubt_day(
    *, location_id: int, day: date, rain_mm: float | None, reference_et_mm: float | None
) -> DayInDoubt:
    """Compute the balances of a location's sites with another rain or ET on one day, beside the stored ones.

    Parameters
    ----------
    location_id
        Location that told the day.
    day
        The day in doubt.
    rain_mm, reference_et_mm
        What it would have been [mm]; None: as stored.
    """
    touched = Q(location_id=location_id) | Q(rain_location_id=location_id)
    fronts = BalanceFront.objects.filter(
        site__in=Site.objects.filter(touched), first_day__lte=day, last_day__gte=day
    )
    by_span: dict[Span, list[int]] = defaultdict(list)
    for site_id, first, last in fronts.order_by("site_id").values_list("site_id", "first_day", "last_day"):
        if (last - day).days <= FARTHEST_BACK_D:
            by_span[Span(max(day.replace(day=1), first), last)].append(site_id)
    moved: list[MovedSite] = []
    worst = 0.0
    for span, site_ids in by_span.items():
        for left in range(0, len(site_ids), SITES_AT_ONCE):
            table = zone_table(site_ids=site_ids[left : left + SITES_AT_ONCE])
            if len(table) == 0:
                continue
            sky = sky_of(table, span)
            other = _with_day(sky, location_id, day, rain_mm, reference_et_mm)
            now, then = _twice(table, span, sky, other)
            change = then.depletion_mm - now.depletion_mm
            worst = max(worst, float(np.abs(change).max(initial=0.0)))
            moved.extend(_moved(table, now, then))
    moved.sort(key=lambda row: (-abs(row.change_mm), row.code))
    return DayInDoubt(
        sites=sum(len(ids) for ids in by_span.values()),
        last_day=max((span.last for span in by_span), default=None),
        moved=tuple(moved),
        worst_on_the_way_mm=worst,
        litres=sum(row.extra_litres for row in moved),
    )


def _with_day(
    sky: WeatherDays, location_id: int, day: date, rain_mm: float | None, reference_et_mm: float | None
) -> WeatherDays:
    """The same weather with one day of one location as it may have been."""
    row = int((np.datetime64(day) - sky.days[0]).astype(np.int64))
    column = int(sky.columns_of(np.array([location_id]))[0])
    rain, et, is_lent = sky.rain_mm.copy(), sky.reference_et_mm.copy(), sky.is_rain_lent.copy()
    if rain_mm is not None:
        # As if the place had told it: a silent gauge's gardens would take it.
        rain[row, column], is_lent[row, column] = rain_mm, False
    if reference_et_mm is not None:
        et[row, column] = reference_et_mm
    return replace(sky, rain_mm=rain, reference_et_mm=et, is_rain_lent=is_lent)


def _twice(
    table: ZoneTable, span: Span, sky: WeatherDays, other: WeatherDays
) -> tuple[WaterBalance, WaterBalance]:
    """Balances under both weathers, from the same stored state and with the same runs.

    Runs that nobody knows are taken as needed under the stored weather, and stay so under the other.
    """
    zones = root_zones(table)
    state = stored_state(table, span.start)
    irrigation = irrigation_of(table, span)
    now = water_balance(zones, forcing_of(table, sky, irrigation), state.copy(), dtype=np.float64)
    runs = np.asarray(now.irrigation_net_mm)
    changed = replace(forcing_of(table, other, irrigation), irrigation_net_mm=runs)
    return now, water_balance(zones, changed, state.copy(), dtype=np.float64)


def _moved(table: ZoneTable, now: WaterBalance, then: WaterBalance) -> list[MovedSite]:
    """Sites with a zone that moved on the last day."""
    before, after = now.depletion_mm[-1], then.depletion_mm[-1]
    change = after - before
    is_moved = np.abs(change) >= LEAST_MM
    ids = np.unique(table.site_id[is_moved])
    names = {
        pk: (code, name)
        for pk, code, name in Site.objects.filter(pk__in=ids.tolist()).values_list("pk", "code", "name")
    }
    controllers = {
        pk: (code, governed)
        for pk, code, governed in Controller.objects.filter(
            pk__in=np.unique(table.controller_id[is_moved]).tolist()
        ).values_list("pk", "code", "governed")
    }
    crosses = (before > table.allowed_depletion_mm) != (after > table.allowed_depletion_mm)
    rows = []
    for pk in ids.tolist():
        mine = np.flatnonzero(table.site_id == pk)
        at = int(mine[np.argmax(np.abs(change[mine]))])
        code, governed = controllers[int(table.controller_id[at])]
        rate = table.precipitation_rate_mm_h[at] * table.application_efficiency[at]
        rows.append(
            MovedSite(
                site_id=pk,
                code=names[pk][0],
                name=names[pk][1],
                zones_moved=int(is_moved[mine].sum()),
                zones=int(mine.size),
                controller=code,
                station=int(table.station[at]),
                depletion_mm=float(before[at]),
                depletion_then_mm=float(after[at]),
                allowed_mm=float(table.allowed_depletion_mm[at]),
                sd_mm=float(now.depletion_sd_mm[-1, at]),
                extra_min=float(change[at] / rate * 60.0),
                extra_litres=float((change[mine] * table.area_m2[mine]).sum()),
                crosses=bool(crosses[mine].any()),
                is_governed=bool(governed),
                zones_then_mm={int(table.zone_id[one]): float(after[one]) for one in mine},
            )
        )
    return rows

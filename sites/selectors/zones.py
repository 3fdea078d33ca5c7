"""Zones of the book as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from django.db.models import Avg, F

from sites.calc import landscape, soil
from sites.calc.zone_table import BookZones, ZoneTable
from sites.calc.zone_table import zone_table as table_of
from sites.models import Zone
from weather.models import DailyWeather

IntArray = npt.NDArray[np.int64]


def zone_table(*, site_ids: Sequence[int] | None = None) -> ZoneTable:
    """Zones ready to compute with, sorted by site code, controller code and station.

    Parameters
    ----------
    site_ids
        Only zones of these sites; None: all.
    """
    return table_of(book_zones(site_ids=site_ids))


def book_zones(*, site_ids: Sequence[int] | None = None) -> BookZones:
    """Zones as the book has them, in one query, NaN or -1 where it has no value."""
    zones = Zone.objects.order_by("controller__site__code", "controller__code", "station")
    if site_ids is not None:
        zones = zones.filter(controller__site_id__in=list(site_ids))
    rows = list(
        zones.values_list(
            "pk",
            "controller_id",
            "controller__site_id",
            "station",
            "controller__site__location_id",
            "controller__site__rain_location_id",
            "plant",
            "head",
            "sun",
            "soil",
            "controller__site__soil",
            "area_m2",
            "precipitation_rate_mm_h",
            "flow_l_min",
            "distribution_uniformity",
            "slope_pct",
            "controller__site__slope_pct",
            "root_depth_mm",
            "landscape_coefficient",
            "controller__sensor__station",
        )
    )
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * 20
    location = _ids(columns[4])
    return BookZones(
        zone_id=_ids(columns[0]),
        controller_id=_ids(columns[1]),
        site_id=_ids(columns[2]),
        station=_ids(columns[3]),
        location_id=location,
        rain_location_id=_ids(columns[5]),
        plant=_positions(columns[6], landscape.PLANTS),
        head=_positions(columns[7], landscape.HEADS),
        sun=_positions(columns[8], landscape.SUNS),
        soil=_positions(
            [own or of_site for own, of_site in zip(columns[9], columns[10], strict=True)], soil.TEXTURES
        ),
        area_m2=_numbers(columns[11]),
        precipitation_rate_mm_h=_numbers(columns[12]),
        flow_l_min=_numbers(columns[13]),
        distribution_uniformity=_numbers(columns[14]),
        slope_pct=_numbers(
            [of_site if own is None else own for own, of_site in zip(columns[15], columns[16], strict=True)]
        ),
        root_depth_mm=_numbers(columns[17]),
        landscape_coefficient=_numbers(columns[18]),
        is_governing=np.array([a == b for a, b in zip(columns[3], columns[19], strict=True)], dtype=np.bool_),
        is_dry_climate=_is_dry(location),
    )


def _is_dry(location_ids: IntArray) -> npt.NDArray[np.bool_]:
    """Whether each zone's location has a dry climate: mean rain against mean ETo of its record."""
    wanted = np.unique(location_ids[location_ids > 0]).tolist()
    means = (
        DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED, location_id__in=wanted)
        .order_by()
        .values("location_id")
        .annotate(rain=Avg(F("rain_used_mm")), demand=Avg(F("eto_mm")))
        .values_list("location_id", "rain", "demand")
    )
    ratio = {place: (_or_nan(rain), _or_nan(demand)) for place, rain, demand in means}
    pairs = np.array([ratio.get(int(place), (np.nan, np.nan)) for place in location_ids]).reshape(-1, 2)
    return landscape.is_dry_climate(365.25 * pairs[:, 0], 365.25 * pairs[:, 1])


def _or_nan(value: float | None) -> float:
    """NaN for a missing number."""
    return np.nan if value is None else float(value)


def _ids(values: Sequence[int | None]) -> IntArray:
    """Ids as an array, 0 for none."""
    return np.array([value or 0 for value in values], dtype=np.int64)


def _numbers(values: Sequence[float | None]) -> npt.NDArray[np.float64]:
    """Numbers as an array, NaN for a missing one."""
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _positions(words: Sequence[str], among: Sequence[str]) -> IntArray:
    """Position of each word, -1 for an unknown one."""
    at = {word: position for position, word in enumerate(among)}
    return np.array([at.get(word, -1) for word in words], dtype=np.int64)

"""Stored raw days as arrays for the formulas, and results as rows for the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Final

import numpy as np
from django.db.models import Avg, QuerySet
from django.db.models.functions import ExtractMonth

from weather.calc.arrays import BoolArray, FloatArray, IntArray
from weather.calc.daily_weather import DailyWeather as Sky
from weather.calc.daily_weather import Places
from weather.calc.new_days import RAW, WIND_HEIGHT_M
from weather.calc.source_chain import GROUPS
from weather.calc.spread_rules import SPREAD_COLUMN, USED_COLUMN
from weather.calc.told_quality import Quality, marks_of_rows, remarked_groups, told_by
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE, is_of_grid

BATCH: Final = 2_000
# Columns that filling writes; all others are left as they came.
COMPUTED: Final = (
    "eto_mm",
    "eto_raw_mm",
    "eto_sd_mm",
    "eto_method",
    "rain_used_mm",
    "rain_sd_mm",
    "filled",
    "flags",
    *USED_COLUMN.values(),
    *(column for name, column in SPREAD_COLUMN.items() if name != "rain_mm"),
)
FLAGS_AT: Final = COMPUTED.index("flags")
_WIND_HEIGHT: Final = RAW.index("wind_height_m")
_CHUNK: Final = 20_000

Results = tuple[float | str | None, ...]  # in the order of `COMPUTED`


@dataclass(frozen=True, slots=True)
class StoredDays:
    """Raw days of one kind on a grid of days and locations.

    Parameters
    ----------
    sky
        Raw values, (days, locations), NaN where nothing is stored.
    is_there
        True where somebody told the day.
    quality
        Who told each group of values, and what a check remarked.
    results
        What was computed before, by (day, location) position; days filled in a gap among them.
    """

    sky: Sky
    is_there: BoolArray
    quality: Quality
    results: dict[tuple[int, int], Results]


def read_days(
    *,
    rows: QuerySet[DailyWeather],
    ids: IntArray,
    first: date,
    last: date,
    with_results_from: date | None = None,
) -> StoredDays:
    """Return the rows of some locations from `first` to `last` (inclusive) as arrays.

    Parameters
    ----------
    rows
        Observed days, or one issue of forecasts.
    ids
        Locations in ascending order.
    first, last
        Days of the grid.
    with_results_from
        Also return what was computed from this day on.
    """
    days = np.arange(np.datetime64(first, "D"), np.datetime64(last + timedelta(days=1), "D"))
    shape = (days.size, ids.size)
    values = np.full((len(RAW), *shape), np.nan)
    is_there = np.zeros(shape, dtype=np.bool_)
    quality = Quality(*({group: np.zeros(shape, dtype=np.bool_) for group in GROUPS} for _ in range(2)))
    results: dict[tuple[int, int], Results] = {}
    found = rows.filter(location_id__in=ids.tolist(), day__gte=first, day__lte=last).order_by()
    wanted = ("location_id", "day", "source", "parts", *COMPUTED, *RAW)
    iterator = found.values_list(*wanted).iterator(chunk_size=_CHUNK)
    while chunk := list(islice(iterator, _CHUNK)):
        columns = list(zip(*chunk, strict=True))
        right = np.searchsorted(ids, np.asarray(columns[0], dtype=np.int64))
        down = (np.asarray(columns[1], dtype="datetime64[D]") - days[0]).astype(np.int64)
        told = np.array([source != GAP_SOURCE for source in columns[2]])
        raw = np.array(columns[4 + len(COMPUTED) :], dtype=np.float64)
        values[:, down, right] = np.where(told, raw, np.nan)
        is_there[down, right] = told
        for marks, by_group in zip(
            (quality.is_grid, quality.is_remarked),
            _marks(columns[2], columns[3], columns[4 + FLAGS_AT]),
            strict=True,
        ):
            for group, mark in by_group.items():
                marks[group][down, right] = mark
        if with_results_from is not None:
            for at, place, row in zip(down.tolist(), right.tolist(), chunk, strict=True):
                if row[1] >= with_results_from:
                    results[at, place] = row[4 : 4 + len(COMPUTED)]
    values[_WIND_HEIGHT] = np.nan_to_num(values[_WIND_HEIGHT], nan=WIND_HEIGHT_M)
    return StoredDays(Sky(days, *values), is_there, quality, results)


def _marks(
    sources: Sequence[str], parts: Sequence[str], flags: Sequence[str]
) -> tuple[dict[str, BoolArray], dict[str, BoolArray]]:
    """Groups of values that a gridded product told, and those that a check remarked; each text read once."""
    of_grid: dict[tuple[str, str], tuple[str, ...]] = {}
    for pair in set(zip(sources, parts, strict=True)):
        tellers = told_by(*pair)
        of_grid[pair] = tuple(group for group, source in tellers.items() if is_of_grid(source))
    remarked = {words: remarked_groups(words) for words in set(flags)}
    return (
        marks_of_rows([of_grid[pair] for pair in zip(sources, parts, strict=True)]),
        marks_of_rows([remarked[words] for words in flags]),
    )


def places_of(ids: IntArray) -> Places:
    """Return positions and heights of locations in the order of their ids."""
    rows = Location.objects.filter(pk__in=ids.tolist()).order_by("pk")
    table = np.array(list(rows.values_list("latitude", "longitude", "elevation_m")), dtype=np.float64)
    table = table.reshape(-1, 3)
    return Places(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy())


def monthly_means(ids: IntArray) -> FloatArray:
    """Return the mean ET of each month as computed so far from measurements [mm/d], (12, locations)."""
    table = np.full((12, ids.size), np.nan)
    rows = (
        DailyWeather.objects.filter(
            location_id__in=ids.tolist(), kind=DailyWeather.Kind.OBSERVED, eto_method="fao56"
        )
        .annotate(month=ExtractMonth("day"))
        .order_by()
        .values_list("location_id", "month")
        .annotate(mean=Avg("eto_mm"))
    )
    for place, month, mean in rows:
        if mean is not None:
            table[month - 1, int(np.searchsorted(ids, place))] = mean
    return table


def numbers_or_none(values: FloatArray) -> list[float | None]:
    """Return values as they are stored: four decimals, None where one is unknown."""
    return [None if value != value else value for value in np.round(values, 4).tolist()]


def input_columns(used: Mapping[str, FloatArray], spreads: Mapping[str, FloatArray]) -> list[FloatArray]:
    """Return used values and spreads in the order of their columns."""
    return [
        *(used[name] for name in USED_COLUMN),
        *(spreads[name] for name in SPREAD_COLUMN if name != "rain_mm"),
    ]


def computed_row(
    location_id: int, day: date, issued: date, kind: str, now: datetime, result: Results
) -> DailyWeather:
    """Return a row that carries computed columns; its source counts only where there was no row."""
    return DailyWeather(
        location_id=location_id,
        day=day,
        kind=kind,
        issued=issued,
        source=GAP_SOURCE,
        fetched_at=now,
        **dict(zip(COMPUTED, result, strict=True)),
    )


def write_results(rows: Sequence[DailyWeather]) -> None:
    """Write computed columns beside the raw ones; a day without a row gets one of source `filled`."""
    DailyWeather.objects.bulk_create(
        rows,
        batch_size=BATCH,
        update_conflicts=True,
        unique_fields=["location", "day", "kind", "issued"],
        update_fields=list(COMPUTED),
    )

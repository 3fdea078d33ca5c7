"""Reads of the stored balance."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import groupby, islice

import numpy as np
import numpy.typing as npt

from sites.calc.balance.blob import COLUMNS, unpack_months
from sites.calc.balance.days import BalanceDays, Floats32
from sites.models import BalanceMonth, Zone
from weather.selectors import weather_days

IntArray = npt.NDArray[np.int64]
_CHUNK = 2_000
_IDS_A_QUERY = 20_000
_Row = tuple[int, date, bytes | memoryview, float, float]


def balance_days(*, zone_ids: Sequence[int] | IntArray, start: date, end: date) -> BalanceDays:
    """The stored balance of zones, NaN where a day is not computed.

    Parameters
    ----------
    zone_ids
        Zones, in the order of the result's columns.
    start, end
        First day, and the day after the last.
    """
    ids = np.asarray(zone_ids, dtype=np.int64)
    days = np.arange(np.datetime64(start, "D"), np.datetime64(end, "D"))
    values = np.full((len(COLUMNS), days.size, ids.size), np.nan, dtype=np.float32)
    source = np.zeros((days.size, ids.size), dtype=np.uint8)
    allowed, available = np.full(ids.size, np.nan), np.full(ids.size, np.nan)
    column_of = {int(number): position for position, number in enumerate(ids)}
    for rows in _months(ids, start, end):
        columns = np.array([column_of[row[0]] for row in rows])
        months = unpack_months([bytes(row[2]) for row in rows])
        first = (rows[0][1] - start).days
        low, high = max(0, first), min(days.size, first + months.source.shape[1])
        values[:, low:high, columns] = months.values[:, :, low - first : high - first].transpose(1, 2, 0)
        source[low:high, columns] = months.source[:, low - first : high - first].T
        allowed[columns] = [row[3] for row in rows]
        available[columns] = [row[4] for row in rows]
    stored = dict(zip(COLUMNS, values, strict=True))
    reference_et, rain = _sky(ids, start, end)
    return BalanceDays(
        days=days,
        zone_ids=ids,
        reference_et_mm=reference_et,
        rain_mm=rain,
        stress=_stress(stored["actual_et_mm"], stored["landscape_et_mm"]),
        irrigation_source=source,
        allowed_mm=allowed,
        available_mm=available,
        **stored,
    )


def _months(ids: IntArray, start: date, end: date) -> Iterator[list[_Row]]:
    """Stored rows, some thousands at a time, each batch of one calendar month."""
    for left in range(0, ids.size, _IDS_A_QUERY):
        rows = (
            BalanceMonth.objects.filter(
                zone_id__in=ids[left : left + _IDS_A_QUERY].tolist(),
                month__gte=start.replace(day=1),
                month__lt=end,
            )
            .order_by("month")
            .values_list("zone_id", "month", "values", "allowed_mm", "available_mm")
        )
        for _, of_month in groupby(rows.iterator(chunk_size=_CHUNK), key=lambda row: row[1]):
            while batch := list(islice(of_month, _CHUNK)):
                yield batch


def _sky(ids: IntArray, start: date, end: date) -> tuple[Floats32, Floats32]:
    """ETo and rain of each zone's location, (days, zones)."""
    places = dict.fromkeys(ids.tolist(), (0, 0))
    for left in range(0, ids.size, _IDS_A_QUERY):
        rows = Zone.objects.filter(pk__in=ids[left : left + _IDS_A_QUERY].tolist()).values_list(
            "pk", "controller__site__location_id", "controller__site__rain_location_id"
        )
        places.update({pk: (here or 0, rain or 0) for pk, here, rain in rows})
    pairs = np.array([places[pk] for pk in ids.tolist()], dtype=np.int64).reshape(-1, 2)
    sky = weather_days(location_ids=np.unique(pairs[pairs > 0]), start=start, end=end)
    columns = sky.columns_of(pairs[:, 0])
    with_unknown = np.column_stack([sky.reference_et_mm, np.full(sky.days.size, np.nan)])
    rain_told = sky.rain_of(pairs[:, 0], pairs[:, 1])
    # -1 is the unknown column
    return with_unknown[:, columns].astype(np.float32), rain_told.rain_mm[:, rain_told.column].astype(
        np.float32
    )


def _stress(actual_et_mm: Floats32, landscape_et_mm: Floats32) -> Floats32:
    """Share of ETL that could not be met, 0 on days without demand."""
    met = np.divide(
        actual_et_mm, landscape_et_mm, out=np.ones_like(actual_et_mm), where=~(landscape_et_mm == 0.0)
    )
    return np.clip(1.0 - met, 0.0, 1.0)

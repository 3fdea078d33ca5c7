"""Computing forecasts: ET of what was foretold, issue by issue."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime, timedelta

import numpy as np
from django.db import transaction
from django.db.models import Max, Min

from weather.calc.arrays import IntArray
from weather.calc.fill_codes import METHOD_WORDS, EtMethod, words_of_fills
from weather.calc.filling import LEARNED_OVER_D, learned_assumptions
from weather.calc.foretelling import forecast_days
from weather.calc.substitutes import Assumptions
from weather.models import DailyWeather
from weather.services.stored_days import (
    FLAGS_AT,
    computed_row,
    input_columns,
    numbers_or_none,
    places_of,
    read_days,
    write_results,
)


@transaction.atomic
def fill_forecasts(*, issues: Collection[date], now: datetime) -> tuple[int, dict[int, date]]:
    """Compute the forecasts of some issues; return the rows written, and each location's first changed day.

    Parameters
    ----------
    issues
        Days of issue.
    now
        When it is done.
    """
    written, changes = 0, dict[int, date]()
    for issued in sorted(issues):
        rows = DailyWeather.objects.filter(kind=DailyWeather.Kind.FORECAST, issued=issued)
        places = rows.order_by().values_list("location_id", flat=True).distinct()
        ids = np.array(sorted(places), dtype=np.int64)
        if ids.size == 0:
            continue
        span = rows.aggregate(first=Min("day"), last=Max("day"))
        results = _foretold(ids, issued, span["first"], span["last"], now)
        write_results(results)
        written += len(results)
        for row in results:
            changes[row.location_id] = min(row.day, changes.get(row.location_id, row.day))
    return written, changes


def _foretold(ids: IntArray, issued: date, first: date, last: date, now: datetime) -> list[DailyWeather]:
    """Rows of one issue whose computed columns changed."""
    stored = read_days(
        rows=DailyWeather.objects.filter(kind=DailyWeather.Kind.FORECAST, issued=issued),
        ids=ids,
        first=first,
        last=last,
        with_results_from=first,
    )
    taught, at_issue = _taught(ids, issued), np.datetime64(issued)
    foretold = forecast_days(stored.sky, places_of(ids), taught, at_issue, stored.quality)
    words = words_of_fills(foretold.fills.ravel())
    et, raw, sd, rain, rain_sd, *inputs = (
        numbers_or_none(values.ravel())
        for values in (
            foretold.reference_et_mm,
            foretold.reference_et_raw_mm,
            foretold.reference_et_sd_mm,
            foretold.rain_mm,
            foretold.rain_sd_mm,
            *input_columns(foretold.used, foretold.spreads),
        )
    )
    results = []
    for at, place in np.argwhere(stored.is_there).tolist():
        cell, before = at * ids.size + place, stored.results[at, place]
        result = (
            et[cell],
            raw[cell],
            sd[cell],
            "" if et[cell] is None else METHOD_WORDS[EtMethod.FAO56],
            rain[cell],
            rain_sd[cell],
            "" if et[cell] is None else words[cell],
            before[FLAGS_AT],
            *(values[cell] for values in inputs),
        )
        if result != before:
            day = first + timedelta(days=at)
            kind = DailyWeather.Kind.FORECAST
            results.append(computed_row(int(ids[place]), day, issued, kind, now, result))
    return results


def _taught(ids: IntArray, issued: date) -> Assumptions:
    """What the locations' last 60 days before the issue taught of their sun and dryness."""
    stored = read_days(
        rows=DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED),
        ids=ids,
        first=issued - timedelta(days=LEARNED_OVER_D),
        last=issued - timedelta(days=1),
    )
    learned = learned_assumptions(stored.sky, places_of(ids))
    return Assumptions(
        solar_coefficient=np.asarray(learned.solar_coefficient)[-1],
        dew_gap_c=np.asarray(learned.dew_gap_c)[-1],
    )

"""Filling and computing: ET and rain of stored days, with what each rests on."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

import numpy as np
from django.db import transaction
from django.db.models import Min

from weather.calc.arrays import IntArray
from weather.calc.et_gaps import MEAN_LIMIT_ALONE_D
from weather.calc.fill_codes import words_of_fills, words_of_methods
from weather.calc.filling import FilledDays, FillSettings, fill_days
from weather.calc.neighbours import nearest_neighbours
from weather.calc.quality import Flag, flag_words
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE
from weather.services.fill_forecasts import fill_forecasts
from weather.services.stored_days import (
    FLAGS_AT,
    Results,
    StoredDays,
    computed_row,
    input_columns,
    monthly_means,
    numbers_or_none,
    places_of,
    read_days,
    write_results,
)

# Days before the first wanted one that its fills may rest on: a mean carried 60 days, of 7 more.
CONTEXT_D: Final = 75
_CELLS_AT_ONCE: Final = 400_000
_FEWEST_AT_ONCE: Final = 20
GAUGE_DRY: Final = flag_words(Flag.GAUGE_DRY.value)


@dataclass(frozen=True, slots=True)
class WeatherFill:
    """What filling did: rows written, and locations whose used values changed."""

    rows: int
    locations: int


@dataclass(frozen=True, slots=True)
class _Span:
    """Days of one location to compute, first to last, inclusive."""

    first: date
    last: date


@transaction.atomic
def fill_weather(
    *,
    since: Mapping[int, date],
    now: datetime,
    through: date | None = None,
    issues: Collection[date] = (),
    settings: FillSettings | None = None,
) -> WeatherFill:
    """Compute and fill the days of locations, write what changed, and mark later results as out of date.

    Parameters
    ----------
    since
        First day to compute by location id. Locations that borrow from these are computed as well.
    now
        When it is done, for rows of days that nobody measured.
    through
        Last day to fill where the measurements end earlier; None: each location's newest measured day.
        Sixty days after that day filling ends in any case.
    issues
        Days of issue of the forecasts to compute, for the locations of `since` or all.
    settings
        How far values may travel; None: the defaults.
    """
    limits = settings or FillSettings()
    ids = np.array(list(Location.objects.order_by("pk").values_list("pk", flat=True)), dtype=np.int64)
    places = places_of(ids)
    near = nearest_neighbours(
        places, within_km=limits.neighbour_km, within_m=limits.neighbour_m, most=limits.neighbours
    )
    spans = _spans(_starts(since, ids, near.columns), through)
    order = np.lexsort((places.longitude_deg, np.round(places.latitude_deg, 1)))
    written, first_changes = 0, dict[int, date]()
    for chunk in _chunks(spans, ids, order):
        lenders = near.columns[chunk]
        context = np.unique(np.concatenate([chunk, lenders[lenders >= 0]]))
        wanted = {int(ids[at]): spans[int(ids[at])] for at in chunk}
        rows, changes = _fill_observed(ids[context], wanted, now, limits)
        write_results(rows)
        written += len(rows)
        first_changes |= changes
    foretold, changes = fill_forecasts(issues=issues, now=now)
    for pk, day in changes.items():
        first_changes[pk] = min(day, first_changes.get(pk, day))
    _mark_stale(first_changes)
    return WeatherFill(written + foretold, len(first_changes))


def _starts(since: Mapping[int, date], ids: IntArray, lenders: IntArray) -> dict[int, date]:
    """First day by location: the given ones, and those that borrow from one of them."""
    starts = dict(since)
    for pk, row in zip(ids.tolist(), lenders, strict=True):
        days = [since[int(ids[at])] for at in row if at >= 0 and int(ids[at]) in since]
        if days:
            starts[pk] = min([*days, starts.get(pk, date.max)])
    return starts


def _spans(starts: Mapping[int, date], through: date | None) -> dict[int, _Span]:
    """Days to compute of each location that was ever measured."""
    oldest = dict(
        DailyWeather.objects.filter(location_id__in=list(starts), kind=DailyWeather.Kind.OBSERVED)
        .exclude(source=GAP_SOURCE)
        .order_by()
        .values_list("location_id")
        .annotate(oldest=Min("day"))
    )
    newest = dict(Location.objects.filter(pk__in=list(oldest)).values_list("pk", "newest_day"))
    spans = {}
    for pk, first in oldest.items():
        end = newest[pk] or first
        if through is not None:
            end = max(end, min(through, end + timedelta(days=MEAN_LIMIT_ALONE_D)))
        start = max(first, starts[pk])
        if start <= end:
            spans[pk] = _Span(start, end)
    return spans


def _chunks(spans: Mapping[int, _Span], ids: IntArray, order: IntArray) -> Iterator[IntArray]:
    """Positions of the locations to compute, near ones together, few enough for the memory."""
    chosen = order[np.isin(ids[order], list(spans))]
    if chosen.size == 0:
        return
    longest = max(span.last for span in spans.values()) - min(span.first for span in spans.values())
    size = max(_FEWEST_AT_ONCE, _CELLS_AT_ONCE // (longest.days + CONTEXT_D))
    for left in range(0, chosen.size, size):
        yield chosen[left : left + size]


def _fill_observed(
    ids: IntArray, wanted: Mapping[int, _Span], now: datetime, limits: FillSettings
) -> tuple[list[DailyWeather], dict[int, date]]:
    """Rows to write of the wanted locations, and the first day of each whose used values changed."""
    first = min(span.first for span in wanted.values())
    last = max(span.last for span in wanted.values())
    stored = read_days(
        rows=DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED),
        ids=ids,
        first=first - timedelta(days=CONTEXT_D),
        last=last,
        with_results_from=first,
    )
    filled = fill_days(
        stored.sky, places_of(ids), quality=stored.quality, climatology_mm=monthly_means(ids), settings=limits
    )
    rows: list[DailyWeather] = []
    changes: dict[int, date] = {}
    for place, pk in enumerate(ids.tolist()):
        if pk not in wanted:
            continue
        top = (wanted[pk].first - first).days + CONTEXT_D
        bottom = (wanted[pk].last - first).days + CONTEXT_D + 1
        for at, result in enumerate(_results(filled, stored, place, top, bottom), start=top):
            before = stored.results.get((at, place))
            nothing = before is None and result[0] is None and result[4] is None
            if before == result or nothing:
                continue
            day = wanted[pk].first + timedelta(days=at - top)
            rows.append(computed_row(pk, day, day, DailyWeather.Kind.OBSERVED, now, result))
            if before is None or before[:6] != result[:6]:
                changes.setdefault(pk, day)
    return rows, changes


def _results(filled: FilledDays, stored: StoredDays, place: int, top: int, bottom: int) -> list[Results]:
    """Computed columns of one location's days, as they are stored."""
    cut = (slice(top, bottom), place)
    et, raw, sd, rain, rain_sd, *inputs = (
        numbers_or_none(values[cut])
        for values in (
            filled.reference_et_mm,
            filled.reference_et_raw_mm,
            filled.reference_et_sd_mm,
            filled.rain_mm,
            filled.rain_sd_mm,
            *input_columns(filled.used, filled.spreads),
        )
    )
    methods, fills = words_of_methods(filled.method[cut]), words_of_fills(filled.fills[cut])
    flags = [
        _flags(stored.results.get((at, place)), bool(dry))
        for at, dry in enumerate(filled.is_gauge_dry[cut], start=top)
    ]
    return list(zip(et, raw, sd, methods, rain, rain_sd, fills, flags, *inputs, strict=True))


def _flags(before: Results | None, is_dry: bool) -> str:
    """The flags of the checks on the row, and that of the gauge among its neighbours."""
    words = [word for word in (str(before[FLAGS_AT]).split() if before else []) if word != GAUGE_DRY]
    return " ".join([*words, GAUGE_DRY] if is_dry else words)


def _mark_stale(since: Mapping[int, date]) -> None:
    """Mark everything computed from the first changed day of each location on as out of date."""
    changed = []
    for location in Location.objects.filter(pk__in=list(since)):
        if location.stale_from is None or since[location.pk] < location.stale_from:
            location.stale_from = since[location.pk]
            changed.append(location)
    Location.objects.bulk_update(changed, ["stale_from"], batch_size=2_000)

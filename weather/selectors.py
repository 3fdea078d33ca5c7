"""Reads of the sky: days as arrays for the formulas, rows for the page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from itertools import islice

import numpy as np
from django.db.models import Max, Q, QuerySet

from weather.calc.arrays import BoolArray, DayArray, FloatArray, IntArray
from weather.calc.daily_weather import Places
from weather.calc.fill_codes import WORDS, Fill
from weather.calc.neighbour_means import CHECK_KM, CHECK_M
from weather.calc.neighbours import nearest_neighbours
from weather.calc.new_days import NewPlace
from weather.calc.weather_days import WeatherDays
from weather.models import DailyWeather, Location

# Source of a day that no service or file told: all of it was filled. A forecast is worth more.
GAP_SOURCE = "filled"
# Services whose values are those of a grid cell, not of an instrument.
GRID_SOURCES = frozenset({"nasa_power", "open_meteo", "nws"})
_LENT_RAIN = WORDS[Fill.RAIN_NEARBY]
_CHUNK = 20_000
_NEAR_MOST = 5
_NUMBERS = ("eto_mm", "eto_sd_mm", "rain_used_mm", "rain_sd_mm", "tmin_c", "tmax_c")


def is_of_grid(source: str) -> bool:
    """Return whether a day's source is a gridded product."""
    return source.split(" ")[0] in GRID_SOURCES


def weather_days(
    *, location_ids: Sequence[int] | IntArray, start: date, end: date, forecast_issued_by: date | None = None
) -> WeatherDays:
    """Daily weather of locations on consecutive days; what was measured wins over what was forecast.

    Parameters
    ----------
    location_ids
        Locations wanted; repeated ids count once.
    start, end
        First day, and the day after the last.
    forecast_issued_by
        Only forecasts issued on this day or before; None: the newest of each day, whenever issued.

    Returns
    -------
    WeatherDays
        Arrays of shape (days, locations), NaN where neither was known. A day without any measurement takes
        the forecast, where there is one, before a value filled from other days.
    """
    ids = np.unique(np.asarray(location_ids, dtype=np.int64))
    days = np.arange(np.datetime64(start, "D"), np.datetime64(end, "D"))
    rows = DailyWeather.objects.filter(location_id__in=ids.tolist(), day__gte=start, day__lt=end)
    observed = rows.filter(kind=DailyWeather.Kind.OBSERVED)
    measured = _grid(observed.exclude(source=GAP_SOURCE), days, ids)
    gaps = _grid(observed.filter(source=GAP_SOURCE), days, ids)
    forecasts = rows.filter(kind=DailyWeather.Kind.FORECAST)
    if forecast_issued_by is not None:
        forecasts = forecasts.filter(issued__lte=forecast_issued_by)
    foretold = _grid(forecasts.order_by("issued"), days, ids)
    return _merged(days, ids, [measured, foretold, gaps])


class _Grid:
    """Values of one kind of rows on days and locations."""

    def __init__(self, shape: tuple[int, int]) -> None:
        """All unknown."""
        self.values: FloatArray = np.full((len(_NUMBERS), *shape), np.nan)
        self.is_filled: BoolArray = np.zeros(shape, dtype=np.bool_)
        self.is_rain_lent: BoolArray = np.zeros(shape, dtype=np.bool_)


def _chunks(rows: Iterable[tuple[object, ...]]) -> Iterator[list[tuple[object, ...]]]:
    """Rows in lists of bearable length."""
    iterator = iter(rows)
    while chunk := list(islice(iterator, _CHUNK)):
        yield chunk


def _grid(rows: QuerySet[DailyWeather], days: DayArray, ids: IntArray) -> _Grid:
    """The rows laid out; a later row of the same day and location replaces an earlier one."""
    grid = _Grid((days.size, ids.size))
    columns = ("location_id", "day", "filled", *_NUMBERS)
    for chunk in _chunks(rows.values_list(*columns).iterator(chunk_size=_CHUNK)):
        locations, dates, filled, *numbers = zip(*chunk, strict=True)
        right = np.searchsorted(ids, np.asarray(locations, dtype=np.int64))
        down = (np.asarray(dates, dtype="datetime64[D]") - days[0]).astype(np.int64)
        grid.values[:, down, right] = np.array(numbers, dtype=np.float64)
        grid.is_filled[down, right] = np.array([bool(words) for words in filled])
        grid.is_rain_lent[down, right] = np.array([_LENT_RAIN in str(words) for words in filled])
    return grid


def _merged(days: DayArray, ids: IntArray, by_rank: list[_Grid]) -> WeatherDays:
    """The first known value of each day: of ET with its spread, of rain with its spread, of temperatures."""
    values = np.full_like(by_rank[0].values, np.nan)
    rank = np.full(values.shape[1:], -1)
    rain_rank = rank.copy()
    for place, grid in enumerate(by_rank):
        for first, chosen in ((0, rank), (2, rain_rank)):
            free = (chosen < 0) & np.isfinite(grid.values[first])
            chosen[free] = place
            values[first : first + 2, free] = grid.values[first : first + 2, free]
        bare = np.isnan(values[4]) & np.isfinite(grid.values[4])
        values[4:, bare] = grid.values[4:, bare]
    is_filled, is_rain_lent = np.zeros(rank.shape, dtype=np.bool_), np.zeros(rank.shape, dtype=np.bool_)
    for place, grid in enumerate(by_rank):
        is_filled |= ((rank == place) | (rain_rank == place)) & grid.is_filled
        is_rain_lent |= (rain_rank == place) & grid.is_rain_lent
    return WeatherDays(
        days=days,
        location_ids=ids,
        reference_et_mm=values[0],
        reference_et_sd_mm=values[1],
        rain_mm=values[2],
        rain_sd_mm=values[3],
        tmin_c=values[4],
        tmax_c=values[5],
        is_filled=is_filled,
        is_forecast=(rank == 1) | (rain_rank == 1),
        is_rain_lent=is_rain_lent,
        positions_deg=_positions(ids),
    )


def _positions(ids: IntArray) -> FloatArray:
    """Latitudes and longitudes of locations [deg], NaN where there is no such location."""
    rows = Location.objects.filter(pk__in=ids.tolist()).values_list("pk", "latitude", "longitude")
    places = {pk: (latitude, longitude) for pk, latitude, longitude in rows}
    return np.array([places.get(int(pk), (np.nan, np.nan)) for pk in ids], dtype=np.float64).reshape(-1, 2)


def newest_days(*, location_ids: Iterable[int] | None = None) -> dict[int, date]:
    """Newest day that was really measured, by location id; locations without any are left out."""
    rows = DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED).exclude(source=GAP_SOURCE)
    if location_ids is not None:
        rows = rows.filter(location_id__in=list(location_ids))
    newest = rows.order_by().values_list("location_id").annotate(newest=Max("day"))
    return dict(newest)


def locations() -> QuerySet[Location]:
    """All locations by name."""
    return Location.objects.order_by("name")


def mean_temperatures_near(
    *, places: Sequence[tuple[NewPlace, date]]
) -> dict[tuple[str, date], tuple[NewPlace, float]]:
    """Mean temperatures that stored locations near some places measured, by name and day [C].

    Parameters
    ----------
    places
        Places with the days that are asked for; a place's own stored days are no neighbours of it.
    """
    asked = {place.name: place for place, _ in places}
    stored = {
        row[1]: row
        for row in Location.objects.values_list("pk", "name", "latitude", "longitude", "elevation_m")
    }
    others = [row for name, row in stored.items() if name not in asked]
    if not asked or not others:
        return {}
    points = [(place.latitude_deg, place.longitude_deg, place.elevation_m) for place in asked.values()]
    table = np.array([*points, *(row[2:] for row in others)], dtype=np.float64)
    near = nearest_neighbours(
        Places(table[:, 0].copy(), table[:, 1].copy(), table[:, 2].copy()),
        within_km=CHECK_KM,
        within_m=CHECK_M,
        most=_NEAR_MOST,
    )
    columns = np.unique(near.columns[: len(points)])
    chosen = {others[at - len(points)][0]: others[at - len(points)] for at in columns if at >= len(points)}
    days = [day for _, day in places]
    rows = DailyWeather.objects.filter(
        location_id__in=list(chosen), day__gte=min(days), day__lte=max(days), kind=DailyWeather.Kind.OBSERVED
    ).exclude(Q(tmin_c=None) | Q(tmax_c=None))
    means: dict[tuple[str, date], tuple[NewPlace, float]] = {}
    for pk, day, low, high in rows.values_list("location_id", "day", "tmin_c", "tmax_c").iterator():
        _, name, latitude, longitude, elevation_m = chosen[pk]
        if low is not None and high is not None:
            means[name, day] = (NewPlace(name, latitude, longitude, elevation_m), 0.5 * (low + high))
    return means

"""Daily weather as rows of its export: what import_weather reads, and what was made of it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from itertools import islice
from typing import Final

from weather.calc.new_days import FORECAST, RAW
from weather.calc.spread_rules import SPREAD_COLUMN, USED_COLUMN
from weather.models import DailyWeather, Location
from weather.selectors import GAP_SOURCE
from weather.stored_spreads import stored_parts

COLUMNS: Final = (
    "location",
    "latitude",
    "longitude",
    "elevation_m",
    "date",
    *RAW,
    "kind",
    "issued",
    "eto_mm",
    "eto_method",
    "filled",
    "flags",
    "source",
)
_FIELDS: Final = (
    "location__name",
    "location__latitude",
    "location__longitude",
    "location__elevation_m",
    "day",
    *RAW,
    "kind",
    "issued",
    "eto_mm",
    "eto_method",
    "filled",
    "flags",
    "source",
)
# What the download of one location has beside them.
SPREAD_COLUMNS: Final = (
    "eto_sd_mm",
    "eto_sd_parts_mm",
    *USED_COLUMN.values(),
    *SPREAD_COLUMN.values(),
)
_ISSUED: Final = COLUMNS.index("issued")
_ETO: Final = COLUMNS.index("eto_mm")
_CHUNK: Final = 5_000


def rows(
    *,
    start: date | None = None,
    end: date | None = None,
    private: bool = False,
    location_id: int | None = None,
) -> Iterator[dict[str, object]]:
    """Days of all locations by name, day and issue; days that nobody measured are left out.

    Parameters
    ----------
    start, end
        First day, and the day after the last; None leaves that side open.
    private
        Without meaning here: weather holds nothing private.
    location_id
        Only this location; None: all.
    """
    del private
    days = DailyWeather.objects.exclude(source=GAP_SOURCE).order_by("location__name", "day", "kind", "issued")
    if location_id is not None:
        days = days.filter(location_id=location_id)
    if start is not None:
        days = days.filter(day__gte=start)
    if end is not None:
        days = days.filter(day__lt=end)
    for values in days.values_list(*_FIELDS).iterator(chunk_size=_CHUNK):
        cells = list(values)
        # The day itself stands as issue of an observed day only in the store.
        cells[_ISSUED] = cells[_ISSUED] if cells[_ISSUED - 1] == FORECAST else None
        cells[_ETO] = None if cells[_ETO] is None else f"{cells[_ETO]:.3f}"
        yield dict(zip(COLUMNS, cells, strict=True))


def rows_with_spread(*, location: Location) -> Iterator[dict[str, object]]:
    """Days of one location as in `rows`, with the spread of each value and what it brings to that of ET.

    Parameters
    ----------
    location
        The location.
    """
    stored = DailyWeather.objects.exclude(source=GAP_SOURCE).filter(location=location)
    days = stored.order_by("day", "kind", "issued").iterator(chunk_size=_CHUNK)
    told = rows(location_id=location.pk)
    while chunk := list(islice(days, _CHUNK)):
        parts = stored_parts(chunk, latitude_deg=location.latitude, elevation_m=location.elevation_m)
        for day, found in zip(chunk, parts, strict=True):
            words = " ".join(f"{name}:{mm:.3f}" for name, mm in found.items())
            own = {
                column: getattr(day, column) for column in (*USED_COLUMN.values(), *SPREAD_COLUMN.values())
            }
            yield {**next(told), "eto_sd_mm": day.eto_sd_mm, "eto_sd_parts_mm": words, **own}


def features(
    *, start: date | None = None, end: date | None = None, private: bool = False
) -> Iterator[dict[str, object]]:
    """The same days as GeoJSON features, each at its location's point.

    Parameters
    ----------
    start, end, private
        As in `rows`.
    """
    for row in rows(start=start, end=end, private=private):
        dates = {"date": str(row["date"]), "issued": None if row["issued"] is None else str(row["issued"])}
        yield {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [row["longitude"], row["latitude"]]},
            "properties": {**row, **dates},
        }

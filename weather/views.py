"""The weather page: is the weather complete, and what was filled."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Final

from django.conf import settings
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils.safestring import mark_safe
from django.views.decorators.http import require_GET

from weather.calc.csv_cells import csv_lines
from weather.calc.et_gaps import MEAN_LIMIT_ALONE_D, MEAN_LIMIT_D
from weather.calc.filling import FillSettings
from weather.calc.quality import EXPECTED, MEANING
from weather.calc.spread_rules import RULE_SETS
from weather.exports.weather import COLUMNS, SPREAD_COLUMNS, rows_with_spread
from weather.forecast_status import forecast_standing
from weather.location_status import LocationDetail, location_detail, location_list
from weather.models import Location, ReferenceQuestion
from weather.neighbour_status import neighbour_rows
from weather.plot_values import values_plot_svg
from weather.plots import sky_plot_svg
from weather.source_status import order_rows, source_rows
from weather.sources.met_live import met_live
from weather.sources.registry import KNOWN

ROWS_A_PAGE: Final = 50


@require_GET
def page(request: HttpRequest) -> HttpResponse:
    """Locations with their state; the chosen one with its last sixty days; the services."""
    found = location_list()
    pages = Paginator(found.rows, ROWS_A_PAGE)
    shown = pages.get_page(request.GET.get("page"))
    wanted = _chosen(request.GET.get("location", ""))
    pk = wanted if wanted is not None else next((row.pk for row in shown if row.newest_day), None)
    detail = location_detail(pk=pk) if pk is not None else None
    if wanted is not None and detail is None:
        raise Http404("no such location")
    is_us = str(getattr(request.user, "units", "")) == "us"
    context = {
        "found": found,
        "page": shown,
        "detail": detail,
        **(_plots(detail, is_us=is_us) if detail else {}),
        "rule_sets": RULE_SETS,
        "sources": source_rows(
            names_on=settings.WEATHER_SOURCES,
            notices={name: known.notice for name, known in KNOWN.items()},
            met_by_tests=met_live(),
        ),
        "questions": ReferenceQuestion.objects.select_related("location").order_by("location__name"),
        "limits": FillSettings(),
        "mean_days": MEAN_LIMIT_D,
        "mean_days_alone": MEAN_LIMIT_ALONE_D,
        "refusing": [words for _, words in EXPECTED.values()],
        "remarking": list(MEANING.values()),
        **(_around(detail) if detail else {}),
    }
    return render(request, "weather/page.html", context)


def _plots(detail: LocationDetail, *, is_us: bool) -> dict[str, object]:
    """Both stacks of a location: our own markup, numbers and our words only."""
    tracks = detail.tracks()
    days: list[date] = detail.sky.days.tolist()
    return {
        "plot": mark_safe(sky_plot_svg(detail.sky, is_us=is_us, tracks=tracks)),  # noqa: S308
        "values_plot": mark_safe(values_plot_svg(days, tracks, is_us=is_us)),  # noqa: S308
    }


def _around(detail: LocationDetail) -> dict[str, object]:
    """What stands beside a location's own days: how forecasts did, neighbours, orders."""
    location, newest = detail.location, detail.location.newest_day
    return {
        "forecasts": forecast_standing(location_id=location.pk, last_day=newest) if newest else None,
        "neighbours": neighbour_rows(location=location, last_day=newest) if newest else (),
        "orders": order_rows(location_id=location.pk, newest_day=newest),
    }


@require_GET
def location_csv(request: HttpRequest, pk: int) -> StreamingHttpResponse:
    """Every day of a location as CSV, in the columns of the export and with the spreads."""
    del request
    location = Location.objects.filter(pk=pk, days__isnull=False).first()
    if location is None:
        raise Http404("no such location")
    response = StreamingHttpResponse(_lines(location), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="weather-{pk}.csv"'
    return response


def _lines(location: Location) -> Iterator[str]:
    """The CSV line by line."""
    columns = (*COLUMNS, *SPREAD_COLUMNS)
    return csv_lines(
        columns, ([row[name] for name in columns] for row in rows_with_spread(location=location))
    )


def _chosen(text: str) -> int | None:
    """The location of the address, or None."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 12 else None

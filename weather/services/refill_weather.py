"""Filling stored days anew after a rule changed: in batches, so that nobody waits long for the store."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from django.db import transaction

from weather.models import DailyWeather, Location
from weather.services.fill_weather import WeatherFill, fill_weather

LOCATIONS_AT_ONCE: Final = 25
ISSUES_AT_ONCE: Final = 30


def _say_nothing(words: str) -> None:
    """Take what a run says of itself where nobody listens."""


def refill_weather(*, now: datetime, say: Callable[[str], None] = _say_nothing) -> WeatherFill:
    """Fill the days that are marked for it; a batch that broke off is done again the next time.

    Parameters
    ----------
    now
        When it is done.
    say
        Is told after each batch how far it is.
    """
    marked = Location.objects.exclude(refill_from=None)
    ids = list(marked.order_by("latitude", "longitude").values_list("pk", flat=True))
    if not ids:
        return WeatherFill(0, 0)
    rows = 0
    first = min(day for day in marked.values_list("refill_from", flat=True) if day is not None)
    foretold = DailyWeather.objects.filter(kind=DailyWeather.Kind.FORECAST, day__gte=first)
    issues = sorted(foretold.order_by().values_list("issued", flat=True).distinct())
    # Forecasts first: the marks are on the locations, and a batch of locations takes its marks away.
    for left in range(0, len(issues), ISSUES_AT_ONCE):
        rows += fill_weather(since={}, issues=issues[left : left + ISSUES_AT_ONCE], now=now).rows
        say(f"filling anew: {min(left + ISSUES_AT_ONCE, len(issues))} of {len(issues)} forecasts")
    for left in range(0, len(ids), LOCATIONS_AT_ONCE):
        rows += _refill(ids[left : left + LOCATIONS_AT_ONCE], now)
        say(f"filling anew: {min(left + LOCATIONS_AT_ONCE, len(ids))} of {len(ids)} locations")
    return WeatherFill(rows, len(ids))


@transaction.atomic
def _refill(ids: list[int], now: datetime) -> int:
    """Fill some locations and take their marks away."""
    batch = Location.objects.filter(pk__in=ids)
    since = {pk: day for pk, day in batch.values_list("pk", "refill_from") if day is not None}
    filled = fill_weather(since=since, now=now)
    batch.update(refill_from=None)
    return filled.rows

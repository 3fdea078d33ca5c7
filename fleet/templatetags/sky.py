"""Tags of the weather page that need the company: its map, and its work on the weather."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import template
from django.utils import timezone

from fleet.maps import base_map, box_of
from fleet.models import StageRun
from fleet.selectors.company import company_day
from fleet.services.weather_batches import BATCH
from fleet.templatetags.rootround import grouped
from weather.location_status import LocationRow

register = template.Library()
# NASA POWER's temperatures come two to three days late; common practice, no source.
USUAL_LAG_D: Final = 3


@register.inclusion_tag("weather/location_map.html", takes_context=True)
def location_map(context: dict[str, Any], rows: Sequence[LocationRow]) -> dict[str, Any]:
    """Return the map of all locations by state."""
    points = [(row.longitude_deg, row.latitude_deg) for row in rows]
    west, south, east, north = box_of(points)
    aside, up = 0.15 * (east - west), 0.15 * (north - south)
    request = context["request"]
    is_us = str(getattr(request.user, "units", "")) == "us"
    chart = base_map(box=(west - aside, south - up, east + aside, north + up), is_metric=not is_us)
    return {"map": chart, "request": request}


@register.inclusion_tag("weather/pull_runs.html")
def pull_runs() -> dict[str, Any]:
    """Return the newest pull with its batches that are not done."""
    pull = StageRun.objects.filter(stage="pull_weather").order_by("-day", "-asked_at").first()
    open_runs = (
        StageRun.objects.filter(stage=BATCH, day=pull.day)
        .exclude(state=StageRun.State.DONE)
        .order_by("scope")
        if pull
        else StageRun.objects.none()
    )
    return {"pull": pull, "open": open_runs[:20]}


@register.simple_tag(takes_context=True)
def warmer(context: dict[str, Any], value: float | None) -> str:
    """Return a difference of temperatures: a degree Fahrenheit is smaller, and zero stays zero."""
    is_us = str(getattr(context["request"].user, "units", "")) == "us"
    return grouped(None if value is None else value * (1.8 if is_us else 1.0), 1)


@register.simple_tag
def days_silent(newest: date | None) -> int:
    """Return the past days since the newest measured one, 0 within the usual lag of the services."""
    if newest is None:
        return 0
    late = (company_day(now=timezone.now()) - newest).days - 1
    return late if late > USUAL_LAG_D else 0

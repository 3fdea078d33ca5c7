"""Tags of the weather page that need the company: its map, and its work on the weather."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any, Final

from django import template
from django.utils import timezone
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.maps import base_map, box_of
from fleet.models import StageRun
from fleet.quantities import KINDS, shown, unit_of
from fleet.selectors.company.company import company_day
from fleet.services.weather_batches import BATCH
from fleet.templatetags.rootround import NO_VALUE, grouped
from weather.calc.spread_rules import Rule
from weather.day_status import VARIABLE_WORDS, ShownValue
from weather.location_status import LocationRow

register = template.Library()
# Kind of each value and of its spread, and decimals; what has one unit for all readers is its own kind.
_KINDS: Final[dict[str, tuple[str, str, int]]] = {
    "tmin_c": ("temperature", "degrees", 1),
    "tmax_c": ("temperature", "degrees", 1),
    "tdew_c": ("temperature", "degrees", 1),
    "rh_min_pct": ("%", "%", 0),
    "rh_max_pct": ("%", "%", 0),
    "wind_m_s": ("speed", "speed", 1),
    "solar_mj_m2": ("MJ/m²", "MJ/m²", 1),
    "rain_mm": ("depth", "depth", 1),
    "eto_mm": ("daily", "daily", 1),
}
_WAYS: Final = {
    "from_tmin": "taken at the lowest temperature",
    "from_tmin_learned": "taken as far under the lowest temperature as 20 days or more taught",
    "from_rh_max": "from the highest humidity alone",
    "default": "of 2 m/s assumed",
    "from_range": "from the range of temperature",
}
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
def value_cell(context: dict[str, Any], value: ShownValue, *, with_unit: bool = False) -> SafeString:
    """Return a value with its spread below, in the reader's units; a mark where something stands in."""
    is_us = _is_us(context)
    kind, step, digits = _KINDS[value.name]
    if value.value is None:
        return format_html("{}", NO_VALUE)
    shown_value = _figure(value.value, kind, digits, is_us=is_us)
    spread = "" if value.spread is None else f"± {_figure(value.spread, step, digits, is_us=is_us)}"
    unit = f" {_unit(kind, is_us=is_us)}" if with_unit else ""
    mark = format_html('<span class="stand" title="{}">◇</span>', value.how) if value.how else ""
    return format_html(
        '{}{}{}<br><span class="why">{}</span>', mark, shown_value, unit, spread or "no spread yet"
    )


@register.simple_tag(takes_context=True)
def rule_words(context: dict[str, Any], name: str, rule: Rule, reach: str) -> str:
    """Return a rule of a spread in words: `1.8 °C + 0.3 a day`."""
    is_us = _is_us(context)
    column = name.partition(":")[0]
    step, parts = _KINDS[column][1], []
    per = {"km": "a km", "d": "a day ahead"}.get(reach, "")
    for least, share, every in ((rule.least, rule.share, ""), (rule.least_per, rule.share_per, f" {per}")):
        if least:
            parts.append(f"{_short(least, step, is_us=is_us)} {_unit(step, is_us=is_us)}{every}")
        if share:
            parts.append(f"{100 * share:.3g} %{every}")
    return " + ".join(parts)


@register.simple_tag
def value_word(name: str) -> str:
    """Return what a rule of a spread is about."""
    column, _, way = name.partition(":")
    return f"{VARIABLE_WORDS[column]}{f' {_WAYS[way]}' if way else ''}"


@register.simple_tag(takes_context=True)
def value_unit(context: dict[str, Any], name: str) -> str:
    """Return the unit of a spread for the reader."""
    return _unit(_KINDS[name][1], is_us=_is_us(context))


@register.simple_tag(takes_context=True)
def spread_figure(context: dict[str, Any], name: str, value: float | None) -> str:
    """Return a spread or an error of a value in the reader's unit, one decimal more than the value has."""
    _, step, digits = _KINDS[name]
    return NO_VALUE if value is None else _figure(value, step, max(digits, 1), is_us=_is_us(context))


def _is_us(context: dict[str, Any]) -> bool:
    """Whether the reader has US customary units."""
    return str(getattr(context["request"].user, "units", "")) == "us"


def _figure(value: float, kind: str, digits: int, *, is_us: bool) -> str:
    """A value of a kind in the reader's units; one without a kind as it is."""
    if kind not in KINDS:
        return grouped(value, digits)
    return grouped(
        shown(value, kind, is_us=is_us), digits + (1 if is_us and kind in ("depth", "daily") else 0)
    )


def _short(value: float, kind: str, *, is_us: bool) -> str:
    """A number of a rule in the reader's units, without zeros at its end."""
    number = shown(value, kind, is_us=is_us) if kind in KINDS else value
    return f"{number:.3f}".rstrip("0").rstrip(".")


def _unit(kind: str, *, is_us: bool) -> str:
    """Unit of a kind for the reader."""
    return unit_of(kind, is_us=is_us) if kind in KINDS else kind


@register.simple_tag
def days_silent(newest: date | None) -> int:
    """Return the past days since the newest measured one, 0 within the usual lag of the services."""
    if newest is None:
        return 0
    late = (company_day(now=timezone.now()) - newest).days - 1
    return late if late > USUAL_LAG_D else 0

"""Tags and filters of the house look: marks, numbers, days and times."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, datetime, time
from typing import Any, Final

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

from fleet.models import VisitNeed
from fleet.quantities import KINDS, digits_of, shown, told, unit_of
from fleet.words import word_for

register = template.Library()
_US_UNITS: Final = {kind.unit: kind.us_unit for kind in KINDS.values()}

THIN_SPACE = "\u202f"
MINUS = "\u2212"
NO_VALUE = "\u2013"

# The five shapes of the house; every state that a page shows is one of them, with its own word.
STATES: dict[str, tuple[str, str]] = {
    "ok": ("ok", "In order"),
    "act": ("act", "Act"),
    "watch": ("watch", "Watch"),
    "few": ("few", "Too little data"),
    "rest": ("rest", "Resting"),
    "healthy": ("ok", "In order"),
    "flag": ("act", "Act"),
    "too_little_data": ("few", "Too little data"),
    "cannot_tell": ("few", "Cannot tell"),
    "no_log": ("few", "No log"),
    "no_weather": ("few", "No weather"),
    "commissioning": ("rest", "On trial"),
    "off_season": ("rest", "Off season"),
    "resting": ("rest", "Resting"),
}


def shape_of(state: str) -> str:
    """Return the shape of a state; a state that nobody named is `few`: it cannot be told."""
    return STATES.get(state, ("few", ""))[0]


def word_of(state: str) -> str:
    """Return the word of a state in sentence case."""
    return STATES.get(state, ("few", str(state).replace("_", " ").capitalize()))[1]


@register.simple_tag
def mark(state: str, word: str = "") -> SafeString:
    """Return the mark of a state alone; with `word`, the word is there for screen readers."""
    svg = format_html(
        '<svg class="mk mk-{0}" viewBox="0 0 16 16" aria-hidden="true"><use href="#m-{0}"/></svg>',
        shape_of(state),
    )
    return format_html('{}<span class="vh">{}</span>', svg, word) if word else svg


@register.simple_tag
def state_mark(state: str, word: str = "") -> SafeString:
    """Return shape, colour and word of a state; `word` replaces the state's usual word."""
    return format_html(
        '<span class="st st-{}">{}{}</span>', shape_of(state), mark(state), word or word_of(state)
    )


@register.filter
def state_word(state: str) -> str:
    """Return the word of a state."""
    return word_of(state)


@register.simple_tag
def icon(name: str, label: str = "") -> SafeString:
    """Return a small line drawing from the sprite; with `label` it is an image with that name."""
    if label:
        return format_html(
            '<svg class="ic" viewBox="0 0 16 16" role="img" aria-label="{1}"><use href="#i-{0}"/></svg>',
            name,
            label,
        )
    return format_html(
        '<svg class="ic" viewBox="0 0 16 16" aria-hidden="true"><use href="#i-{}"/></svg>', name
    )


@register.simple_tag
def becomes() -> SafeString:
    """Return the arrow between an old value and a new one."""
    return format_html(
        '<svg class="to" viewBox="0 0 14 9" role="img" aria-label="{}"><use href="#i-to"/></svg>', "becomes"
    )


def _as_float(value: object) -> float | None:
    """Return a finite float, or None for what is not a number."""
    if value is None or isinstance(value, bool):
        return None
    try:
        figure = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    return figure if math.isfinite(figure) else None


def grouped(value: object, digits: int = 0) -> str:
    """Return a number with thin-space groups, a true minus and `digits` decimals; an en dash for no value."""
    figure = _as_float(value)
    if figure is None:
        return NO_VALUE
    text = f"{abs(figure):,.{digits}f}".replace(",", THIN_SPACE)
    is_below_zero = figure < 0 and any(c in "123456789" for c in text)
    return (MINUS if is_below_zero else "") + text


@register.filter
def number(value: object, digits: int = 0) -> str:
    """Return `value` with thin-space groups and `digits` decimals."""
    return grouped(value, int(digits))


@register.filter
def with_unit(value: object, unit: str) -> str:
    """Return a ready number or text with its unit, held together by a no-break space."""
    text = value if isinstance(value, str) else grouped(value)
    return text if text == NO_VALUE else f"{text}\u00a0{unit}"


@register.filter
def percent(value: object, digits: int = 0) -> str:
    """Return a share 0-1 as a percentage."""
    figure = _as_float(value)
    return NO_VALUE if figure is None else f"{grouped(figure * 100, int(digits))}\u00a0%"


@register.filter
def minutes(value: object) -> str:
    """Return minutes as `8 min`, `1 h` or `1 h 15 min`."""
    figure = _as_float(value)
    if figure is None:
        return NO_VALUE
    hours, rest = divmod(round(figure), 60)
    parts = [f"{hours}\u00a0h"] if hours else []
    if rest or not hours:
        parts.append(f"{rest}\u00a0min")
    return " ".join(parts)


@register.filter
def day(value: date | None) -> str:
    """Return a day as `15 Jun`."""
    return NO_VALUE if value is None else f"{value.day}\u00a0{value:%b}"


@register.filter
def weekday(value: date | None) -> str:
    """Return a day as `Mon 15 Jun`."""
    return NO_VALUE if value is None else f"{value:%a} {value.day}\u00a0{value:%b}"


@register.filter
def day_long(value: date | None) -> str:
    """Return a day as `Monday 15 June`."""
    return NO_VALUE if value is None else f"{value:%A} {value.day}\u00a0{value:%B}"


@register.filter
def day_year(value: date | None) -> str:
    """Return a day as `15 Jun 2026`."""
    return NO_VALUE if value is None else f"{value.day}\u00a0{value:%b}\u00a0{value.year}"


def clock_text(value: time | datetime | int | None, *, is_12_hour: bool = False) -> str:
    """Return a time of day as `7:05` or `7:05 am`; an int is minutes after midnight."""
    if value is None:
        return NO_VALUE
    hour, minute = divmod(value % 1440, 60) if isinstance(value, int) else (value.hour, value.minute)
    if not is_12_hour:
        return f"{hour}:{minute:02d}"
    return f"{(hour + 11) % 12 + 1}:{minute:02d}\u00a0{'am' if hour < 12 else 'pm'}"


@register.simple_tag(takes_context=True)
def clock(context: dict[str, Any], value: time | datetime | int | None) -> str:
    """Return a time of day in the reader's own 24 h or 12 h form."""
    return clock_text(value, is_12_hour=not getattr(context.get("user"), "clock_24h", True))


def _told_at(context: dict[str, Any], value: datetime) -> datetime:
    """Return a stored moment on the company's clock, which is that of every page of the office."""
    return value.astimezone(zone) if (zone := getattr(context.get("frame"), "zone", None)) else value


@register.simple_tag(takes_context=True)
def on_day(context: dict[str, Any], value: datetime | None) -> str:
    """Return the day of a stored moment on the company's clock, as `15 Jun 2026`."""
    return NO_VALUE if value is None else day_year(_told_at(context, value))


@register.simple_tag(takes_context=True)
def at_moment(context: dict[str, Any], value: datetime | None) -> str:
    """Return a stored moment on the company's clock and in the reader's form, as `15 Jun 2026, 7:05`."""
    if value is None:
        return NO_VALUE
    there = _told_at(context, value)
    return f"{day_year(there)}, {clock(context, there)}"


def _is_us(context: dict[str, Any]) -> bool:
    """Return whether the reader wants US customary units."""
    return str(getattr(context.get("user"), "units", "")) == "us"


@register.simple_tag(takes_context=True)
def figure(context: dict[str, Any], value: object, kind: str, digits: int | None = None) -> str:
    """Return an SI value of a kind (see `fleet.quantities`) as a number in the reader's units."""
    plain = _as_float(value)
    is_us = _is_us(context)
    if plain is None:
        return NO_VALUE
    places = digits_of(kind, is_us=is_us) if digits is None else digits
    return grouped(shown(plain, kind, is_us=is_us), places)


@register.simple_tag(takes_context=True)
def unit(context: dict[str, Any], kind: str) -> str:
    """Return the unit of a kind of quantity for the reader."""
    return unit_of(kind, is_us=_is_us(context))


@register.simple_tag(takes_context=True)
def quantity(context: dict[str, Any], value: object, kind: str, digits: int | None = None) -> str:
    """Return an SI value with its unit, both in the reader's system."""
    return with_unit(figure(context, value, kind, digits), unit(context, kind))


@register.simple_tag(takes_context=True)
def told_reason(context: dict[str, Any], reason: str, origin: str = "") -> str:
    """Return why somebody must go, in the reader's units; what a person wrote stays as it was written."""
    return reason if origin in VisitNeed.BY_PEOPLE else told(reason, is_us=_is_us(context))


@register.simple_tag(takes_context=True)
def own_unit(context: dict[str, Any], metric: str) -> str:
    """Return the unit that the reader sees where others see a metric one."""
    return _US_UNITS.get(metric, metric) if _is_us(context) else metric


@register.simple_tag
def term(name: str) -> SafeString:
    """Return a term or its short form with its meaning on hover; an unknown one stays plain text."""
    word = word_for(name)
    if word is None:
        return format_html("{}", name)
    title = f"{word.term}: {word.meaning}" if word.short else word.meaning
    return format_html('<abbr title="{}">{}</abbr>', title, name)


@register.filter
def item(values: Mapping[Any, Any], key: object) -> object:
    """Return the value of a key, None where there is none."""
    return values.get(key)


@register.filter
def stringf(value: float) -> str:
    """Return a number as a style sheet reads it, with two digits."""
    return f"{float(value):.2f}"


@register.simple_tag
def state_mark_of(shapes: Mapping[int, str], site_id: int | None) -> SafeString:
    """Return the mark of a site by the shapes of all; a site that nobody watches has too little data."""
    return mark(shapes.get(site_id or 0, "few"))


@register.filter
def stringf6(value: float) -> str:
    """Return a coordinate as a geo URI has it (RFC 5870), to a tenth of a metre [deg]."""
    return f"{float(value):.6f}"


@register.filter
def hours(value: float) -> str:
    """Return minutes as hours with one digit."""
    return f"{float(value) / 60:.1f}\u202fh"


@register.filter
def listed(value: str) -> str:
    """Return the parts of a `;`-separated text as `a, b`."""
    return ", ".join(part.strip() for part in value.split(";") if part.strip())

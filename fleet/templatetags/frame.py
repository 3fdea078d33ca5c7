"""Tags of the frame: the index at the left, the places of the phone, the date of the data."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.access import may_see
from fleet.places import BELOW, PLACES, place_of
from fleet.selectors.frame import FrameFacts
from fleet.templatetags.rootround import day, grouped

register = template.Library()


def _here(context: dict[str, Any]) -> str:
    """Return the name of the place that the open page belongs to."""
    match = getattr(context.get("request"), "resolver_match", None)
    name = match.view_name if match else ""
    return BELOW.get(name, name)


def _role(context: dict[str, Any]) -> str:
    """Return the role of the reader; empty for a visitor."""
    return str(getattr(context.get("user"), "role", ""))


@register.inclusion_tag("parts/rail.html", takes_context=True)
def rail(context: dict[str, Any]) -> dict[str, Any]:
    """Return what the index at the left shows to this reader."""
    role, here = _role(context), _here(context)
    groups = [
        [place for name in group if (place := place_of(name, here))] for group in PLACES.get(role, ((), ()))
    ]
    return {
        "groups": [group for group in groups if group],
        "user": context.get("user"),
        "role_word": role.capitalize(),
        "csrf_token": context.get("csrf_token"),
    }


@register.inclusion_tag("parts/phone_places.html", takes_context=True)
def phone_places(context: dict[str, Any]) -> dict[str, Any]:
    """Return the places at the foot of a phone page."""
    role, here = _role(context), _here(context)
    names = PLACES.get(role, ((), ()))
    return {
        "places": [place for name in (*names[0][:3], "fleet:words") if (place := place_of(name, here))],
        "user": context.get("user"),
        "csrf_token": context.get("csrf_token"),
    }


@register.simple_tag(takes_context=True)
def may(context: dict[str, Any], name: str) -> bool:
    """Return whether the reader's role may open a view: `{% may "fleet:stop" as may_stop %}`."""
    return may_see(_role(context), name)


@register.simple_tag(takes_context=True)
def fresh(context: dict[str, Any]) -> SafeString:
    """Return how fresh the data are: `Weather to 14 Jun, 2 locations late`, and what broke last night."""
    facts = context.get("frame")
    if facts is None:
        return format_html("{}", "")
    said = [_weather(context, facts), *([_broke(context, facts)] if facts.broke else [])]
    if not facts.company:
        said.append(_unfounded(context))
    return format_html_join(" · ", "{}", ((one,) for one in said))


def _weather(context: dict[str, Any], facts: FrameFacts) -> SafeString:
    """How far the weather goes, and how far behind it is."""
    if facts.weather_to is None:
        return format_html("{}", "No weather yet")
    words = format_html("Weather to <b>{}</b>", day(facts.weather_to))
    if facts.old_days:
        old = format_html("{} days old", grouped(facts.old_days))
        words = format_html('{}, <b class="late">{}</b>', words, _led(context, "weather:page", old))
    if facts.locations_late:
        late = f"{grouped(facts.locations_late)} location{'' if facts.locations_late == 1 else 's'} late"
        words = format_html("{}, {}", words, _led(context, "weather:page", format_html("{}", late)))
    return words


def _broke(context: dict[str, Any], facts: FrameFacts) -> SafeString:
    """What the last night could not do, so that nobody takes old results for new."""
    words = format_html("Not done last night: {}", ", ".join(facts.broke))
    return format_html('<b class="late">{}</b>', _led(context, "fleet:operations", words))


def _unfounded(context: dict[str, Any]) -> SafeString:
    """That nothing runs by night yet, and where that is mended."""
    words = format_html("{}", "Nothing runs by night: no company is founded")
    return format_html('<b class="late">{}</b>', _led(context, "fleet:company", words))


def _led(context: dict[str, Any], name: str, words: SafeString) -> SafeString:
    """Words that lead to a page, where the reader may open it."""
    place = place_of(name, "") if may_see(_role(context), name) else None
    return format_html('<a href="{}">{}</a>', place.url, words) if place else words

"""Tag of the survey: what stands in a box, in the reader's units."""

from __future__ import annotations

from typing import Any

from django import template

from fleet.quantities import shown
from sites.calc.audit.survey_parts import Item

register = template.Library()


@register.simple_tag(takes_context=True)
def survey_text(context: dict[str, Any], item: Item) -> str:
    """Return the text in the box of a question; empty where the book has nothing."""
    if item.value is None:
        return ""
    if isinstance(item.value, float):
        is_us = str(getattr(context.get("user"), "units", "")) == "us"
        value = shown(item.value, item.quantity, is_us=is_us) if item.quantity else item.value
        return f"{value:.1f}".rstrip("0").rstrip(".")
    return str(item.value)

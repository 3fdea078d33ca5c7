"""Filters of the water pages."""

from __future__ import annotations

from django import template

from fleet.calc.ledger_reasons import reason_words

register = template.Library()


@register.filter
def thousandth(value: float | None) -> float | None:
    """Return litres as cubic metres."""
    return None if value is None else value / 1000.0


@register.filter
def ledger_reasons(codes: str) -> str:
    """Return stored reasons in plain words."""
    return "; ".join(reason_words(code) for code in codes.split(";") if code)

"""Filters of the water pages."""

from __future__ import annotations

from collections.abc import Sequence

from django import template

from fleet.calc.ledger.reasons import reason_words
from fleet.models import LedgerMonth
from fleet.selectors.ledger.parts import PartsPage
from fleet.selectors.ledger.reports import BookReport

register = template.Library()


@register.filter
def thousandth(value: float | None) -> float | None:
    """Return litres as cubic metres."""
    return None if value is None else value / 1000.0


@register.filter
def ledger_reasons(codes: str) -> str:
    """Return stored reasons in plain words."""
    return "; ".join(reason_words(code) for code in codes.split(";") if code)


@register.filter
def used_over_need(row: LedgerMonth) -> float | None:
    """Return a month's use over its need."""
    return row.used_l / row.need_l if row.used_l is not None and row.need_l else None


@register.filter
def papersides(report: BookReport) -> tuple[PartsPage, PartsPage]:
    """Return the two groupings of a report, one table each."""
    return report.page, report.places


@register.filter
def minus(value: float) -> float:
    """Return a number with the other sign."""
    return -value


@register.filter
def months_used(rows: Sequence[LedgerMonth]) -> float | None:
    """Return what some months used together; None where there are none."""
    return sum(row.used_l or 0.0 for row in rows) if rows else None


@register.filter
def months_need(rows: Sequence[LedgerMonth]) -> float | None:
    """Return what some months needed together; None where there are none."""
    return sum(row.need_l or 0.0 for row in rows) if rows else None

"""Days that addresses ask for."""

from __future__ import annotations

from datetime import date
from typing import Final

FIRST: Final = date(1980, 1, 1)
LAST: Final = date(2199, 12, 31)


def asked_day(text: str) -> date:
    """The day of an ISO date in an address; a `ValueError` where it is none, or one that nobody can mean."""
    day = date.fromisoformat(text)
    if not FIRST <= day <= LAST:
        raise ValueError(f"{text} lies outside {FIRST} to {LAST}")
    return day


def asked_day_or_none(text: str | None) -> date | None:
    """The day of an ISO date in an address; None where it is none, or one that nobody can mean."""
    try:
        return asked_day(text or "")
    except ValueError:
        return None

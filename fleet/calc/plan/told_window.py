"""The hours that a customer is told, and the words for it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

# A person planned for 9:40 is announced for 9:00 to 11:00 (common practice, no source: two hours).
WIDTH: Final = timedelta(hours=2)
BEFORE: Final = timedelta(minutes=30)
STEP_MIN: Final = 30


def window_around(arrive: datetime) -> tuple[datetime, datetime]:
    """Hours to tell for a planned arrival: two hours that begin on a half hour.

    Parameters
    ----------
    arrive
        Planned arrival, aware, in the zone in which it is told [-].
    """
    start = arrive - BEFORE
    start -= timedelta(minutes=start.minute % STEP_MIN, seconds=start.second, microseconds=start.microsecond)
    return start, start + WIDTH


def told_text(*, site_name: str, company: str, technician: str, window: tuple[str, str], day: str) -> str:
    """Text to read out or to send when a window is set.

    Parameters
    ----------
    site_name
        Name of the garden, as the customer knows it [-].
    company, technician
        Who comes, as names [-].
    window
        Begin and end of the hours, as clock texts [-].
    day
        The day in words [-].
    """
    return (
        f"This is {company}. {technician} will come to {site_name} on {day}, between {window[0]} and "
        f"{window[1]}. Nobody has to be at home if the controller and the garden can be reached. "
        "Please tell us if a gate is locked, a dog is in the garden, or the hours do not suit you."
    )

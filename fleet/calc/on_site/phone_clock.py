"""When something was done that a phone with a clock of its own tells of later."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

# A phone's clock that is off by less than this is taken as right: sending itself takes a while [s].
RIGHT_WITHIN_S: Final = 90.0


@dataclass(frozen=True, slots=True)
class Moments:
    """By how much the phone's clock is ahead of ours [s], and when it was done by ours."""

    skew_s: float
    happened_at: datetime


def moments(said_at: datetime, sent_at: datetime, received_at: datetime) -> Moments:
    """Moments of a deed that was told later; never after it was received [s].

    Parameters
    ----------
    said_at
        When it was done, by the phone's clock.
    sent_at
        When it was sent, by the phone's clock.
    received_at
        When it came, by ours.
    """
    skew_s = (sent_at - received_at).total_seconds()
    moved = skew_s if abs(skew_s) >= RIGHT_WITHIN_S else 0.0
    try:
        happened = said_at - timedelta(seconds=moved)
    except OverflowError:
        happened = received_at
    return Moments(skew_s, min(happened, received_at))


def skew_words(skew_s: float) -> str:
    """How wrong the phone's clock is, in words; empty where it is right enough [s]."""
    if abs(skew_s) < RIGHT_WITHIN_S:
        return ""
    minutes = round(abs(skew_s) / 60)
    hours, rest = divmod(minutes, 60)
    span = f"{hours} h {rest} min" if hours else f"{rest} min"
    return f"The phone's clock is {span} {'ahead' if skew_s > 0 else 'behind'}."

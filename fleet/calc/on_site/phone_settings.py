"""Numbers behind the technician's phone that a company may change, each with unit, default and meaning."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Final


@dataclass(frozen=True, slots=True)
class PhoneSettings:
    """Settings of the phone; none has a published source.

    Parameters
    ----------
    days_back, days_ahead
        How far from today a technician sees the own visits and their gardens [d].
    kept_hours
        How long a day stays on a phone without network [h].
    photo_px
        Longest side of a photo that is kept [px].
    photo_mb
        Largest file that is taken as a photo [MB].
    photo_positions
        1: the place where a photo was taken is kept; 0: it is removed [1].
    report_days
        How long a customer's link to a report opens [d].
    sent_late_days
        How old a stop may be for which a phone still sends something [d].
    """

    days_back: float = 7.0
    days_ahead: float = 1.0
    kept_hours: float = 36.0
    photo_px: float = 1600.0
    photo_mb: float = 15.0
    photo_positions: float = 0.0
    report_days: float = 30.0
    sent_late_days: float = 30.0

    def __post_init__(self) -> None:
        for one in fields(self):
            if not getattr(self, one.name) >= 0:
                raise ValueError(f"{one.name} is {getattr(self, one.name)}, expected 0 or more")


PREFIX: Final = "phone."


def phone_settings(changed: Mapping[str, object]) -> PhoneSettings:
    """Settings with the company's own numbers in place of defaults; each unit is in its text.

    Parameters
    ----------
    changed
        Number by name; names of this module stand as `phone.days_back`, others are not looked at.
    """
    known = {one.name for one in fields(PhoneSettings)}
    own: dict[str, float] = {}
    for name, value in changed.items():
        bare = name.removeprefix(PREFIX)
        if name.startswith(PREFIX) and bare in known and isinstance(value, int | float):
            own[bare] = float(value)
    return replace(PhoneSettings(), **own)

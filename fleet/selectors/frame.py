"""The few facts in the frame of every page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.models import Company, User
from weather.models import Location


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """Company name, role, newest day of the weather and how many locations lag behind it."""

    company: str
    role: str
    weather_to: date | None
    locations_late: int


def frame_facts(*, user: User) -> FrameFacts:
    """What the frame shows to this user."""
    company = Company.objects.only("name").first()
    newest_days = list(Location.objects.order_by().values_list("newest_day", flat=True))
    newest_day = max((day for day in newest_days if day is not None), default=None)
    late = sum(1 for day in newest_days if day != newest_day)
    return FrameFacts(
        company=company.name if company else "", role=user.role, weather_to=newest_day, locations_late=late
    )

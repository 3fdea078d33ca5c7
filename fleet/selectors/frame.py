"""The few facts in the frame of every page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Max

from fleet.models import Company, User
from weather.models import DailyWeather, Location


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
    newest = dict(
        DailyWeather.objects.filter(kind=DailyWeather.Kind.OBSERVED)
        .order_by()
        .values_list("location_id")
        .annotate(newest=Max("day"))
    )
    newest_day = max(newest.values(), default=None)
    late = sum(1 for day in newest.values() if day < newest_day) if newest_day else 0
    late += Location.objects.count() - len(newest)
    return FrameFacts(
        company=company.name if company else "", role=user.role, weather_to=newest_day, locations_late=late
    )

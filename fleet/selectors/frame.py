"""The few facts in the frame of every page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fleet.calc.stage_words import NIGHT_WORDS
from fleet.models import Company, StageRun, User
from weather.models import Location

# Weather is measured to yesterday, and services are a day or two behind; older than this, pages say so.
USUAL_AGE_D: Final = 3
NIGHT: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class FrameFacts:
    """Company name and clock, role, newest day of the weather, how old and uneven it is, what broke."""

    company: str
    zone: ZoneInfo
    role: str
    weather_to: date | None
    locations_late: int
    old_days: int  # 0: as fresh as usual
    broke: tuple[str, ...]  # stages, in words


def frame_facts(*, user: User, now: datetime) -> FrameFacts:
    """What the frame shows to this user."""
    company = Company.objects.only("name", "timezone", "demo_today").first()
    newest_days = list(Location.objects.order_by().values_list("newest_day", flat=True))
    newest_day = max((day for day in newest_days if day is not None), default=None)
    late = sum(1 for day in newest_days if day != newest_day)
    today = _today(company, now)
    age = (today - newest_day).days if newest_day else 0
    broke = set(
        StageRun.objects.filter(
            state=StageRun.State.FAILED, day__gte=today - NIGHT, stage__in=NIGHT_WORDS
        ).values_list("stage", flat=True)
    )
    return FrameFacts(
        company=company.name if company else "",
        zone=ZoneInfo(company.timezone if company else "UTC"),
        role=user.role,
        weather_to=newest_day,
        locations_late=late,
        old_days=age if age > USUAL_AGE_D else 0,
        broke=tuple(words for stage, words in NIGHT_WORDS.items() if stage in broke),
    )


def _today(company: Company | None, now: datetime) -> date:
    """The company's day."""
    if company is None:
        return now.date()
    return company.demo_today or now.astimezone(ZoneInfo(company.timezone)).date()

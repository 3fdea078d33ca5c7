"""What is there already on the first day, so that the page can say what to do next."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.models import Company, Technician, User
from sites.models import BypassLog, ProgramSet, Site
from weather.models import DailyWeather


@dataclass(frozen=True, slots=True)
class FirstDay:
    """Which of the things that every page needs are there."""

    company: str
    sites: int
    has_weather: bool
    has_programs: bool
    has_logs: bool
    technicians: int
    accounts: int


def has_sites() -> bool:
    """Return whether the book has any site."""
    return Site.objects.exists()


def first_day() -> FirstDay:
    """Return what is there and what is missing."""
    company = Company.objects.only("name").first()
    return FirstDay(
        company=company.name if company else "",
        sites=Site.objects.count(),
        has_weather=DailyWeather.objects.exists(),
        has_programs=ProgramSet.objects.exists(),
        has_logs=BypassLog.objects.exists(),
        technicians=Technician.objects.count(),
        accounts=User.objects.filter(is_active=True).count(),
    )

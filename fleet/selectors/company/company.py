"""The company, and which day it has."""

from __future__ import annotations

from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from django.db.models import Max, Min

from fleet.models import Company, Route, Stop


def the_company() -> Company | None:
    """Return the company of this installation; None before its first day."""
    # The ground of the map is long; only the map asks for it.
    return Company.objects.defer("map_layers").first()


def company_day(*, now: datetime) -> date:
    """Return the day that counts as today: of the company's clock, or the demo's fixed day."""
    company = Company.objects.only("timezone", "demo_today").first()
    if company is None:
        return now.date()
    return company.demo_today or now.astimezone(ZoneInfo(company.timezone)).date()


def company_hour(*, now: datetime) -> int:
    """Return the hour of the company's clock."""
    company = Company.objects.only("timezone").first()
    return now.astimezone(ZoneInfo(company.timezone)).hour if company else now.hour


def has_fixed_day() -> bool:
    """Return whether today is the demo's fixed day, so that the hour of the clock says nothing."""
    company = Company.objects.only("demo_today").first()
    return company is not None and company.demo_today is not None


def company_moment(*, now: datetime) -> datetime:
    """Return the moment from which today is planned: the clock, or where the demo's fixed day stands.

    A fixed day stands at the last thing that a technician reported on it, else at its first departure.
    """
    company = Company.objects.only("timezone", "demo_today").first()
    if company is None or company.demo_today is None:
        return now
    stops = Stop.objects.filter(route__day=company.demo_today)
    last = stops.exclude(state=Stop.State.AHEAD).aggregate(last=Max("state_at"))["last"]
    first = Route.objects.filter(day=company.demo_today).aggregate(first=Min("start_at"))["first"]
    morning = datetime.combine(company.demo_today, time(7, 30), tzinfo=ZoneInfo(company.timezone))
    moment: datetime = last or first or morning
    return moment

"""Speed and memory of storing and filling weather for a large book. Prints figures, asserts no time.

Ten thousand sites share their locations: 200 of them are a grid of half a degree over a state.
"""

from __future__ import annotations

import resource
import time
from datetime import UTC, date, datetime, timedelta

import pytest

from tests.weather.new_days import DAY, new_day
from weather.calc.new_days import NewDay, NewPlace
from weather.models import DailyWeather, Location
from weather.services.fill_weather import fill_weather
from weather.services.record_daily_weather import record_daily_weather

LOCATIONS = 200
DAYS = 400
NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)

pytestmark = [pytest.mark.benchmark, pytest.mark.django_db]


def invented(first: date, count: int) -> list[NewDay]:
    """Days of all locations; every ninth lacks its sun, every eleventh day in three places its wind."""
    places = [
        NewPlace(f"P{n:03}", 38.0 + 0.5 * (n // 20), -108.0 + 0.5 * (n % 20), 1500.0, is_grid=n % 4 > 0)
        for n in range(LOCATIONS)
    ]
    days = []
    for n, place in enumerate(places):
        for at in range(count):
            lacking = {"solar_mj_m2": None} if n % 9 == 0 else {}
            lacking |= {"wind_m_s": None} if n % 3 == 0 and at % 11 == 0 else {}
            days.append(new_day(place, first + timedelta(days=at), **lacking))
    return days


def test_first_pull_nightly_pull_and_filling_anew(capsys: pytest.CaptureFixture[str]) -> None:
    spent = {}
    first = DAY - timedelta(days=DAYS - 1)
    whole = invented(first, DAYS)
    night = invented(DAY - timedelta(days=6), 8)
    for name, days in (("first pull", whole), ("nightly pull", night)):
        start = time.perf_counter()
        record_daily_weather(days=days, source="nasa_power", now=NOW)
        spent[name] = time.perf_counter() - start
    start = time.perf_counter()
    fill_weather(since=dict.fromkeys(Location.objects.values_list("pk", flat=True), date.min), now=NOW)
    spent["filling anew, nothing changed"] = time.perf_counter() - start

    rows = DailyWeather.objects.count()
    with capsys.disabled():
        lines = [f"{name:32} {seconds:6.1f} s" for name, seconds in spent.items()]
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(  # noqa: T201
            f"\n{LOCATIONS} locations x {DAYS} days, {rows:,} rows:",
            *lines,
            f"peak of the process {peak:.0f} MB",
            sep="\n  ",
        )
    assert rows == LOCATIONS * (DAYS + 1)

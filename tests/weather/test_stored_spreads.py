"""Spreads in the store and on the pages: every value has one, in the reader's units; old days get theirs."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any

import numpy as np
import pytest
from django.apps import apps
from django.test import Client

from fleet.models import Company, User
from tests.weather.new_days import DAY, FORD, HILL, new_day, run_of_days
from weather.calc.spread_rules import SPREAD_COLUMN, TOLD, USED_COLUMN
from weather.day_status import day_rows
from weather.models import DailyWeather, Location
from weather.services.fill_weather import fill_weather
from weather.services.pull_weather import close_pull
from weather.services.record_daily_weather import record_daily_weather
from weather.services.refill_weather import refill_weather
from weather.stored_spreads import spread_of, value_of

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)
SignIn = Callable[[User], Client]

pytestmark = pytest.mark.django_db


def record(days: list[Any], source: str = "file a.csv") -> None:
    record_daily_weather(days=days, source=source, now=NOW)


def words(html: str) -> str:
    """What a reader sees, on one line."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html))


@pytest.fixture
def mixed(company: Company) -> None:
    """A station, a grid point that lacks its sun and one day of wind, and a forecast of both."""
    record(run_of_days(40, FORD))
    hill = run_of_days(40, HILL, solar_mj_m2=None, end=DAY)
    hill[-3] = new_day(HILL, DAY - 2 * ONE, solar_mj_m2=None, wind_m_s=None, rain_mm=None)
    record(hill, "nasa_power")
    for place in (FORD, HILL):
        record([new_day(place, DAY + n * ONE, issued=DAY) for n in range(1, 7)], "nws")


def test_every_stored_value_carries_a_spread(mixed: None) -> None:
    for row in DailyWeather.objects.all():
        for name in TOLD[:-1]:
            assert (value_of(row, name) is None) == (spread_of(row, name) is None), (row, name)
        assert (row.rain_used_mm is None) == (row.rain_sd_mm is None)
        assert (row.eto_mm is None) == (row.eto_sd_mm is None)


def test_what_was_put_in_is_stored_beside_what_came(mixed: None) -> None:
    hill = Location.objects.get(name=HILL.name)
    row = DailyWeather.objects.get(location=hill, day=DAY - 2 * ONE, kind="observed")
    ford = DailyWeather.objects.get(location__name=FORD.name, day=row.day, kind="observed")

    assert (row.solar_mj_m2, row.wind_m_s) == (None, None)
    assert row.filled == "wind_m_s:neighbour solar_mj_m2:neighbour rain_mm:nearby"
    assert row.solar_used_mj_m2 == pytest.approx(ford.solar_mj_m2, abs=0.01)
    assert row.wind_used_m_s == pytest.approx(ford.wind_m_s, rel=0.2)
    assert row.solar_sd_mj_m2 > ford.solar_sd_mj_m2  # type: ignore[operator]
    assert (row.tmax_used_c, ford.solar_used_mj_m2) == (None, None)
    assert (row.tmax_sd_k, ford.tmax_sd_k) == (2.0, 0.5)


def test_a_forecasts_spreads_grow_with_lead_and_its_parts_with_them(mixed: None) -> None:
    rows = DailyWeather.objects.filter(location__name=FORD.name, kind="forecast").order_by("day")

    for name in ("tmin_c", "tmax_c", "tdew_c"):
        assert [getattr(row, SPREAD_COLUMN[name]) for row in rows] == pytest.approx(
            [2.1, 2.4, 2.7, 3.0, 3.3, 3.6]
        )


def test_parts_are_made_from_what_is_stored(mixed: None) -> None:
    hill = Location.objects.get(name=HILL.name)
    days = day_rows(location=hill, start=DAY - 9 * ONE, end=DAY + 7 * ONE)

    assert len(days) == 16
    for day in days:
        parts = [mm for _, mm in day.spread_parts]
        assert np.linalg.norm(parts) == pytest.approx(day.eto_sd_mm, abs=0.001)
    # The store is the only truth: another stored spread is another part.
    before = dict(days[-1].spread_parts)["wind"]
    DailyWeather.objects.filter(location=hill).update(wind_sd_m_s=5.0)
    again = day_rows(location=hill, start=DAY - 9 * ONE, end=DAY + 7 * ONE)
    assert dict(again[-1].spread_parts)["wind"] > before


def test_days_of_before_get_their_spreads_with_the_next_pull(mixed: None) -> None:
    wanted = list(DailyWeather.objects.order_by("pk").values())
    spreads = (*SPREAD_COLUMN.values(), *USED_COLUMN.values())
    DailyWeather.objects.update(**dict.fromkeys(spreads), eto_sd_mm=0.5)
    Location.objects.update(stale_from=None)

    migration = import_module("weather.migrations.0003_spreads_of_values")
    migration.mark_all_days(apps, None)
    marked = set(Location.objects.values_list("refill_from", flat=True))
    close_pull(points=(), reports=(), today=DAY + ONE, now=NOW)

    assert marked == {DAY - 39 * ONE}
    assert list(DailyWeather.objects.order_by("pk").values()) == wanted
    assert set(Location.objects.values_list("refill_from", flat=True)) == {None}
    # What rests on them is computed again.
    assert set(Location.objects.values_list("stale_from", flat=True)) == {DAY - 39 * ONE}
    assert refill_weather(now=NOW).rows == 0


def test_a_batch_that_breaks_off_keeps_its_marks(mixed: None, monkeypatch: pytest.MonkeyPatch) -> None:
    Location.objects.update(refill_from=DAY - 5 * ONE)
    DailyWeather.objects.update(tmax_sd_k=None)
    monkeypatch.setattr("weather.services.refill_weather.LOCATIONS_AT_ONCE", 1)
    calls = []

    def breaking(**given: Any) -> Any:
        calls.append(given)
        if len(calls) == 3:
            raise RuntimeError("the power went")
        return original(**given)

    original = fill_weather
    monkeypatch.setattr("weather.services.refill_weather.fill_weather", breaking)
    with pytest.raises(RuntimeError, match="power"):
        refill_weather(now=NOW)
    left = Location.objects.exclude(refill_from=None).count()
    monkeypatch.setattr("weather.services.refill_weather.fill_weather", original)
    refill_weather(now=NOW)

    assert left == 1
    assert not Location.objects.exclude(refill_from=None).exists()
    assert not DailyWeather.objects.filter(tmax_sd_k=None, day__gte=DAY - 5 * ONE).exists()


def test_the_page_shows_each_value_with_its_spread(mixed: None, dispatcher: User, sign_in: SignIn) -> None:
    hill = Location.objects.get(name=HILL.name)

    html = sign_in(dispatcher).get(f"/weather/?location={hill.pk}").content.decode()

    text = words(html)
    assert "27.0 ± 2.0" in text or "28.6 ± 2.0" in text
    assert html.count('class="stand"') > 30
    assert html.count('class="p-whisk"') >= 4
    assert "Rodrigues and Braga 2021" in text
    assert "1.8 °C + 0.3 °C a day ahead" in text


def test_a_spread_of_temperature_has_no_offset_in_fahrenheit(
    mixed: None, dispatcher: User, sign_in: SignIn
) -> None:
    dispatcher.units = "us"
    dispatcher.save()
    hill = Location.objects.get(name=HILL.name)
    row = DailyWeather.objects.get(location=hill, day=DAY, kind="observed")

    html = words(sign_in(dispatcher).get(f"/weather/?location={hill.pk}").content.decode())
    day = words(sign_in(dispatcher).get(f"/weather/locations/{hill.pk}/{DAY}/").content.decode())

    assert row.tmax_c is not None
    assert f"{row.tmax_c * 1.8 + 32.0:.1f} ± 3.6" in html  # 2 K are 3.6 F, not 35.6
    assert f"{row.tmax_c * 1.8 + 32.0:.1f} °F ± 3.6" in day
    assert "0.9 °F" in html  # a station's 0.5 K among the rules
    assert "33.8" not in re.findall(r"± (\d+\.\d)", html)


def test_the_day_view_tells_every_value_and_what_it_brings(
    mixed: None, dispatcher: User, sign_in: SignIn
) -> None:
    hill = Location.objects.get(name=HILL.name)

    text = words(sign_in(dispatcher).get(f"/weather/locations/{hill.pk}/{DAY - 2 * ONE}/").content.decode())

    assert "Wind from neighbouring locations ◇" in text
    assert "Rain from a gauge nearby" in text
    assert re.search(r"Solar radiation from neighbouring locations ◇ ?\d+\.\d MJ/m² ± \d\.\d \d\.\d\d", text)
    assert "The equation itself 0.15" in text

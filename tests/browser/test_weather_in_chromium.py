"""The weather page in a real Chromium: map, order of sources, a day in doubt; on desk and phone."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from fleet.models import Company, User
from sites.models import Site
from sites.selectors.balance import balance_days
from sites.selectors.zones import zone_table
from sites.services.balance import update_balance
from tests.browser.test_pages_in_chromium import CHROMIUM, FLAGS, PASSWORD, Visitor
from tests.factories import build_controller, build_site, build_zone
from tests.weather.new_days import DAY, FORD, HILL, new_day, run_of_days
from weather.calc.new_days import NewPlace
from weather.models import DailyWeather, Location, SourceOrder
from weather.services.record_daily_weather import record_daily_weather

NOW = datetime(2026, 6, 16, 6, tzinfo=UTC)
ONE = timedelta(days=1)
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: browser tests are skipped"),
]


@pytest.fixture
def sky(transactional_db: None) -> None:
    """Two locations told by two sources, past forecasts, and a garden with its balance."""
    Company.objects.create(
        pk=1, name="Marlow & Finch Garden Water", timezone="America/Denver", demo_today=DAY
    )
    User.objects.create_user(username="hana", password=PASSWORD, role=User.Role.DISPATCHER)
    for place in (FORD, HILL):
        record_daily_weather(days=run_of_days(40, place), source="nasa_power", now=NOW)
    record_daily_weather(days=[new_day(rain_mm=4.0)], source="ncei", now=NOW)
    foretold = [new_day(day=DAY - ONE + n * ONE, issued=DAY - ONE) for n in range(5)]
    record_daily_weather(days=foretold, source="nws", now=NOW)
    site = build_site("CB-1", location=Location.objects.get(name=FORD.name))
    build_zone(build_controller(site, governed=False), 1)
    update_balance(until_day=DAY)


@pytest.fixture
def chromium() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield browser
        browser.close()


def test_an_order_is_changed_and_a_day_is_doubted_with_the_mouse(
    sky: None, live_server: Any, chromium: Any
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", (1440, 900))
    page = hana.page
    hana.open("/weather/")
    page.wait_for_selector(".skymap .map[data-ready=yes]")

    rain = page.locator("table.orders tr", has_text="Rain")
    rain.get_by_text("Change").click()
    rain.locator("select[name=source]").nth(0).select_option("nasa_power")
    rain.locator("select[name=source]").nth(1).select_option("ncei")
    rain.locator("select[name=source]").nth(2).select_option("")
    rain.locator("select[name=for]").select_option("all")
    with page.expect_navigation():
        rain.get_by_role("button", name="Set the order").click()
    page.wait_for_load_state("networkidle")

    assert "put together anew" in page.locator("main").inner_text()
    assert SourceOrder.objects.get().sources == "nasa_power ncei"
    assert DailyWeather.objects.get(location__name=FORD.name, day=DAY, kind="observed").rain_used_mm == 0.0

    with page.expect_navigation():
        page.get_by_role("link", name="What if").click()
    page.wait_for_load_state("networkidle")
    page.fill("#f-rain", "6")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.wait_for_load_state("networkidle")

    assert "CB-1" in page.locator("table.tbl", has_text="Garden").inner_text()
    assert hana.violations() == []
    assert hana.complaints == []
    assert hana.outside == []


@pytest.mark.parametrize(("size", "theme"), [((1440, 900), "dark"), ((390, 844), "light")])
def test_the_page_keeps_the_guidelines_and_its_width(
    sky: None, live_server: Any, chromium: Any, size: tuple[int, int], theme: str
) -> None:
    hana = Visitor(chromium, live_server.url, "hana", size, theme)
    pk = Location.objects.get(name=FORD.name).pk
    problems = {}
    for path in ("/weather/", f"/weather/locations/{pk}/{DAY}/?rain=6"):
        hana.open(path)
        hana.page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        if found := hana.violations():
            problems[path] = found
        assert hana.page.evaluate("document.documentElement.scrollWidth") <= size[0], path

    assert problems == {}
    assert hana.complaints == []


def test_a_garden_takes_the_rain_of_its_own_gauge_and_says_where_it_was_silent(
    sky: None, live_server: Any, chromium: Any
) -> None:
    gauge = NewPlace("CB-1", 41.21, -104.7, 1500.0)
    bare = dict.fromkeys(("tmin_c", "tmax_c", "tdew_c", "wind_m_s", "solar_mj_m2"))
    days = [new_day(gauge, DAY - n * ONE, rain_mm=None if n in (2, 3) else 6.0, **bare) for n in range(30)]
    record_daily_weather(days=days, source="file gauge.csv", now=NOW)
    Site.objects.update(latitude=41.21, longitude=-104.7)
    hana = Visitor(chromium, live_server.url, "hana", (390, 844))
    page = hana.page
    hana.open("/sites/CB-1/")
    panel = page.locator("section", has=page.locator("#hrain"))
    assert "Alder Ford, its location" in panel.inner_text()

    panel.locator("select").select_option("own")
    with page.expect_navigation():
        panel.get_by_role("button", name="Take this rain").click()
    page.wait_for_load_state("networkidle")

    assert "Rain comes from its own gauge (now CB-1)" in page.locator("main").inner_text()
    text = panel.inner_text().replace("\xa0", " ")
    assert "CB-1, its own gauge" in text
    assert "15 Jun 2026: 6.0 mm" in text
    assert "told nothing on 2 of the last 60 days" in text
    panel.get_by_text("These days", exact=True).click()
    assert "12 Jun: 0.0 mm ±" in panel.inner_text().replace("\xa0", " ")
    update_balance(until_day=DAY)
    table = zone_table()
    kept = balance_days(zone_ids=table.zone_id, start=DAY - 3 * ONE, end=DAY + ONE).rain_mm[:, 0]
    assert kept.tolist() == [0.0, 0.0, 6.0, 6.0]
    hana.open("/sites/CB-1/")
    page.get_by_text("Table of the days").click()
    rows = page.locator("table.zones tr", has_text="location’s")
    assert rows.count() == 2
    assert hana.violations() == []
    assert hana.complaints == []

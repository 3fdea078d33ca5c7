"""Budgets that agencies ask for, of a garden with a known year."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client

from fleet.models import Company, User
from fleet.selectors.water_budget import site_budget
from sites.models import Site
from tests.factories import build_controller, build_location, build_site, build_zone
from weather.models import DailyWeather

pytestmark = pytest.mark.django_db
DAY = date(2026, 6, 15)


@pytest.fixture
def garden(company: Company) -> Site:
    """Spray on 100 m2 (KL 0.8) and drip on 60 m2 (KL 0.5), 4 mm of reference ET on each of 365 days."""
    location = build_location()
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location, day=DAY - timedelta(days=n), issued=DAY - timedelta(days=n), source="test",
            fetched_at=datetime(2026, 6, 15, tzinfo=UTC), eto_mm=4.0, eto_sd_mm=0.3, rain_used_mm=0.0,
            rain_sd_mm=0.1,
        )
        for n in range(1, 366)
    )  # fmt: skip
    site = build_site(location=location)
    controller = build_controller(site)
    build_zone(controller, 1, area_m2=100.0, landscape_coefficient=0.8)
    build_zone(controller, 2, area_m2=60.0, landscape_coefficient=0.5, head="dripline", plant="shrubs")
    return site


def test_the_budget_is_the_ordinances_formula_on_the_gardens_own_year(garden: Site) -> None:
    found = site_budget(site=garden, day=DAY)

    # 23 CCR 492: MAWA = ETo x 0.55 x LA; ETWU = ETo x sum(PF / IE x HA), 0.75 overhead and 0.81 drip.
    assert found is not None
    assert found.reference_et_mm == pytest.approx(1460.0)
    assert found.allowed_l == pytest.approx(1460.0 * 0.55 * 160.0)
    assert found.estimated_l == pytest.approx(1460.0 * (0.8 / 0.75 * 100.0 + 0.5 / 0.81 * 60.0))
    assert found.adjustment == pytest.approx((0.8 / 0.75 * 100.0 + 0.5 / 0.81 * 60.0) / 160.0)
    assert found.peak_month_l == pytest.approx(0.70 * 4.0 * 31 * 160.0)
    assert not found.is_within


def test_without_a_year_of_weather_there_is_no_budget(garden: Site) -> None:
    DailyWeather.objects.filter(day__lt=DAY - timedelta(days=300)).delete()

    assert site_budget(site=garden, day=DAY) is None


def test_the_page_of_a_gardens_water_shows_the_budgets(
    garden: Site, manager: User, sign_in: Callable[[User], Client]
) -> None:
    page = sign_in(manager).get(f"/water/sites/{garden.code}/").content.decode()

    assert "Budgets that agencies ask for" in page
    assert "of reference ET in the last year" in page
    assert "average factor 0.90 of 0.55" in page

"""Budgets that agencies ask for, of a garden with a known year."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client

from fleet.models import Company, Rebate, User
from fleet.selectors.ledger.water_budget import site_budget
from sites.models import Site, Zone
from tests.factories import build_controller, build_location, build_site, build_zone
from weather.calc.units import inches_to_mm, square_feet_to_m2
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


def residence(garden: Site) -> None:
    """The residential worksheet of a public form of 2021 as a garden: 43.0 in, four hydrozones."""
    DailyWeather.objects.update(eto_mm=inches_to_mm(43.0) / 365.0)
    Zone.objects.filter(controller__site=garden).delete()
    controller = garden.controllers.get()
    rows = ((204, 0.5, "dripline"), (1310, 0.2, "dripline"), (677, 0.8, "spray"), (194, 0.2, "dripline"))
    for station, (area_ft2, factor, head) in enumerate(rows, 1):
        build_zone(
            controller, station, area_m2=float(square_feet_to_m2(area_ft2)), landscape_coefficient=factor,
            head=head, name=f"<b>zone {station}",
        )  # fmt: skip


def test_worksheet_of_a_public_form_row_by_row(garden: Site) -> None:
    residence(garden)

    found = site_budget(site=garden, day=DAY)

    # printed: ETAF 0.617 0.247 1.067 0.247; uses 3,355.64 8,626.38 19,258.09 1,277.49 gal with 0.62
    assert found is not None
    assert [round(row.adjustment, 3) for row in found.rows] == [0.617, 0.247, 1.067, 0.247]
    printed = [row.used_l / 3.785411784 * 0.62 / 0.623377 for row in found.rows]
    assert printed == pytest.approx([3355.64, 8626.38, 19258.09, 1277.49], rel=1e-3)
    assert [row.method for row in found.rows] == ["drip", "drip", "overhead", "drip"]
    assert sum(row.used_l for row in found.rows) == pytest.approx(found.estimated_l)
    assert found.weighed_m2 / found.area_m2 == pytest.approx(found.adjustment)
    assert found.adjustment == pytest.approx(0.511, abs=0.0006)
    assert found.is_within


def test_dossier_holds_the_worksheet_in_the_forms_units(
    garden: Site, manager: User, sign_in: Callable[[User], Client]
) -> None:
    residence(garden)
    Site.objects.update(supplier="Wend Valley Water")
    rebate = Rebate.objects.create(
        name="Sensor rebate", supplier="Wend Valley Water", starts_on=DAY - timedelta(days=300),
        ends_on=DAY + timedelta(days=300), amount=150, currency="USD", checked_on=DAY,
    )  # fmt: skip
    manager.units = "us"
    manager.save()

    page = sign_in(manager).get(f"/water/rebates/{rebate.pk}/{garden.code}/").content.decode()
    Zone.objects.all().delete()
    bare = sign_in(manager).get(f"/water/rebates/{rebate.pk}/{garden.code}/").content.decode()

    assert "Water budget worksheet" in page
    for cell in (">677<", ">722<", ">1.07<", "ETWU does not exceed MAWA"):  # 677 ft2 x 1.067
        assert cell in page, cell
    assert "&lt;b&gt;zone 1" in page
    assert "Cannot be filled in: it needs zones" in bare

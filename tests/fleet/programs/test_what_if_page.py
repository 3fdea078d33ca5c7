"""The what-if page: every field changes the answer, nothing is written, bad input is named."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from fleet.selectors.programs.what_if import WhatIf, what_if
from sites.models import Change, Controller, Recommendation, Sensor
from sites.services.balance import update_balance
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.sites.search.test_weekly_round_service import fill, set_program

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


@pytest.fixture
def garden() -> Controller:
    location = build_location()
    for year in range(2021, 2026):
        fill(location, date(year, 6, 10), date(year, 7, 20))
    fill(location, date(2026, 4, 10), date(2026, 6, 14))
    controller = build_controller(build_site(location=location, address="12 Bell Yard"), station_count=6)
    build_zone(controller, 1)
    build_zone(controller, 2)
    build_zone(controller, 3, plant="shrubs", head="dripline")
    build_sensor(controller, 2)
    set_program(controller, [(1, 25), (2, 25), (3, 60)], starts="04:00;06:00;21:00")
    update_balance(until_day=date(2026, 6, 14))
    return controller


def ask(controller: Controller, **asked: str) -> WhatIf:
    found = what_if(controller=controller, today=TODAY, asked=asked, with_ways=False)
    assert found is not None
    return found


def test_nothing_asked_changes_nothing(garden: Controller) -> None:
    found = ask(garden)

    assert not found.is_changed
    assert found.columns[1].figures == found.columns[2].figures
    assert all(not step.is_change for letter in found.letters for step in letter.steps)
    assert found.columns[0].figures is not None


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"threshold": "24"}, "threshold 24 kPa"),
        ({"governing": "1"}, "sensor at station 1 instead of 2"),
        ({"head1": "rotary_nozzle"}, "station 1 with rotary nozzle"),
        ({"stage": "one"}, "one day a week"),
        ({"opens": "02:00", "closes": "03:00"}, "hours 02:00 to 03:00"),
    ],
)
def test_each_field_changes_the_program(garden: Controller, asked: dict[str, str], words: str) -> None:
    found = ask(garden, **asked)

    assert found.changes == (words,)
    assert found.columns[1] != found.columns[2]
    assert found.problems == ()


def test_fewer_days_bring_more_stress_and_a_ban_no_program(garden: Controller) -> None:
    week, ban = ask(garden, stage="one"), ask(garden, stage="ban")
    best, one = week.columns[1].figures, week.columns[2].figures

    assert best is not None
    assert one is not None
    assert one.dry_days > best.dry_days
    assert ban.columns[2].figures is None
    assert ban.columns[2].note == "nothing may run"


@pytest.mark.parametrize(
    "asked",
    [
        {"threshold": "9"},
        {"threshold": "wet"},
        {"threshold": "nan"},
        {"governing": "7"},
        {"governing": "²"},
        {"head2": "hose"},
        {"opens": "02:00"},
        {"opens": "25:00", "closes": "26:00"},
    ],
)
def test_what_cannot_be_read_is_named_and_counts_as_unchanged(
    garden: Controller, asked: dict[str, str]
) -> None:
    found = ask(garden, **asked)

    assert len(found.problems) == 1
    assert not found.is_changed


def test_the_page_answers_whole_and_in_part_and_writes_nothing(garden: Controller) -> None:
    Company.objects.create(pk=1, name="Test", demo_today=TODAY)
    user = User.objects.create_user(username="hana", password="garden-water-42", role=User.Role.DISPATCHER)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    before = (Change.objects.count(), Sensor.objects.get().threshold_kpa, Recommendation.objects.count())
    address = reverse("fleet:what-if", args=[garden.site.code, garden.code])

    whole = client.get(address, {"stage": "one"}).content.decode()
    part = client.get(address, {"stage": "one", "part": "answer"}).content.decode()

    assert "Ways out" in whole or "Nothing here is written" in whole
    assert "<html" in whole
    assert "<html" not in part
    assert "one day a week" in part
    after = (Change.objects.count(), Sensor.objects.get().threshold_kpa, Recommendation.objects.count())
    assert after == before
    assert client.get(reverse("fleet:what-if", args=[garden.site.code, "Z"])).status_code == 404


def test_a_garden_without_weather_says_so(garden: Controller) -> None:
    garden.site.location = None
    garden.site.save()

    assert what_if(controller=garden, today=TODAY, asked={}, with_ways=True) is None


def test_the_year_of_a_timer_is_shown_month_by_month(garden: Controller) -> None:
    Company.objects.create(pk=1, name="Test", demo_today=TODAY)
    user = User.objects.create_user(username="hana", password="garden-water-42", role=User.Role.DISPATCHER)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(reverse("fleet:program-year", args=[garden.site.code, garden.code])).content.decode()

    # Past seasons of June and July only: the other months are filled from the last weeks, and said to be.
    assert "Minutes a week, by month" in page
    assert "short history" in page
    assert page.count("<tr") > 12


def test_a_drier_setting_stands_for_more_water_gone_with_its_spread(garden: Controller) -> None:
    found = ask(garden, threshold="60").thresholds
    gone = [one.gone_mm for one in found]

    assert gone == sorted(gone, key=float)  # type: ignore[arg-type]
    assert all(one.spread_mm is not None and one.spread_mm > 0 for one in found)

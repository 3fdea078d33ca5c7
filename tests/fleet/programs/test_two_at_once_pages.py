"""Two stations at once, from the survey over the weekly round to the sheet and the page of what if."""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from fleet.selectors.programs.what_if import what_if
from sites.importing.book.items import defaults_of
from sites.models import Controller, Recommendation, RuleSet, RuleStage
from sites.services.balance import update_balance
from sites.services.weekly_round import weekly_round
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.sites.search.test_weekly_round_service import fill, set_program

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


@pytest.fixture
def garden() -> Controller:
    """Four lawns under rotors that get two hours a day."""
    location = build_location()
    for year in range(2021, 2026):
        fill(location, date(year, 6, 10), date(year, 7, 20))
    fill(location, date(2026, 4, 10), date(2026, 6, 14))
    site = build_site(location=location, rule_set="north")
    controller = build_controller(site, station_count=6, governed=True)
    for station in range(1, 5):
        build_zone(controller, station, head="rotor", flow_l_min=18.0 if station > 2 else None)
    build_sensor(controller, 1)
    set_program(controller, [(1, 25), (2, 25), (3, 25), (4, 25)])
    stage = {"name": "two hours", "windows": ["04:00-06:00"], "max_days_per_week": 3}
    RuleStage.objects.create(rule_set=RuleSet.objects.create(code="north"), name="two hours", spec=stage)
    update_balance(until_day=date(2026, 6, 14))
    return controller


@pytest.fixture
def client() -> Client:
    Company.objects.create(pk=1, name="Test", demo_today=TODAY)
    user = User.objects.create_user(username="hana", password="garden-water-42", role=User.Role.DISPATCHER)
    client = Client()
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client


def issue(**columns: object) -> Recommendation:
    Controller.objects.update(**columns)
    weekly_round(week=TODAY, today=TODAY, price_per_m3=2.5)
    return Recommendation.objects.get()


def test_the_round_issues_two_at_once_only_with_timer_and_flow(garden: Controller) -> None:
    alone = issue()
    assert {line.letter for line in alone.lines.all()} <= {"A", "C"}
    alone.delete()

    both = issue(stations_at_once=2, flow_limit_l_min=45.0)

    letters = {line.letter: line.starts for line in both.lines.all()}
    assert letters["A"] == letters["B"]
    assert letters["C"] > letters["A"]
    assert both.adequacy_pct is not None
    assert alone.adequacy_pct is not None
    assert both.adequacy_pct > alone.adequacy_pct + 5
    assert any("of 45 L/min that the supply is said to give" in str(one) for one in both.reasons)
    assert any("Nobody measured the flow of station 2;" in str(one) for one in both.reasons)
    assert both.window_used_min is not None
    assert both.window_used_min <= 120


def test_the_sheet_tells_what_runs_together_in_the_readers_units(garden: Controller, client: Client) -> None:
    issue(stations_at_once=2, flow_limit_l_min=45.0)
    address = reverse("fleet:sheet", args=[garden.site.code, garden.code])

    assert "Two stations run at once" in client.get(address).content.decode()
    User.objects.update(units="us")
    page = client.get(address).content.decode()

    assert "of 11.9 gal/min that the supply is said to give" in page
    assert "L/min" not in page


def test_what_if_tries_two_at_once_and_the_ways_out_name_it(garden: Controller, client: Client) -> None:
    found = what_if(controller=garden, today=TODAY, asked={"at_once": "2"}, with_ways=True)

    assert found is not None
    assert found.changes[0].startswith("two stations at once, ")
    as_it_stands, changed = found.columns[1].figures, found.columns[2].figures
    assert as_it_stands is not None
    assert changed is not None
    assert changed.adequacy_pct > as_it_stands.adequacy_pct + 5
    assert "together" in {way.key for way in found.ways}
    User.objects.update(units="us")
    page = client.get(reverse("fleet:what-if", args=[garden.site.code, garden.code])).content.decode()
    assert "Run two stations at once: the supply has to give" in page
    assert "L/min" not in page
    garden.refresh_from_db()
    assert garden.stations_at_once == 1


def test_what_if_goes_back_to_one_at_a_time(garden: Controller) -> None:
    Controller.objects.update(stations_at_once=2, flow_limit_l_min=45.0)
    garden.refresh_from_db()
    found = what_if(controller=garden, today=TODAY, asked={"at_once": "1"}, with_ways=False)

    assert found is not None
    assert found.changes == ("one station at a time",)
    assert [option.value for option in found.at_once if "as in the book" in option.word] == ["2"]


def test_a_survey_in_gallons_keeps_litres(garden: Controller, client: Client) -> None:
    User.objects.update(units="us")
    address = reverse("fleet:survey-answer", args=[garden.site.code])
    client.post(
        address, {"kind": "controller", "key": "A", "stations_at_once": "2", "flow_limit_l_min": "12"}
    )

    garden.refresh_from_db()
    assert garden.stations_at_once == 2
    assert garden.flow_limit_l_min == pytest.approx(45.42, abs=0.01)


def test_a_book_says_nothing_of_it_and_one_station_runs_at_a_time() -> None:
    assert defaults_of("controller")["stations_at_once"] == 1
    assert defaults_of("controller")["flow_limit_l_min"] is None

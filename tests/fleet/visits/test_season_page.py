"""The season page, its needs, and what suppliers ask of backflow assemblies."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import BackflowRule, Company, LocationSeason, User, VisitNeed
from fleet.selectors.visits.season_page import season_page
from fleet.services.visits.raise_needs import raise_needs
from fleet.services.visits.season import renew_seasons
from sites.models import Change, Site
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def climate(
    name: str, *, first: date = date(2018, 1, 1), cold: tuple[int, ...] = (11, 12, 1, 2, 3)
) -> Location:
    """A location with frost from the first to the last day of its cold months, up to today."""
    place = Location.objects.create(name=name, latitude=41.2, longitude=-104.7, elevation_m=1500)
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=place,
            day=(day := first + timedelta(days=n)),
            issued=day,
            tmin_c=-6.0 if day.month in cold else 6.0,
            tmax_c=2.0 if day.month in cold else 20.0,
            fetched_at=NOW,
        )
        for n in range((DAY - first).days)
    )
    return place


@pytest.fixture
def town(company: Company) -> Site:
    return build_site(location=climate("river"), supplier="Ford Water")


def test_the_page_tells_dates_deadlines_and_what_is_due(
    town: Site, dispatcher: User, sign_in: SignIn
) -> None:
    build_site("CB-15", location=town.location)
    build_site("CB-16")
    renew_seasons(day=DAY)

    found = season_page(today=DAY, page=1)
    page = sign_in(dispatcher).get(reverse("fleet:season")).content.decode()

    row = found.rows[0]
    assert (row.winterize, row.sites) == (date(2026, 10, 25), 2)
    # In leap years 1 November is a day of the year later: the late tenth is one of those.
    assert row.hard_autumn_days == (date(2026, 11, 1), date(2026, 11, 1), date(2026, 11, 2))
    assert row.start_up == date(2026, 4, 1)
    assert row.buried is not None
    assert row.buried > date(2026, 10, 25)
    due = {week.monday: week.winterizations for week in found.weeks if week.winterizations}
    assert due == {date(2026, 10, 19): 2}
    assert found.without_dates == 1
    assert "25\u00a0Oct" in page
    assert '<svg class="plot"' in page
    assert " style=" not in page


def test_renewing_twice_computes_once_and_again_after_a_month(town: Site) -> None:
    assert renew_seasons(day=DAY).renewed == 1
    before = LocationSeason.objects.values().get()
    assert renew_seasons(day=DAY + timedelta(days=3)).renewed == 0
    assert LocationSeason.objects.values().get() == before
    assert renew_seasons(day=DAY + timedelta(days=31)).renewed == 1


def test_a_warm_place_and_a_short_record_have_no_deadline(company: Company) -> None:
    build_site("A", location=climate("warm", cold=()))
    build_site("B", location=climate("new", first=date(2025, 1, 1)))

    done = renew_seasons(day=DAY)

    found = season_page(today=DAY, page=1)
    assert done.too_short == 1
    assert [row.winterize for row in found.rows] == [None, None]
    assert found.next_due is None
    assert found.without_dates == 1


def test_nothing_is_asked_of_backflow_assemblies_until_a_rule_says_so(
    town: Site, manager: User, sign_in: SignIn
) -> None:
    spring = date(2026, 3, 20)
    raise_needs(day=spring)
    assert not VisitNeed.objects.filter(kind="backflow_test").exists()

    sign_in(manager).post(
        reverse("fleet:season-rule"),
        {
            "supplier": "Ford Water",
            "before_use": "yes",
            "who_may_test": "a certified tester",
            "report_to": "the supplier",
            "checked_on": "2026-01-05",
        },
    )
    raise_needs(day=spring)

    need = VisitNeed.objects.get(kind="backflow_test")
    assert need.skill == "backflow"
    assert "Only a certified tester may do it" in need.reason
    assert "2026-04-01" in need.reason
    assert Change.objects.get(kind="backflow_rule").by == manager.username
    raise_needs(day=date(2026, 4, 2))
    assert "by a certified tester" in VisitNeed.objects.get(kind="start_up").reason
    # A test that passed counts for the season.
    VisitNeed.objects.filter(kind="backflow_test").update(state="done", closed_on=date(2026, 4, 2))
    raise_needs(day=date(2026, 4, 3))
    assert not VisitNeed.objects.filter(kind="backflow_test", state="open").exists()


def test_a_test_every_year_is_due_a_month_before_the_last_one_lapses(town: Site) -> None:
    BackflowRule.objects.create(supplier="Ford Water", every_months=12, who_may_test="a certified tester")
    build_need(town, key="x", kind="backflow_test", state="done", closed_on=date(2025, 9, 1))

    raise_needs(day=date(2026, 7, 1))
    assert not VisitNeed.objects.filter(kind="backflow_test", state="open").exists()
    raise_needs(day=date(2026, 8, 5))

    assert "2025-09-01" in VisitNeed.objects.get(kind="backflow_test", state="open").reason


def test_a_hard_freeze_foretold_makes_winterizing_urgent(town: Site) -> None:
    day = date(2026, 9, 10)  # 45 days before the deadline
    raise_needs(day=day)
    assert not VisitNeed.objects.filter(kind="winterize").exists()
    assert town.location is not None
    for issued, tmin in ((day - timedelta(days=1), 1.0), (day, -4.0)):
        DailyWeather.objects.create(
            location=town.location,
            day=day + timedelta(days=3),
            issued=issued,
            kind="forecast",
            tmin_c=tmin,
            tmax_c=9.0,
            fetched_at=NOW,
        )

    raise_needs(day=day)

    need = VisitNeed.objects.get(kind="winterize")
    assert "-4 °C is foretold for 2026-09-13" in need.reason
    assert need.value_per_day == pytest.approx(60.0)


def test_a_deadline_in_january_is_still_overdue_in_january(company: Company) -> None:
    place = climate("mild", cold=())
    DailyWeather.objects.filter(day__month=1, day__day__gte=10).update(tmin_c=-6.0)
    build_site(location=place)

    raise_needs(day=date(2026, 1, 12))

    need = VisitNeed.objects.get(kind="winterize")
    assert "2026-01-03" in need.reason  # a week before 10 January
    assert need.key.endswith("/2026")


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"supplier": ""}, "a supplier"),
        ({"every_months": "0"}, "from 1 to 120"),
        ({"every_months": "x"}, "from 1 to 120"),
        ({"before_use": "yes", "who_may_test": ""}, "who may test"),
        ({"checked_on": "soon"}, "a day as"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(
    company: Company, dispatcher: User, sign_in: SignIn, fields: dict[str, str], words: str
) -> None:
    page = sign_in(dispatcher).post(
        reverse("fleet:season-rule"), {"supplier": "Ford Water", "who_may_test": "x"} | fields, follow=True
    )

    assert words in page.content.decode()
    assert not BackflowRule.objects.exists()


def test_technicians_have_no_season_page(company: Company, technician_user: User, sign_in: SignIn) -> None:
    assert sign_in(technician_user).get(reverse("fleet:season")).status_code == 403


def test_the_page_of_an_empty_installation_says_what_to_do(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    assert "No weather location yet" in sign_in(dispatcher).get(reverse("fleet:season")).content.decode()

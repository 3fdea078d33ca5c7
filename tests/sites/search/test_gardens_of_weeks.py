"""A garden in the weeks of a year: read at once, and the same as read week by week."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.selectors.programs.year import first_mondays, program_year
from sites.models import Controller, RuleSet, RuleStage
from sites.selectors.round_garden import garden_book, gardens_of_weeks
from sites.services.balance import update_balance
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from tests.sites.search.test_weekly_round_service import fill

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


@pytest.fixture
def controller() -> Controller:
    location = build_location()
    fill(location, date(2022, 6, 1), date(2026, 6, 14))
    made = build_controller(build_site(location=location, rule_set="north"))
    build_zone(made, 1)
    build_zone(made, 2, plant="shrubs", head="dripline", planted_on=TODAY - timedelta(days=10))
    build_sensor(made, 1)
    rules = RuleSet.objects.create(code="north")
    RuleStage.objects.create(
        rule_set=rules,
        name="two days",
        spec={"name": "two days", "weekdays": ["wed", "sat"], "exempt_days_after_planting": 30},
    )
    update_balance(until_day=date(2026, 6, 14))
    return made


def test_each_week_is_as_if_it_had_been_read_alone(controller: Controller) -> None:
    mondays = first_mondays(TODAY)
    book = garden_book(controller_id=controller.pk, week=mondays[0], today=TODAY)
    assert book is not None

    for garden, monday in zip(gardens_of_weeks(book=book, weeks=mondays, today=TODAY), mondays, strict=True):
        alone = garden_book(controller_id=controller.pk, week=monday, today=TODAY)
        assert alone is not None
        np.testing.assert_array_equal(garden.weather.rain_mm, alone.garden.weather.rain_mm)
        np.testing.assert_allclose(garden.weather.reference_et_mm, alone.garden.weather.reference_et_mm)
        assert [one.pattern.text for one in garden.case.choices] == [
            one.pattern.text for one in alone.garden.case.choices
        ]


def test_a_year_takes_few_queries(controller: Controller) -> None:
    with CaptureQueriesContext(connection) as queries:
        found = program_year(controller=controller, today=TODAY)

    assert found is not None
    assert len(found.plan.months) == 12
    assert len(queries) < 110

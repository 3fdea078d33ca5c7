"""Two timers of a garden that share a supply: the page names what of both runs together beyond its flow."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, User
from sites.models import Controller, ProgramLine, ProgramSet, Recommendation, RecommendationLine
from tests.conftest import DAY
from tests.factories import build_controller, build_location, build_site, build_zone

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def set_program(controller: Controller, starts: str) -> None:
    setting = ProgramSet.objects.create(controller=controller, as_of=date(2026, 4, 1))
    ProgramLine.objects.create(
        program_set=setting, letter="A", days="daily", starts=starts, station=1, run_min=30, run_order=1
    )


@pytest.fixture
def timers(company: Company) -> tuple[Controller, Controller]:
    """Two timers of one garden, 40 L/min each, that start at the same time."""
    site = build_site(location=build_location())
    both = build_controller(site, "A"), build_controller(site, "B")
    for controller in both:
        build_zone(controller, 1, flow_l_min=40.0)
        set_program(controller, "04:00")
    return both


def page(client: Client) -> str:
    return client.get(reverse("fleet:site", args=["CB-14"])).content.decode()


def test_nothing_is_said_while_nobody_told_what_the_supply_gives(
    timers: tuple[Controller, Controller], dispatcher: User, sign_in: SignIn
) -> None:
    assert "run together" not in page(sign_in(dispatcher))


def test_the_page_names_what_both_timers_take_beyond_the_supply_until_one_starts_later(
    timers: tuple[Controller, Controller], dispatcher: User, sign_in: SignIn
) -> None:
    Controller.objects.filter(pk=timers[0].pk).update(flow_limit_l_min=60.0)
    client = sign_in(dispatcher)
    User.objects.update(units="metric")

    text = page(client)
    assert "As set: station 1 of controller A and station 1 of controller B run together on" in text
    assert "at 04:00 and take 80.0 L/min; the supply is said to give 60.0 L/min" in text

    ProgramLine.objects.filter(program_set__controller=timers[1]).update(starts="04:30")
    assert "run together" not in page(client)


def test_a_recommended_program_is_held_against_the_other_timer_as_it_is_set(
    timers: tuple[Controller, Controller], dispatcher: User, sign_in: SignIn
) -> None:
    Controller.objects.filter(pk=timers[0].pk).update(flow_limit_l_min=60.0)
    ProgramLine.objects.filter(program_set__controller=timers[1]).update(starts="06:00")
    advice = Recommendation.objects.create(
        controller=timers[1],
        week=DAY - timedelta(days=DAY.weekday()),
        is_change=True,
        computed_on=DAY,
    )
    RecommendationLine.objects.create(
        recommendation=advice, letter="A", days="daily", starts="04:10", station=1, run_min=30, run_order=1
    )
    User.objects.update(units="metric")

    text = page(sign_in(dispatcher))

    assert "As set:" not in text
    assert "With what is recommended: station 1 of controller A and station 1 of controller B" in text
    assert "at 04:10" in text

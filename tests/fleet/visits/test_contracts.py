"""A garden's contract on its page: what is included, made, left or beyond, and when it ends."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.models import Company, Route, ServiceContract, Stop, User
from fleet.selectors.company.company import company_day
from fleet.selectors.visits.contracts import contract_standing
from sites.models import Site
from tests.conftest import DAY, NOW
from tests.factories import build_site, build_technician, build_visit

SignIn = Callable[[User], Client]


def a_contract(site: Site, start: date, *, visits: int = 2, days: int = 365) -> ServiceContract:
    """A contract of a year."""
    return ServiceContract.objects.create(
        site=site, starts_on=start, ends_on=start + timedelta(days=days), visits_included=visits,
        price=320, currency="USD",
    )  # fmt: skip


def visits_on(site: Site, *days: date, state: str = "finished") -> None:
    """A stop on each day."""
    person = build_technician(f"T{state}{len(days)}")
    for number, day in enumerate(days, start=1):
        route = Route.objects.create(technician=person, day=day, start_at=NOW, end_at=NOW, planned_at=NOW)
        visit = build_visit(site, week=day, number=number)
        Stop.objects.create(route=route, order=1, visit=visit, arrive=NOW, depart=NOW, state=state)


@pytest.mark.django_db
def test_only_finished_visits_within_the_contracts_days_count() -> None:
    site = build_site()
    row = a_contract(site, DAY - timedelta(days=100), visits=3)
    visits_on(
        site, row.starts_on - timedelta(days=1), row.starts_on, row.ends_on - timedelta(days=1), row.ends_on
    )
    visits_on(site, DAY, state="not_possible")

    found = contract_standing(site=site, today=DAY)

    assert found is not None
    assert (found.use.made, found.use.left, found.use.beyond, found.days_left) == (2, 1, 0, 265)
    assert not found.is_due


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("starts", "asked", "due", "over", "ahead"),
    [
        ((-300,), 0, True, False, False),
        ((-300, 65), 0, False, False, False),  # renewed
        ((-365,), 0, False, True, False),  # its end is exclusive
        ((-900, -400), 1, False, True, False),
        ((10, 400), 0, False, False, True),
        ((-200, 165), 0, False, False, False),
    ],
)
def test_the_contract_in_force_stands_before_the_last_and_the_next(
    starts: tuple[int, ...], asked: int, due: bool, over: bool, ahead: bool
) -> None:
    site = build_site()
    rows = [a_contract(site, DAY + timedelta(days=start)) for start in starts]

    found = contract_standing(site=site, today=DAY)

    assert found is not None
    assert found.contract == rows[asked]
    assert (found.is_due, found.is_over, found.is_ahead) == (due, over, ahead)


@pytest.mark.django_db
def test_the_page_tells_overuse_and_leads_to_a_quote(
    sign_in: SignIn, company: Company, dispatcher: User
) -> None:
    client, site = sign_in(dispatcher), build_site()
    url = reverse("fleet:site", args=[site.code])
    assert "no contract of this garden" in client.get(url).content.decode()
    today = company_day(now=timezone.now())
    a_contract(site, today - timedelta(days=300), visits=1)
    visits_on(site, today - timedelta(days=9), today - timedelta(days=5))

    page = client.get(url).content.decode()

    assert "<b>2</b> made in the year" in page
    assert "1 more than included" in page
    assert "none follows" in page
    assert f"{reverse('fleet:quote-new')}?site={site.code}" in page

"""After a planning the week says how many customers who were told hours keep them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fleet.models import Company, PlanRun, Stop, Technician, User
from fleet.selectors.plan.board import plan_stamp
from fleet.services.plan.plan_routes import plan_routes
from fleet.services.plan.told_kept import ToldKept, told_kept
from tests.factories import DAY, build_need, build_site, build_technician

EARLY = datetime(2026, 6, 15, 6, 0, tzinfo=UTC)  # midnight in the company's time zone
HERE = ZoneInfo("America/Denver")
WEEK: dict[str, Any] = {"earliest": EARLY, "latest": EARLY + timedelta(days=5), "promised": True}


def on_the_page(client: Client) -> str:
    user, _ = User.objects.get_or_create(username="hana", defaults={"role": "dispatcher"})
    client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
    return client.get(reverse("fleet:week"), {"week": DAY.isoformat()}).content.decode()


@pytest.mark.django_db
def test_who_is_left_out_and_who_comes_another_day_are_counted_of_all_told(
    company: Company, client: Client
) -> None:
    person = build_technician()
    night = EARLY + timedelta(days=1, hours=2)
    build_need(build_site("FREE", longitude=-104.69, latitude=41.2))
    build_need(build_site("DAYS", longitude=-104.68, latitude=41.2), **WEEK)
    first = plan_routes(now=EARLY, week=DAY, seed=1, iterations=20)
    assert (first.told, first.told_lost, first.told_moved) == (1, 0, 0)
    assert Stop.objects.get(visit__site__code="DAYS").route.day == DAY
    assert "the one customer who was told hours kept them." in on_the_page(client)

    build_need(build_site("DARK"), earliest=night, latest=night + timedelta(hours=1), promised=True)
    Technician.objects.filter(pk=person.pk).update(days_off=DAY.isoformat())
    done = plan_routes(now=EARLY, week=DAY, seed=1, iterations=20)

    assert (done.visits, done.told, done.told_lost, done.told_moved) == (2, 2, 1, 1)
    assert "of 2 told customers 1 lost their hours, 1 were moved" in done.summary()
    page = on_the_page(client)
    assert "<b>2 of 2</b> customers who were told hours did not keep them: 1 left out, 1 moved to" in page

    again = plan_routes(now=EARLY, week=DAY, seed=1, iterations=20)

    assert (again.told, again.told_lost, again.told_moved) == (2, 1, 0)
    page = on_the_page(client)
    assert "<b>1 of 2</b> customers who were told hours did not keep them: 1 left out." in page


@pytest.mark.django_db
def test_a_week_in_which_nobody_was_told_says_nothing_of_it(company: Company, client: Client) -> None:
    build_technician()
    build_need(build_site("FREE"))

    plan_routes(now=EARLY, week=DAY, seed=1, iterations=10)

    assert "told hours" not in on_the_page(client)


@pytest.mark.django_db
def test_plans_that_counted_only_the_left_out_ones_are_still_read() -> None:
    figures = {"what": "plan", "told": 3, "told_moved": 2}
    PlanRun.objects.create(week=DAY, planned_at=EARLY, figures=figures)

    stamp = plan_stamp(week=DAY)

    assert stamp is not None
    assert (stamp.told, stamp.told_lost, stamp.told_moved, stamp.told_kept) == (3, 2, 0, 1)


def at(day: int, hour: int) -> datetime:
    return datetime(2026, 6, 15 + day, hour, tzinfo=HERE)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (at(1, 9), at(1, 11), ToldKept(1, 0, 0)),  # an hour within the told ones is none of the customer's
        (at(1, 9), at(2, 9), ToldKept(1, 0, 1)),
        (at(4, 9), at(2, 9), ToldKept(1, 0, 0)),  # somebody had put it outside: it is back
        (at(1, 9), at(3, 18), ToldKept(1, 0, 1)),  # outside the told hours
        (None, at(1, 9), ToldKept(1, 0, 0)),
        (at(1, 9), None, ToldKept(1, 1, 0)),
        (None, None, ToldKept(1, 1, 0)),
    ],
)
def test_moved_is_who_must_be_told_otherwise(
    old: datetime | None, new: datetime | None, words: ToldKept
) -> None:
    places = [{7: (1, moment, moment)} if moment else {} for moment in (old, new)]

    assert told_kept(told={7: (at(1, 8), at(3, 12))}, before=places[0], after=places[1], zone=HERE) == words


@given(
    before=st.dictionaries(st.integers(1, 8), st.integers(0, 90)),
    after=st.dictionaries(st.integers(1, 8), st.integers(0, 90)),
    told=st.sets(st.integers(1, 8)),
)
def test_nobody_is_counted_twice_and_the_same_plan_moves_nobody(
    before: dict[int, int], after: dict[int, int], told: set[int]
) -> None:
    def places(hours: dict[int, int]) -> dict[int, tuple[int, datetime, datetime]]:
        return {
            pk: (1, EARLY + timedelta(hours=h), EARLY + timedelta(hours=h + 1)) for pk, h in hours.items()
        }

    anytime = dict.fromkeys(told, (None, None))
    found = told_kept(told=anytime, before=places(before), after=places(after), zone=HERE)
    same = told_kept(told=anytime, before=places(after), after=places(after), zone=HERE)

    assert found.lost + found.moved <= found.told == len(told)
    assert found.lost == same.lost == len(told - set(after))
    assert same.moved == 0

"""Each need that waits says why, on the week's list, on the list of all visits, and on its own page."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Company, Route, Stop, Technician, User, Visit, VisitNeed
from fleet.selectors.visits.need_list import ListedNeed, need_card, need_list
from fleet.selectors.visits.need_rows import needs_week
from fleet.selectors.visits.needs import NeedRow
from fleet.selectors.visits.why_waits import NOT_IN_A_PLAN
from fleet.services.plan.plan_routes import plan_routes
from tests.conftest import DAY, NOW
from tests.factories import build_need, build_site, build_technician, build_visit

pytestmark = pytest.mark.django_db
HERE = ZoneInfo("America/Denver")
FRIDAY_BEFORE = datetime(2026, 6, 12, 8, 0, tzinfo=HERE)
MONDAY_AFTER = datetime(2026, 6, 22, 8, 0, tzinfo=HERE)
OVER = "Its hours were over on 12\u00a0Jun: tell the customer new ones."
OVER_WISH = "Its hours were over on 12\u00a0Jun: enter new ones."
AFTER = "It may begin on 22\u00a0Jun, after this week."


def on_the_week() -> dict[str, NeedRow]:
    return {row.site: row for row in needs_week(week=DAY).rows if row.planned is None}


def on_the_list(user: User) -> dict[str, ListedNeed]:
    found = need_list(user=user, show="waits", kind="", words="", today=DAY, page=1)
    return {row.need.site.code: row for row in found.rows}


def every_kind_of_waiting() -> None:
    """Needs that cannot be served, each for another reason, and one that can."""
    build_need(build_site("FITS", longitude=-104.69, latitude=41.2))
    build_need(
        build_site("OVER"), earliest=FRIDAY_BEFORE, latest=FRIDAY_BEFORE.replace(hour=10), promised=True
    )
    build_need(build_site("WISH"), latest=FRIDAY_BEFORE)
    build_need(build_site("AFTER"), earliest=MONDAY_AFTER, promised=True)
    night = datetime(2026, 6, 16, 2, 0, tzinfo=HERE)
    build_need(build_site("NIGHT"), earliest=night, latest=night + timedelta(hours=1), promised=True)
    build_need(build_site("SKILL"), kind="move_station_wire", skill="climbing")
    build_need(build_site("TICKET"), kind="dig", skill="dig")
    nowhere = build_site("NOWHERE")
    nowhere.latitude = nowhere.longitude = None
    nowhere.save(update_fields=["latitude", "longitude"])
    build_need(nowhere)


def test_after_a_planning_no_waiting_need_lacks_its_reason(
    company: Company, dispatcher: User, client: Client
) -> None:
    build_technician()
    every_kind_of_waiting()

    done = plan_routes(now=NOW.replace(hour=1), week=DAY, iterations=20)

    assert done.visits == 1
    week, listed = on_the_week(), on_the_list(dispatcher)
    assert set(week) == set(listed) == {"OVER", "WISH", "AFTER", "NIGHT", "SKILL", "TICKET", "NOWHERE"}
    for site, row in week.items():
        words = row.blocked or row.unserved
        assert words
        assert words != NOT_IN_A_PLAN
        assert (listed[site].need.blocked_by or listed[site].waits) == words
    assert (week["OVER"].unserved, week["WISH"].unserved, week["AFTER"].unserved) == (OVER, OVER_WISH, AFTER)
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    page = client.get(reverse("fleet:week"), {"week": DAY.isoformat()}).content.decode()
    for words in (OVER, OVER_WISH, AFTER):
        assert page.count(words) == 1
    assert "Not planned yet" not in page
    need = VisitNeed.objects.get(site__code="OVER")
    card = need_card(user=dispatcher, need_id=need.pk, today=DAY)
    assert card is not None
    assert card.waits == OVER


def test_a_need_that_came_in_after_the_planning_asks_for_another(company: Company, dispatcher: User) -> None:
    build_technician()
    plan_routes(now=NOW.replace(hour=1), week=DAY, iterations=20)

    build_need(build_site("LATE"))

    assert on_the_week()["LATE"].unserved == on_the_list(dispatcher)["LATE"].waits == NOT_IN_A_PLAN


def test_in_the_week_after_hours_that_may_begin_then_are_no_reason_any_more(company: Company) -> None:
    build_need(build_site("AFTER"), earliest=MONDAY_AFTER)

    rows = needs_week(week=DAY + timedelta(days=7)).rows

    assert rows[0].unserved == NOT_IN_A_PLAN


@pytest.mark.parametrize(
    ("weeks", "state", "why", "words"),
    [
        (0, Stop.State.NOT_POSSIBLE, "locked", "Not possible on 16\u00a0Jun: locked. Plan the week again."),
        (0, Stop.State.FINISHED, "", "Visited on 16\u00a0Jun and still open: it waits for the next week."),
        (0, Stop.State.AT_THE_GATE, "", ""),
        (0, Stop.State.AHEAD, "", None),
        (-1, Stop.State.AHEAD, "", NOT_IN_A_PLAN),
    ],
)  # fmt: skip
def test_what_became_of_its_call_is_said_and_an_old_call_is_no_plan(
    company: Company, dispatcher: User, client: Client, weeks: int, state: str, why: str, words: str | None
) -> None:
    need = build_need(build_site("CB-1"))
    called(build_technician(), need, weeks, state=state, not_possible_reason=why)

    listed = on_the_list(dispatcher)

    if words is None:
        assert listed == {}
        return
    assert listed["CB-1"].waits == words
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    one = client.get(reverse("fleet:need", args=[need.pk])).content.decode()
    assert ("It waits." in one) == bool(words)


def called(person: Technician, need: VisitNeed, weeks: int, **columns: str) -> Visit:
    """A call on Tuesday of a week, with its stop."""
    arrive = datetime(2026, 6, 16, 9, 40, tzinfo=HERE) + timedelta(weeks=weeks)
    visit = build_visit(need.site, week=DAY + timedelta(weeks=weeks))
    visit.needs.add(need)
    end = arrive + timedelta(minutes=30)
    route = Route.objects.create(
        technician=person, day=arrive.date(), start_at=arrive, end_at=end, planned_at=NOW
    )
    Stop.objects.create(route=route, order=1, visit=visit, arrive=arrive, depart=end, **columns)
    return visit

"""The office's list of needs, and what a person may do to one of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse

from fleet.calc.plan.told_window import told_text, window_around
from fleet.models import Company, Flag, Route, Stop, User, Visit, VisitNeed
from fleet.selectors.plan.board import week_board
from fleet.selectors.visits.need_rows import needs_week
from fleet.selectors.visits.prerequisites import NO_TICKET
from fleet.services.plan.told_windows import tell_window
from fleet.services.visits.needs_by_hand import (
    BadNeed,
    NeedInput,
    NoSuchNeed,
    add_need,
    record_locate_ticket,
    reopen_need,
    withdraw_need,
)
from fleet.services.visits.raise_needs import raise_needs
from sites.models import Change
from tests.conftest import DAY, NOW
from tests.factories import build_controller, build_need, build_site, build_technician, build_visit

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]
HERE = ZoneInfo("America/Denver")


def planned(need: VisitNeed) -> Visit:
    """A visit on a route for a need, at 9:40 of its garden's clock."""
    visit = build_visit(need.site)
    visit.needs.add(need)
    arrive = datetime(2026, 6, 16, 9, 40, tzinfo=HERE)
    route = Route.objects.create(
        technician=build_technician(),
        day=arrive.date(),
        start_at=arrive,
        end_at=arrive + timedelta(hours=6),
        planned_at=NOW,
    )
    Stop.objects.create(
        route=route, order=1, visit=visit, arrive=arrive, depart=arrive + timedelta(minutes=40)
    )
    return visit


def test_a_need_entered_at_the_phone_reaches_list_card_and_history(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    build_site()
    client = sign_in(dispatcher)
    typed = {
        "site": "CB-14",
        "kind": "complaint",
        "reason": "Brown strip along the drive",
        "priority": "4",
        "earliest": "2026-06-16T08:00",
        "latest": "2026-06-16T12:00",
        "promised": "on",
    }

    card = client.post(reverse("fleet:need-new"), typed, follow=True)

    need = VisitNeed.objects.get()
    assert (need.value_per_day, need.service_min, need.promised) == (40.0, 45.0, True)
    assert need.earliest == datetime(2026, 6, 16, 8, 0, tzinfo=HERE)  # the garden's clock, not the server's
    assert "Brown strip along the drive" in card.content.decode()
    assert "Brown strip" in client.get(reverse("fleet:visits")).content.decode()
    assert Change.objects.filter(kind="visit_need", by=dispatcher.username, action="added").count() == 1


def test_a_need_that_cannot_be_kept_says_which_field_and_writes_nothing(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    build_site()
    client = sign_in(dispatcher)
    typed = {"site": "CB-14", "kind": "complaint", "reason": "Dry", "promised": "on"}

    page = client.post(reverse("fleet:need-new"), typed).content.decode()
    unknown = client.post(reverse("fleet:need-new"), {**typed, "site": "NO-1"}).content.decode()

    assert "A promise needs its hours" in page
    assert "No garden has the code" in unknown
    assert not VisitNeed.objects.exists()


def test_hours_of_a_need_from_data_may_change_but_not_its_reason(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    need = build_need(build_site(), origin=VisitNeed.Origin.WATCH, reason="reads wet", value_per_day=12.5)
    client = sign_in(dispatcher)

    client.post(
        reverse("fleet:need-change", args=[need.pk]),
        {"service_min": "55", "reason": "something else", "value_per_day": "999", "note": "dog"},
    )

    need.refresh_from_db()
    assert (need.reason, need.value_per_day, need.service_min, need.note) == ("reads wet", 12.5, 55.0, "dog")


def test_a_dig_waits_until_its_ticket_is_typed_in(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    need = build_need(build_site(), kind="dig", blocked_by=NO_TICKET)
    client = sign_in(dispatcher)
    address = reverse("fleet:need-ticket", args=[need.pk])

    client.post(address, {"ticket": "AF-20931", "valid_until": "2026-06-14"})  # over
    need.refresh_from_db()
    assert need.blocked_by == NO_TICKET
    client.post(address, {"ticket": "AF-20931", "valid_until": "2026-06-24"})

    need.refresh_from_db()
    assert (need.blocked_by, need.locate_ticket) == ("", "AF-20931")


def test_a_ticket_on_work_that_does_not_dig_is_refused(company: Company) -> None:
    need = build_need(build_site(), kind="audit")

    with pytest.raises(BadNeed, match="does not dig"):
        record_locate_ticket(need_id=need.pk, ticket="1", valid_until=DAY, by="hana", now=NOW, day=DAY)


def test_a_withdrawn_need_rests_until_its_day_and_then_data_raise_it_again(company: Company) -> None:
    flag = Flag.objects.create(
        controller=build_controller(build_site()), cause="reads_wet", raised_on=DAY, probability=0.9
    )
    raise_needs(day=DAY)
    need = VisitNeed.objects.get()
    rest = DAY + timedelta(days=10)
    withdraw_need(
        need_id=need.pk, why="new owner, call in July", rests_until=rest, by="hana", now=NOW, day=DAY
    )

    raise_needs(day=rest - timedelta(days=1))
    need.refresh_from_db()
    assert (need.state, need.withdrawn_why) == ("withdrawn", "new owner, call in July")
    raise_needs(day=rest)
    need.refresh_from_db()

    assert need.state == "open"
    assert flag.closed_on is None


def test_withdrawing_is_undone_by_opening_again_and_a_second_hand_is_told(company: Company) -> None:
    need = build_need(build_site())
    withdraw_need(need_id=need.pk, why="done by the owner", rests_until=None, by="hana", now=NOW, day=DAY)
    with pytest.raises(NoSuchNeed):
        withdraw_need(need_id=need.pk, why="again", rests_until=None, by="ruth", now=NOW, day=DAY)

    reopen_need(need_id=need.pk, by="hana", now=NOW, day=DAY)

    need.refresh_from_db()
    assert (need.state, need.closed_on, need.withdrawn_why) == ("open", None, "")
    assert [one.after for one in Change.objects.order_by("id")] == [
        {"state": "withdrawn"},
        {"state": "open"},
    ]


def test_told_hours_are_offered_kept_and_taken_back(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    need = build_need(build_site())
    visit = planned(need)
    client = sign_in(dispatcher)
    card = client.get(reverse("fleet:need", args=[need.pk])).content.decode()
    assert 'value="2026-06-16T09:00"' in card
    assert "between 9:00 and 11:00" in card
    address = reverse("fleet:need-tell", args=[need.pk])

    client.post(address, {"do": "tell", "window_from": "2026-06-16T09:00", "window_to": "2026-06-16T11:00"})
    visit.refresh_from_db()
    assert (visit.state, visit.window_from) == ("told", datetime(2026, 6, 16, 9, 0, tzinfo=HERE))
    wrong = client.post(
        address, {"do": "tell", "window_from": "2026-06-16T11:00", "window_to": "2026-06-16T09:00"}
    )
    assert "Ends before it begins" in wrong.content.decode()
    client.post(address, {"do": "back"})

    visit.refresh_from_db()
    assert (visit.state, visit.window_from, visit.told_at) == ("planned", None, None)


def test_promised_hours_stand_on_the_board_until_others_are_told(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    hours = [datetime(2026, 6, 16, hour, 0, tzinfo=HERE) for hour in (8, 9)]
    need = build_need(build_site(), promised=True, earliest=hours[0], latest=hours[1])
    visit = planned(need)
    (row,) = (row for day in week_board(week=DAY).rows[0].days for row in day.stops if row.what == "visit")
    assert (row.window_from, row.window_to, row.late_min) == (hours[0], hours[1], 40)
    card = sign_in(dispatcher).get(reverse("fleet:need", args=[need.pk])).content.decode()
    assert "promised a start by Tue 16\u00a0Jun 9:00" in card
    assert "between 8:00 and 9:00" in card

    told = (datetime(2026, 6, 16, 9, 0, tzinfo=HERE), datetime(2026, 6, 16, 11, 0, tzinfo=HERE))
    tell_window(visit_id=visit.pk, window_from=told[0], window_to=told[1], by="hana", now=NOW, day=DAY)

    (row,) = (row for day in week_board(week=DAY).rows[0].days for row in day.stops if row.what == "visit")
    assert (row.window_from, row.window_to, row.late_min) == (*told, 0)


def test_the_list_filters_by_state_kind_and_words(
    dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    first, second = build_site("CB-14"), build_site("MR-20", name="Weir garden")
    planned(build_need(first))
    build_need(second, kind="dig", blocked_by=NO_TICKET)
    build_need(second, kind="audit", state="done", closed_on=DAY)
    client = sign_in(dispatcher)

    def codes(query: str) -> list[str]:
        rows = client.get(f"{reverse('fleet:visits')}?{query}").context["found"].rows
        return [f"{row.need.site.code} {row.need.kind}" for row in rows]

    assert codes("show=planned") == ["CB-14 sensor_check"]
    assert codes("show=waits") == ["MR-20 dig"]
    assert codes("show=blocked") == ["MR-20 dig"]
    assert codes("show=met") == ["MR-20 audit"]
    assert codes("show=waits&kind=audit") == []
    assert codes("show=waits&q=weir") == ["MR-20 dig"]
    assert codes("show=waits&q=nobody") == []


@pytest.mark.parametrize("page", ["\u00b2", "0", "-1", "9" * 30, "x", "2"])
def test_an_odd_page_number_shows_a_page(
    page: str, dispatcher: User, sign_in: SignIn, company: Company
) -> None:
    build_need(build_site())

    answer = sign_in(dispatcher).get(reverse("fleet:visits"), {"page": page})

    assert answer.status_code == 200
    assert len(answer.context["found"].rows) == 1


def test_a_manager_reads_but_does_not_write(manager: User, sign_in: SignIn, company: Company) -> None:
    need = build_need(build_site())
    client = sign_in(manager)

    page = client.get(reverse("fleet:need", args=[need.pk]))
    refused = client.post(reverse("fleet:need-withdraw", args=[need.pk]), {"why": "x"})

    assert page.status_code == 200
    assert "Withdraw the need" not in page.content.decode()
    assert refused.status_code == 403


def test_a_week_counts_all_needs_but_loads_only_as_many_as_asked(company: Company) -> None:
    for number in range(4):
        build_need(build_site(f"CB-{number}"), value_per_day=float(number))

    week = needs_week(week=DAY, most=2)

    assert (week.waiting, week.gardens_waiting, len(week.rows)) == (4, 4, 2)
    assert [row.value_per_day for row in week.rows] == [3.0, 2.0]


@pytest.mark.parametrize(
    ("arrive", "start"), [((9, 40), (9, 0)), ((8, 0), (7, 30)), ((13, 29), (12, 30)), ((0, 10), (23, 30))]
)
def test_the_told_window_begins_on_a_half_hour_and_holds_the_arrival(
    arrive: tuple[int, int], start: tuple[int, int]
) -> None:
    moment = datetime(2026, 6, 16, *arrive, tzinfo=HERE)

    begin, end = window_around(moment)

    assert (begin.hour, begin.minute) == start
    assert begin <= moment <= end
    assert end - begin == timedelta(hours=2)


def test_the_text_for_the_customer_names_who_where_when() -> None:
    text = told_text(
        site_name="Okafor garden",
        company="Marlow & Finch",
        technician="Ines Calder",
        window=("9:00", "11:00"),
        day="Tuesday 16 June",
    )

    assert text.startswith(
        "This is Marlow & Finch. Ines Calder will come to Okafor garden on Tuesday 16 June, between 9:00 and"
    )


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "nonsense"},
        {"reason": " "},
        {"service_min": 0.0},
        {"priority": 6},
        {"value_per_day": -1.0},
        {"earliest": NOW, "latest": NOW - timedelta(hours=1)},
        {"promised": True},
    ],
)
def test_a_bad_need_is_refused_by_name(wrong: dict[str, object]) -> None:
    with pytest.raises(BadNeed):
        NeedInput(**{"kind": "audit", "reason": "due", **wrong})  # type: ignore[arg-type]


def test_nobody_enters_a_missing_log(company: Company) -> None:
    site = build_site()
    wanted = NeedInput(kind="log_missing", reason="none")

    with pytest.raises(BadNeed, match="comes from the data"):
        add_need(site_id=site.pk, need=wanted, by="hana", now=NOW, day=date(2026, 6, 15))

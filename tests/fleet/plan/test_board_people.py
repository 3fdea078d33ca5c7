"""A board of more people than one looks at together: pages, counts of all, and moves from page to page."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.plan.board_pages import MOST_LANES, PAGE_LANES, page_sizes
from fleet.models import Company, Route, Stop, Technician, User, Visit
from fleet.selectors.plan.board import route_lines, week_board
from fleet.selectors.plan.board_people import BoardAsked, BoardPeople, board_people
from fleet.selectors.visits.need_rows import needs_week
from tests.factories import DAY, build_need, build_site, build_technician, build_visit

AT = datetime(2026, 6, 15, 14, 0, tzinfo=UTC)
PEOPLE = 30


@given(st.integers(0, 2_000))
def test_pages_hold_everybody_evenly_and_few_have_one(people: int) -> None:
    sizes = page_sizes(people)

    assert sum(sizes) == people
    assert (len(sizes) == 1) == (0 < people <= MOST_LANES)
    assert all(0 < size <= (MOST_LANES if len(sizes) == 1 else PAGE_LANES) for size in sizes)
    assert not sizes or max(sizes) - min(sizes) <= 1


def crew(count: int = PEOPLE) -> list[Technician]:
    """So many people, each with a visit on Monday and one on Tuesday; every third one can dig."""
    people = []
    for number in range(1, count + 1):
        code = f"T{number:02}"
        skills = "audit;dig" if number % 3 == 0 else "audit"
        people.append(build_technician(code, name=f"Person {number}", skills=skills))
        for day in (0, 1):
            add_stop(people[-1], f"{code}-{day}", day)
    return people


def add_stop(person: Technician, code: str, day: int, **columns: Any) -> Stop:
    """A planned visit of a site of its own."""
    site = build_site(code, longitude=-104.7, latitude=41.2)
    need = build_need(site)
    visit = build_visit(site, week=DAY, **columns)
    visit.needs.add(need)
    at = AT + timedelta(days=day)
    route, _ = Route.objects.get_or_create(
        technician=person,
        day=DAY + timedelta(days=day),
        defaults={"start_at": at, "end_at": at + timedelta(hours=2), "planned_at": at, "end_drive_km": 1.5},
    )
    order = route.stops.count() + 1
    arrive = at + timedelta(minutes=45 * order)
    return Stop.objects.create(
        route=route,
        order=order,
        visit=visit,
        arrive=arrive,
        depart=arrive + timedelta(minutes=30),
        drive_min=10,
        drive_km=4,
    )


def shown(asked: BoardAsked | None = None) -> BoardPeople:
    return board_people(week=DAY, focus=DAY, today=DAY, asked=asked or BoardAsked())


@pytest.mark.django_db
def test_counts_are_of_everybody_and_lanes_of_the_page(company: Company) -> None:
    people = crew()

    first, last = shown(), shown(BoardAsked(page=99))

    assert [len(first.shown), len(last.shown), len(first.pages)] == [10, 10, 3]
    assert [one.number for one in last.shown] == list(range(21, 31))
    assert (first.everyone, first.focus_stops, first.focus_km) == (30, 30, 30 * 5.5)
    assert first.stops_of_day[DAY + timedelta(days=1)] == 30
    assert (first.before, first.after, last.before, last.after) == (None, 2, 2, None)
    assert shown(BoardAsked(person=people[14].pk)).asked.page == 2
    everybody = week_board(week=DAY)
    board = week_board(week=DAY, people=[one.technician_id for one in last.shown], wide=DAY)
    assert board.rows[0].number == 21
    assert [row.technician for row in board.rows] == [row.technician for row in everybody.rows[20:]]
    for few, full in zip(board.rows, everybody.rows[20:], strict=True):
        assert few.days[0] == full.days[0]
        assert few.days[1].stops == ()
        told = [(d.gardens, d.visits, d.drive_min, d.drive_km, d.service_min, d.free_min) for d in few.days]
        assert told == [
            (d.gardens, d.visits, d.drive_min, d.drive_km, d.service_min, d.free_min) for d in full.days
        ]
    for one, row in zip(last.shown, board.rows, strict=True):
        assert (one.visits, one.free_min) == (row.days[0].visits, row.days[0].free_min)
    lines = route_lines(day=DAY, people=[people[4].pk])
    assert [(line.number, line.technician) for line in lines] == [(5, "T05")]


@pytest.mark.django_db
def test_trouble_stands_first_and_a_skill_leaves_the_others_out(company: Company) -> None:
    people = crew()
    early = {"window_from": AT - timedelta(hours=3), "window_to": AT - timedelta(hours=1), "told_at": AT}
    add_stop(people[25], "LATE", 0, **early)
    missed = add_stop(people[28], "SHUT", 0)
    Stop.objects.filter(pk=missed.pk).update(state=Stop.State.NOT_POSSIBLE)
    add_stop(people[28], "SLOW", 0, **early)

    found = shown(BoardAsked(order="trouble"))
    free = shown(BoardAsked(order="free"))
    dig = shown(BoardAsked(skill="dig"))

    assert [one.number for one in found.shown[:3]] == [29, 26, 1]
    assert (found.trouble, found.pages[0].trouble, found.pages[1].trouble) == (3, 3, 0)
    minutes = [one.free_min or 0 for one in free.shown]
    assert minutes == sorted(minutes, reverse=True)
    assert {26, 29}.isdisjoint(one.number for one in free.shown)
    assert (dig.chosen, dig.everyone, len(dig.pages)) == (10, 30, 1)
    assert dig.is_paged  # the way back to everybody stands there
    assert shown(BoardAsked(order="nonsense", skill="nobody's")).asked == BoardAsked()


@pytest.mark.django_db
def test_planned_needs_are_those_of_the_people_on_the_page(company: Company) -> None:
    people = crew()
    build_need(build_site("WAITS"))

    found = needs_week(week=DAY, most=50, people=[people[3].pk])

    assert [row.site for row in found.rows] == ["WAITS", "T04-0", "T04-1"]
    assert (found.waiting, found.planned, found.gardens, found.gardens_planned) == (1, 60, 61, 60)


@pytest.mark.django_db
def test_the_board_opens_where_one_left_it(company: Company, dispatcher: User, client: Client) -> None:
    crew()
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    week = reverse("fleet:week")
    stop = Stop.objects.get(visit__site__code="T02-0")

    first = client.get(week, {"week": DAY.isoformat()}).content.decode()
    third = client.get(f"{week}?week={DAY.isoformat()}&page=3&carry={stop.pk}").content.decode()
    client.post(reverse("fleet:week-publish"), {"week": DAY.isoformat()})
    again = client.get(week, {"week": DAY.isoformat()}).content.decode()

    assert ("Person 5<" in first, "Person 25<" in first) == (True, False)
    assert ("Person 5<" in third, "Person 25<" in third) == (False, True)
    assert "30 people" in third
    assert "In hand" in third
    assert "data-carried" in third
    assert ("Person 5<" in again, "Person 25<" in again, "In hand" in again) == (False, True, False)
    assert Route.objects.filter(state=Route.State.PUBLISHED).count() == 60


@pytest.mark.django_db
def test_a_small_company_has_nothing_to_choose(company: Company, dispatcher: User, client: Client) -> None:
    crew(MOST_LANES)
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")

    page = client.get(f"{reverse('fleet:week')}?week={DAY.isoformat()}&page=7").content.decode()

    assert "data-people" not in page
    assert all(f"Person {number}<" in page for number in range(1, MOST_LANES + 1))


@pytest.mark.django_db
def test_a_stop_moves_to_somebody_of_another_page(company: Company, dispatcher: User, client: Client) -> None:
    people = crew()
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    stop = Stop.objects.get(visit__site__code="T02-1")
    fields = {"technician": people[27].pk, "day": (DAY + timedelta(days=1)).isoformat(), "do": "move"}

    form = client.get(reverse("fleet:stop-move", args=[stop.pk])).content.decode()
    answer = client.post(reverse("fleet:stop-drop", args=[stop.pk]), fields).json()
    page = client.get(answer["url"]).content.decode()

    assert f'<option value="{people[27].pk}"' in form
    assert Stop.objects.get(visit=stop.visit_id).route.technician_id == people[27].pk
    assert "T02-1 is moved" in page
    assert "Person 28<" in page
    assert Visit.objects.filter(stops__isnull=False).count() == 60

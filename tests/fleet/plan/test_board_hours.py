"""The board has every day on which somebody works, and every hour at which somebody stops."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st

from fleet.calc.plan.workdays import days_with_work
from fleet.models import Company, Route, Stop, Technician, User
from fleet.views.week_lanes import LaneHours
from tests.factories import DAY, build_need, build_site, build_technician, build_visit

HERE = ZoneInfo("America/Denver")
SATURDAY = DAY + timedelta(days=5)


def stop_at(person: Technician, code: str, start: datetime, minutes: int = 30) -> Stop:
    """A stop of a garden of its own."""
    site = build_site(code, longitude=-104.7, latitude=41.2)
    visit = build_visit(site)
    visit.needs.add(build_need(site))
    end = start + timedelta(minutes=minutes)
    route, _ = Route.objects.get_or_create(
        technician=person,
        day=start.date(),
        defaults={"start_at": start, "end_at": end, "planned_at": start},
    )
    return Stop.objects.create(
        route=route, order=route.stops.count() + 1, visit=visit, arrive=start, depart=end, drive_min=0
    )


def on(day: date, hour: int, minute: int = 0) -> datetime:
    return datetime.combine(day, time(hour, minute), tzinfo=HERE)


def board_of(client: Client, dispatcher: User, day: date = DAY) -> str:
    client.force_login(dispatcher, backend="django.contrib.auth.backends.ModelBackend")
    asked = {"week": DAY.isoformat(), "day": day.isoformat()}
    return client.get(reverse("fleet:week"), asked).content.decode()


def columns_of(page: str) -> list[str]:
    """Day columns beside the wide one, by their heads."""
    return re.findall(r'<div class="h day".*?<b>(\w+) \d+</b>', page)


def place_of(page: str, stop: Stop) -> tuple[float, float]:
    """Left edge and width of a stop's box [% of the lane]."""
    found = re.search(rf"#s{stop.pk}{{--s:([\d.]+);--w:([\d.]+)}}", page)
    assert found is not None
    return float(found[1]), float(found[2])


@pytest.mark.django_db
def test_a_week_of_five_days_has_five_whichever_of_them_is_wide(
    company: Company, dispatcher: User, client: Client
) -> None:
    build_technician()

    assert columns_of(board_of(client, dispatcher)) == ["Tue", "Wed", "Thu", "Fri"]
    assert columns_of(board_of(client, dispatcher, DAY + timedelta(days=4))) == ["Mon", "Tue", "Wed", "Thu"]
    assert columns_of(board_of(client, dispatcher, SATURDAY)) == ["Mon", "Tue", "Wed", "Thu", "Fri"]


@pytest.mark.django_db
def test_a_saturdays_work_and_a_sundays_route_have_their_columns_counts_and_links(
    company: Company, dispatcher: User, client: Client
) -> None:
    build_technician("T1", workdays="tue,wed,thu,fri,sat")
    other = build_technician("T2", name="Tomas Rudd")
    stop_at(other, "SUN", on(DAY + timedelta(days=6), 9))

    page = board_of(client, dispatcher)

    assert columns_of(page) == ["Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
    assert "board days6" in page
    sunday = (DAY + timedelta(days=6)).isoformat()
    assert re.search(rf'<a href="[^"]*day={sunday}"><span class="vh">Tomas Rudd, 1 stop,', page)
    assert re.search(
        rf'<a href="[^"]*day={sunday}"><span class="vh">Open </span><b>Sun 21</b><br>1 stop</a>', page
    )
    assert f'data-day="{SATURDAY.isoformat()}"' in page  # a stop may be dropped there


@pytest.mark.django_db
def test_who_left_the_company_opens_no_saturday(company: Company, dispatcher: User, client: Client) -> None:
    build_technician("T1")
    build_technician("T2", name="Tomas Rudd", workdays="sat", is_active=False)
    build_technician("T3", name="Vera Lind", workdays="sat", days_off=SATURDAY.isoformat())

    assert columns_of(board_of(client, dispatcher)) == ["Tue", "Wed", "Thu", "Fri"]


@pytest.mark.django_db
def test_stops_at_six_and_after_five_stand_where_they_are(
    company: Company, dispatcher: User, client: Client
) -> None:
    person = build_technician()
    early = stop_at(person, "EARLY", on(DAY, 6))
    noon = stop_at(person, "NOON", on(DAY, 12))
    late = stop_at(person, "LATE", on(DAY, 17, 30), 45)

    page = board_of(client, dispatcher)

    # From 6:00 to 18:30: the latest ends at 18:15.
    assert place_of(page, early) == (0.0, 4.0)
    assert place_of(page, noon) == (48.0, 4.0)
    assert place_of(page, late) == (92.0, 6.0)
    assert re.findall(r'<span class="h(\d+)">', page) == ["8", "10", "12", "14", "16", "18"]


@pytest.mark.django_db
def test_a_usual_day_keeps_the_usual_hours(company: Company, dispatcher: User, client: Client) -> None:
    stop = stop_at(build_technician(), "NOON", on(DAY, 12))

    page = board_of(client, dispatcher)

    assert place_of(page, stop) == (47.37, 5.26)  # 4.5 h and half an hour of 9.5 h
    assert re.findall(r'<span class="h(\d+)">', page) == [str(hour) for hour in range(8, 17)]


@pytest.mark.django_db
def test_a_shift_from_five_to_eight_at_night_has_its_whole_lane(
    company: Company, dispatcher: User, client: Client
) -> None:
    person = build_technician(shift_start=time(5, 15), shift_end=time(20, 10))
    stop = stop_at(person, "NOON", on(DAY, 12))

    assert place_of(board_of(client, dispatcher), stop)[0] == round(7 / 15.5 * 100, 2)


@given(first=st.integers(0, 15), last=st.integers(34, 48))
def test_grid_lines_and_written_hours_stand_at_whole_hours(first: int, last: int) -> None:
    hours = LaneHours(DAY, first / 2, last / 2)

    for hour, at in hours.labels:
        assert 0 < at < 100
        assert abs(hours.share(datetime.combine(DAY, time(hour))) - at) < 1e-9
    # A background's place counts in what the lane has over the picture (W3C, CSS Backgrounds 3, 3.6).
    first_line = hours.grid_at * (100 - hours.hour_width) / 100
    whole = next(hour for hour in range(25) if hour >= hours.first)
    assert abs(first_line - hours.share(datetime.combine(DAY, time(whole)))) < 1e-9


def test_what_lies_on_another_day_stands_at_the_edge() -> None:
    hours = LaneHours(DAY, 7.5, 17.0)

    assert hours.share(on(DAY - timedelta(days=1), 12)) == 0
    assert hours.share(on(DAY + timedelta(days=1), 12)) == 100


@given(st.sets(st.sampled_from(["mon", "tue", "wed", "thu", "fri", "sat", "sun"])))
def test_no_day_of_work_lacks_its_column(workdays: set[str]) -> None:
    days = [DAY + timedelta(days=number) for number in range(7)]
    shown = days_with_work(days, [(",".join(sorted(workdays)), "")], ())

    assert set(days[:5]) <= set(shown)
    assert [day in shown for day in days[5:]] == ["sat" in workdays, "sun" in workdays]

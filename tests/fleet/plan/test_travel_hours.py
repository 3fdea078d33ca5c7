"""Driving that takes longer at some hours: lines, arrivals, laws; its form, history and undo."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from fleet.calc.plan.arrival_spread import Step, arrival_span
from fleet.calc.plan.travel_hours import DAY_S, RushSpan, TravelHours, parse_rush_hours, rush_text
from fleet.calc.visits.settings import PREFIX, RUSH_HOURS, VisitSettings, travel_hours, visit_settings
from fleet.models import Company, User
from fleet.selectors.visits.settings_page import rush_hours, setting_history
from fleet.services.visits.settings import BadSetting, CannotPutBack, put_back_settings, save_rush_hours
from sites.models import Change
from tests.conftest import NOW

SignIn = Callable[[User], Client]
WHO: dict[str, Any] = {"by": "hana", "now": NOW}
H = 3600
MORNING = RushSpan(7 * H, 9 * H, 1.5)
EVENING = RushSpan(16 * H, 18 * H, 1.25)


def hours(*spans: RushSpan, settle_s: float = 0.0) -> TravelHours:
    return TravelHours(spans, settle_s)


SPANS = st.lists(
    st.tuples(
        st.integers(0, 47), st.integers(1, 8), st.sampled_from([0.5, 0.8, 1.2, 1.5, 3.0]), st.booleans()
    ),
    max_size=4,
)


def spans_of(rows: list[tuple[int, int, float, bool]]) -> tuple[RushSpan, ...]:
    """Spans apart from each other, by half hours."""
    made: list[RushSpan] = []
    for start, length, factor, every in sorted(rows):
        first = max(start * 1800, made[-1].to_s if made else 0)
        last = min(first + length * 1800, DAY_S)
        if first < last:
            made.append(RushSpan(first, last, factor, every))
    return tuple(made)


def test_an_arrival_worked_by_hand() -> None:
    """Leaving at 06:50 for 30 min: 10 min before seven, the other 20 min take 30 min at 1.5; 07:30."""
    both = hours(MORNING, EVENING)

    assert both.arrival(6 * H + 3000, 1800) == 7 * H + 1800
    # From 08:50 for 20 min: 10 min of clock drive 6 min 40 s, the rest 13 min 20 s at 1: 09:13:20.
    assert both.arrival(8 * H + 3000, 1200) == 9 * H + 800
    assert both.arrival(12 * H, 1800) == 12 * H + 1800


def test_parking_takes_as_long_at_any_hour() -> None:
    assert hours(MORNING, settle_s=120).arrival(7 * H, 120 + 600) == 7 * H + 900 + 120
    assert hours(MORNING, settle_s=120).arrival(7 * H, 0) == 7 * H


def test_weekends_have_no_rush_unless_they_are_said_to() -> None:
    saturday = 5 * DAY_S + 7 * H
    always = RushSpan(7 * H, 9 * H, 1.5, every_day=True)

    assert hours(MORNING).arrival(saturday, 600) == saturday + 600
    assert hours(always).arrival(saturday, 600) == saturday + 900
    # The clock of a second week begins on a Monday, too.
    assert hours(MORNING).arrival(7 * DAY_S + 7 * H, 600) == 7 * DAY_S + 7 * H + 900


@settings(max_examples=60, deadline=None)
@given(
    rows=SPANS,
    leave=st.integers(0, 8 * DAY_S),
    later=st.integers(0, 4 * H),
    trip=st.integers(0, 3 * H),
    settle=st.sampled_from([0.0, 120.0]),
)
def test_leaving_later_never_arrives_earlier(
    rows: list[tuple[int, int, float, bool]], leave: int, later: int, trip: int, settle: float
) -> None:
    through = hours(*spans_of(rows), settle_s=settle)

    assert through.arrival(leave, trip) <= through.arrival(leave + later, trip)
    assert through.arrival(leave, trip) >= leave + min(trip, settle)
    assert through.arrival(leave, trip) <= through.arrival(leave, trip + later)


@settings(max_examples=60, deadline=None)
@given(rows=SPANS, leave=st.integers(H, 6 * DAY_S), trip=st.integers(0, 3 * H))
def test_the_last_second_to_leave_is_in_time_and_the_next_is_not(
    rows: list[tuple[int, int, float, bool]], leave: int, trip: int
) -> None:
    through = hours(*spans_of(rows), settle_s=120.0)
    arrives = through.arrival(leave, trip)

    last = through.leaving(arrives, trip)

    assert last >= leave
    assert through.arrival(last, trip) <= arrives
    assert through.arrival(last + 1, trip) > arrives


@settings(max_examples=40, deadline=None)
@given(
    rows=SPANS, leave=st.integers(0, 6 * DAY_S), trips=st.lists(st.integers(0, 2 * H), min_size=1, max_size=5)
)
def test_many_arrivals_at_once_are_the_single_ones(
    rows: list[tuple[int, int, float, bool]], leave: int, trips: list[int]
) -> None:
    through = hours(*spans_of(rows), settle_s=60.0)

    many = through.arrivals(np.full(len(trips), float(leave)), np.array(trips, dtype=float))

    assert_allclose(np.ceil(many - 1e-6), [through.arrival(leave, trip) for trip in trips], atol=1)


def test_the_mean_of_a_shift_by_hand() -> None:
    """From 08:00 to 17:00: an hour at 1.5, an hour at 1.25, seven at 1."""
    both = hours(MORNING, EVENING)

    assert both.mean_factor(8 * H, 17 * H) == pytest.approx((1.5 + 1.25 + 7) / 9)
    assert both.mean_factor(5 * DAY_S + 8 * H, 5 * DAY_S + 17 * H) == 1
    assert both.mean_factor(8 * H, 8 * H) == 1


def test_lines_are_read_and_written_alike() -> None:
    spans = parse_rush_hours("1,25 from 16:00 to 18:00\n\nX 1.5 FROM 7:00 TO 09:00 every day")

    assert spans == (RushSpan(7 * H, 9 * H, 1.5, every_day=True), EVENING)
    assert rush_text(spans) == "x 1.5 from 07:00 to 09:00 every day\nx 1.25 from 16:00 to 18:00"
    assert parse_rush_hours(rush_text(spans)) == spans
    assert parse_rush_hours("") == ()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("in the morning it is slow", "expected a line like"),
        ("x 1.3 from 09:00 to 07:00", "from must come before to"),
        ("x 1.3 from 07:75 to 09:00", "no such time"),
        ("x 9 from 07:00 to 09:00", "expected 0.5 to 3 times"),
        ("x 0 from 07:00 to 09:00", "expected 0.5 to 3 times"),
        ("x 1.3 from 25:00 to 26:00", "no such time"),
        ("x 1.3 from 24:00 to 24:30", "from must come before to"),
        ("x 1.3 from 07:00 to 09:00\nx 1.2 from 08:59 to 10:00", "lie over each other"),
        ("\n".join(f"x 1.1 from {n:02d}:00 to {n:02d}:30" for n in range(9)), "8 at most"),
    ],
)
def test_lines_that_say_nothing_are_refused_in_words(line: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        parse_rush_hours(line)


def test_arrivals_spread_wider_where_hours_are_slow() -> None:
    steps = [Step(1800, 3600, 0, 0.0), Step(1800, 3600, 0, 0.0)]
    slow = hours(RushSpan(7 * H, 12 * H, 2.0))

    usual = arrival_span(leave_s=7 * H, steps=steps, seed=1)
    later = arrival_span(leave_s=7 * H, steps=steps, seed=1, hours=slow)

    # Two drives of half an hour take an hour each.
    assert later[0] > usual[0] + 2400
    assert later[1] - later[0] == pytest.approx(2 * (usual[1] - usual[0]), rel=0.1)
    assert arrival_span(leave_s=13 * H, steps=steps, seed=1, hours=slow) == pytest.approx(
        arrival_span(leave_s=13 * H, steps=steps, seed=1), abs=1e-6
    )


def test_a_company_without_lines_has_no_hours() -> None:
    assert travel_hours(VisitSettings(), points_per_money=100) is None
    assert visit_settings({PREFIX + RUSH_HOURS: ""}).rush_hours == ()
    own = visit_settings({PREFIX + RUSH_HOURS: "x 1.5 from 07:00 to 09:00", "visits.settle_s": 90})
    assert travel_hours(own, points_per_money=100) == TravelHours((MORNING,), 90.0, 4200.0)


@pytest.mark.django_db
def test_lines_are_kept_with_history_and_put_back(company: Company) -> None:
    saved = save_rush_hours(text="1.5 from 7:00 to 9:00", **WHO)
    again = save_rush_hours(text="x 1.5 from 07:00 to 09:00", **WHO)

    assert saved.changed == (RUSH_HOURS,)
    assert again.changed == ()
    told = rush_hours()
    assert told.meaning == ("Monday to Friday, 20 min of driving begun at 07:00 take 30 min",)
    assert told.mean == pytest.approx(1 + 0.5 / 9, abs=1e-3)
    entry = Change.objects.get(kind="visit_settings")
    assert setting_history()[0].lines == (("Hours with longer driving", "none", "x 1.5 from 07:00 to 09:00"),)

    put_back_settings(change_id=entry.pk, **WHO)

    assert rush_hours().text == ""
    with pytest.raises(CannotPutBack):
        put_back_settings(change_id=entry.pk, **WHO)


@pytest.mark.django_db
def test_other_settings_stay_when_lines_change(company: Company) -> None:
    company.settings = {"visits.cost_per_km": 0.7}
    company.save()

    save_rush_hours(text="1.5 from 7:00 to 9:00", **WHO)

    company.refresh_from_db()
    assert company.settings == {"visits.cost_per_km": 0.7, PREFIX + RUSH_HOURS: "x 1.5 from 07:00 to 09:00"}


@pytest.mark.django_db
def test_the_page_takes_lines_and_says_what_they_mean(
    company: Company, dispatcher: User, sign_in: SignIn
) -> None:
    client = sign_in(dispatcher)

    done = client.post("/prices/hours/", {"rush_hours": "x 1.5 from 07:00 to 09:00"}, follow=True)
    page = done.content.decode()

    assert "Kept." in page
    assert "20 min of driving begun at 07:00 take 30 min" in page
    assert "1.06" in page

    bad = client.post("/prices/hours/", {"rush_hours": "x 1.5 from nine to five"})
    page = bad.content.decode()
    assert bad.status_code == 422
    assert "expected a line like" in page
    assert "x 1.5 from nine to five" in page
    company.refresh_from_db()
    assert company.settings[PREFIX + RUSH_HOURS] == "x 1.5 from 07:00 to 09:00"


@pytest.mark.django_db
def test_bad_lines_write_nothing(company: Company) -> None:
    with pytest.raises(BadSetting, match="Hours with longer driving"):
        save_rush_hours(text="x 12 from 07:00 to 09:00", **WHO)
    assert not Change.objects.exists()

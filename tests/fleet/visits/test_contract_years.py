"""Years of contracts, what visits use of them, when included visits are due; common practice, no source."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.visits.contract_due import due_window, included_visit_value, included_words
from fleet.calc.visits.contracts import (
    CONTRACT_KINDS,
    VisitMade,
    anniversary,
    contract_use,
    contract_year,
    year_shown,
)

DAYS = st.dates(date(1996, 1, 1), date(2060, 12, 31))
YEAR = contract_year(date(2026, 6, 15), date(2026, 4, 1))
SEASONS = [(date(y, 4, 20), date(y, 10, 15)) for y in (2025, 2026, 2027)]


@settings(max_examples=200)
@given(start=DAYS, ahead=st.integers(0, 12_000))
def test_years_of_a_contract_follow_each_other_without_gap_or_overlap(start: date, ahead: int) -> None:
    on = start + timedelta(days=ahead)

    year = contract_year(on, start)

    assert year.holds(on)
    assert 365 <= (year.end - year.start).days <= 366
    assert contract_year(year.end, start).start == year.end
    assert contract_year(year.end, start).number == year.number + 1
    assert contract_year(year.last_day, start) == year
    assert (year.number == 0) == (year.start == start)


@pytest.mark.parametrize(
    ("on", "starts", "ends"),
    [
        (date(2024, 2, 29), date(2024, 2, 29), date(2025, 3, 1)),
        (date(2025, 2, 28), date(2024, 2, 29), date(2025, 3, 1)),
        (date(2025, 3, 1), date(2025, 3, 1), date(2026, 3, 1)),
        (date(2028, 2, 29), date(2028, 2, 29), date(2029, 3, 1)),
        (date(2028, 2, 28), date(2027, 3, 1), date(2028, 2, 29)),
    ],
)
def test_a_contract_of_29_february_begins_its_common_years_in_march(
    on: date, starts: date, ends: date
) -> None:
    year = contract_year(on, date(2024, 2, 29))

    assert (year.start, year.end) == (starts, ends)


def test_a_day_outside_the_contract_has_no_year_and_its_end_cuts_the_last_one() -> None:
    start, end = date(2025, 4, 1), date(2026, 10, 1)

    for day in (date(2025, 3, 31), end):
        with pytest.raises(ValueError, match="outside the contract"):
            contract_year(day, start, end)

    assert contract_year(date(2026, 9, 30), start, end).end == end
    assert year_shown(date(2020, 1, 1), start, end).number == 0
    assert year_shown(date(2030, 1, 1), start, end).last_day == date(2026, 9, 30)
    assert anniversary(date(2024, 2, 29), 4) == date(2028, 2, 29)


KINDS = st.dictionaries(st.sampled_from(CONTRACT_KINDS), st.integers(1, 4), max_size=4)
VISITS = st.lists(
    st.builds(
        VisitMade,
        day=DAYS,
        kinds=st.frozensets(st.sampled_from((*CONTRACT_KINDS, "dig")), max_size=3),
        cost=st.floats(0, 100),
    ),
    max_size=12,
)


@settings(max_examples=200)
@given(included=KINDS, pool=st.integers(0, 3), visits=VISITS)
def test_visits_beyond_are_those_that_nothing_included_takes(
    included: dict[str, int], pool: int, visits: list[VisitMade]
) -> None:
    use = contract_use(included, pool, visits)

    assert use.made == len(visits)
    assert 0 <= use.beyond <= len(visits)
    assert use.beyond == use.any_kind.over
    for one in use.kinds:
        assert one.used == sum(one.kind in visit.kinds for visit in visits)
    assert use.beyond_cost <= sum(visit.cost for visit in visits) + 1e-9
    more = contract_use(included, pool + 1, visits)
    assert more.beyond == max(0, use.beyond - 1)
    # In whatever order they are told.
    assert contract_use(included, pool, visits[::-1]).beyond == use.beyond


def test_what_comes_along_with_an_included_visit_uses_nothing() -> None:
    visits = [
        VisitMade(date(2026, 5, 1), frozenset({"start_up", "program_change"})),
        VisitMade(date(2026, 6, 1), frozenset({"repair"})),
        VisitMade(date(2026, 7, 1), frozenset({"repair"}), 55.0),
        VisitMade(date(2026, 8, 1), frozenset({"start_up"}), 70.0),
    ]

    use = contract_use({"start_up": 1}, 1, visits)

    assert (use.beyond, use.beyond_cost, use.left, use.kinds[0].over) == (2, 125.0, 0, 1)


def test_visits_made_before_the_book_count_first_and_cost_as_planned() -> None:
    use = contract_use(
        {"audit": 1},
        0,
        [VisitMade(date(2026, 6, 1), frozenset({"audit"}), 90.0)],
        {"audit": 2},
        {"audit": 50.0},
    )

    assert (use.made, use.beyond, use.beyond_cost, use.costs_planned) == (3, 2, 140.0, 1)


@pytest.mark.parametrize(
    ("kind", "number", "included", "day", "opens", "due_by"),
    [
        ("start_up", 1, 1, date(2026, 4, 25), date(2026, 4, 20), date(2026, 5, 20)),
        ("backflow_test", 1, 1, date(2026, 4, 5), date(2026, 3, 30), date(2026, 4, 20)),
        ("winterize", 1, 1, date(2026, 9, 20), date(2026, 9, 17), date(2026, 10, 15)),
        ("sensor_check", 1, 1, date(2026, 6, 1), date(2026, 6, 18), date(2026, 8, 17)),
        ("sensor_check", 2, 2, date(2026, 6, 1), date(2026, 8, 17), date(2026, 9, 15)),
        ("audit", 1, 1, date(2026, 6, 1), date(2026, 4, 20), date(2026, 10, 15)),
        # After this year's window has closed: next spring's, should it lie in the contract's year.
        ("start_up", 1, 1, date(2026, 8, 1), None, None),
    ],
)
def test_visits_are_due_by_the_season_of_the_place(
    kind: str, number: int, included: int, day: date, opens: date | None, due_by: date | None
) -> None:
    window = due_window(kind, number, included, YEAR, SEASONS, day)

    assert (window and window.opens, window and window.due_by) == (opens, due_by)


def test_a_start_up_made_before_the_contract_was_renewed_is_not_due_again_in_the_same_spring() -> None:
    year = contract_year(date(2026, 4, 28), date(2026, 4, 28))

    assert due_window("start_up", 1, 1, year, SEASONS, date(2026, 4, 29), date(2026, 4, 22)) == due_window(
        "start_up", 1, 1, year, SEASONS, date(2027, 4, 21)
    )


@settings(max_examples=150)
@given(
    kind=st.sampled_from(("start_up", "sensor_check", "audit", "backflow_test", "winterize")),
    included=st.integers(1, 4),
    start=DAYS,
    ahead=st.integers(0, 364),
    first=st.integers(1, 200),
    length=st.integers(1, 165),
    knows=st.booleans(),
)
def test_windows_lie_in_order_and_end_with_the_contracts_year(
    kind: str, included: int, start: date, ahead: int, first: int, length: int, knows: bool
) -> None:
    year = contract_year(start + timedelta(days=ahead), start)
    season = [
        (date(y, 1, 1) + timedelta(days=first), date(y, 1, 1) + timedelta(days=first + length))
        for y in range(start.year - 1, start.year + 3)
    ]
    windows = [
        due_window(kind, number, included, year, season if knows else [], year.start)
        for number in range(1, included + 1)
    ]

    for one in windows:
        assert one is None or (one.opens <= one.due_by < one.closes <= year.end and one.due_by >= year.start)
    known = [one for one in windows if one is not None]
    assert [one.opens for one in known] == sorted(one.opens for one in known)


@given(paid=st.floats(0, 500), days=st.integers(1, 366), least=st.floats(0, 10))
def test_waiting_costs_more_the_fewer_days_are_left_and_never_more_than_was_paid(
    paid: float, days: int, least: float
) -> None:
    now, later = (included_visit_value(paid, left, least) for left in (days, max(1, days - 1)))

    assert least <= now <= later <= max(least, paid)
    assert included_visit_value(paid, 1, 0.0) * 5 == pytest.approx(paid)


def test_why_is_said_in_one_sentence() -> None:
    till = date(2027, 3, 31)

    assert (
        included_words("sensor_check", 2, 2, till) == "2nd of 2 mid-season checks included till 31 Mar 2027"
    )
    assert included_words("start_up", 1, 1, till) == "The spring start-up included till 31 Mar 2027"
    assert included_words("audit", 11, 12, till).startswith("11th of 12 audits")

"""Included visits that are due become needs, with what waiting costs; each job once, no reason lost."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.visits.settings import VisitSettings
from fleet.models import Company, LocationSeason, VisitNeed
from fleet.services.plan.visits_of_week import merge_needs
from fleet.services.visits.all_wants import all_wants, joined
from fleet.services.visits.needs_by_hand import withdraw_need
from fleet.services.visits.raise_needs import raise_needs
from fleet.services.visits.wanted import Wanted
from sites.models import Site
from tests.conftest import DAY, NOW
from tests.factories import build_location, build_need, build_site
from tests.fleet.visits.test_contract_pages import bought, made

pytestmark = pytest.mark.django_db
APRIL_1 = date(2026, 4, 1)


def garden(code: str = "CB-14", *, start_up: int | None = 110, winterize: int | None = 288) -> Site:
    """A garden at a place whose season runs from 20 April to 15 October."""
    location = build_location(f"place of {code}")
    LocationSeason.objects.create(
        location=location, computed_on=date(2100, 1, 1), first_day=date(2010, 1, 1), start_up_from=start_up,
        winterize_by=winterize, seasons=16, freezing_share=0.9,
    )  # fmt: skip
    return build_site(code, location=location)


def wants_of(day: date) -> list[tuple[str, str]]:
    """Kind and reason of what contracts want on a day."""
    return [
        (want.kind, want.reason)
        for want in all_wants(day=day, settings=VisitSettings())
        if want.origin == VisitNeed.Origin.CONTRACT
    ]


def test_the_second_check_is_wanted_once_it_is_due_and_says_why(company: Company) -> None:
    site = garden()
    bought(site, sensor_check=2)
    made(site, date(2026, 6, 1), "sensor_check")

    assert wants_of(date(2026, 8, 16)) == []
    raise_needs(day=date(2026, 8, 20))
    need = VisitNeed.objects.get(state="open")
    assert (need.origin, need.kind) == ("contract", "sensor_check")
    assert need.reason == "2nd of 2 mid-season checks included till 31 Mar 2027; due by 15 Sep 2026."
    # Half of 300 a year, over the days that are left: 224.
    assert need.value_parts == {"contract": pytest.approx(1.0)}

    raise_needs(day=date(2027, 3, 1))
    need.refresh_from_db()
    assert "was due by 15 Sep 2026" in need.reason
    assert need.value_parts == {"contract": pytest.approx(150 / 31, abs=0.01)}

    raise_needs(day=date(2027, 4, 1))
    need.refresh_from_db()
    assert need.state == "withdrawn"


def test_raising_twice_changes_nothing_and_a_made_visit_closes_its_number(company: Company) -> None:
    site = garden()
    bought(site, sensor_check=2)
    day = date(2026, 6, 1)
    raise_needs(day=day)
    before = list(VisitNeed.objects.values())
    done = raise_needs(day=day)
    assert (done.raised, done.refreshed, done.withdrawn) == (0, 0, 0)
    assert list(VisitNeed.objects.values()) == before

    made(site, day, "sensor_check")
    VisitNeed.objects.filter(origin="contract").update(state="done", closed_on=day)
    raise_needs(day=day + timedelta(days=1))
    assert not VisitNeed.objects.filter(state="open").exists()

    raise_needs(day=date(2026, 9, 1))
    assert VisitNeed.objects.get(state="open").reason.startswith("2nd of 2 mid-season checks")


def test_work_paid_by_a_quote_does_not_use_up_the_included_visit(company: Company) -> None:
    site = garden()
    bought(site, audit=1)
    made(site, date(2026, 5, 1), "audit", quote="approved")

    assert wants_of(date(2026, 5, 10)) == []  # three weeks of rest all the same
    assert [kind for kind, _ in wants_of(date(2026, 6, 1))] == ["audit"]


@pytest.mark.parametrize(
    ("day", "kinds"),
    [
        (date(2026, 4, 19), ["backflow_test"]),
        (date(2026, 4, 20), ["backflow_test", "start_up"]),
        (date(2026, 5, 25), ["start_up"]),
        (date(2026, 7, 1), []),
        (date(2026, 9, 18), ["winterize"]),
        (date(2026, 11, 20), []),
    ],
)
def test_seasonal_work_is_due_by_the_season_of_the_garden(
    day: date, kinds: list[str], company: Company
) -> None:
    bought(garden(), start_up=1, winterize=1, backflow_test=1)

    assert sorted(kind for kind, _ in wants_of(day)) == kinds


def test_where_no_season_is_known_the_whole_year_stands_for_it(company: Company) -> None:
    bought(garden(start_up=None, winterize=None), audit=2)

    assert [kind for kind, _ in wants_of(date(2026, 4, 2))] == ["audit"]


def test_calendar_and_contract_ask_for_one_start_up_with_both_reasons(company: Company) -> None:
    site = garden()
    Site.objects.filter(pk=site.pk).update(imported_on=date(2025, 1, 1))
    raise_needs(day=date(2026, 4, 21))
    need = VisitNeed.objects.get(kind="start_up")
    assert need.origin == "calendar"

    bought(site, start_up=1)
    raise_needs(day=date(2026, 4, 22))
    again = VisitNeed.objects.get(kind="start_up")
    assert (again.pk, again.origin, again.raised_on) == (need.pk, "contract", date(2026, 4, 21))
    assert "The spring start-up included till 31 Mar 2027" in again.reason
    assert "last hard freeze" in again.reason
    assert set(again.value_parts) == {"contract", "priority"}

    # Met: neither the one nor the other asks again.
    made(site, date(2026, 4, 23), "start_up")
    VisitNeed.objects.filter(pk=need.pk).update(state="done", closed_on=date(2026, 4, 23))
    raise_needs(day=date(2026, 4, 24))
    assert not VisitNeed.objects.filter(kind="start_up", state="open").exists()


def test_what_a_person_withdrew_rests_and_what_a_person_asked_for_is_not_asked_twice(
    company: Company,
) -> None:
    site, other = garden("A"), garden("B")
    for one in (site, other):
        bought(one, audit=1)
    build_need(other, kind="audit")
    day = date(2026, 6, 1)
    raise_needs(day=day)
    need = VisitNeed.objects.get(origin="contract")
    assert need.site == site

    withdraw_need(
        need_id=need.pk, why="away till July", rests_until=date(2026, 7, 1), by="hana", now=NOW, day=day
    )
    raise_needs(day=date(2026, 6, 30))
    assert not VisitNeed.objects.filter(origin="contract", state="open").exists()
    raise_needs(day=date(2026, 7, 1))
    assert VisitNeed.objects.filter(origin="contract", state="open").exists()


def test_the_list_of_visits_and_the_contract_tell_the_need(
    company: Company, sign_in: object, dispatcher: object
) -> None:
    site = garden()
    row = bought(site, audit=1)
    raise_needs(day=date(2026, 6, 1))
    client: Client = sign_in(dispatcher)  # type: ignore[operator]

    listed = client.get(reverse("fleet:visits")).content.decode()
    card = client.get(reverse("fleet:contract", args=[row.pk])).content.decode()
    need = VisitNeed.objects.get()
    detail = client.get(reverse("fleet:need", args=[need.pk])).content.decode()

    assert "The audit included till 31 Mar 2027" in listed
    assert "service contract" in listed
    assert "The audit included till 31 Mar 2027" in card
    assert "visit that the customer has paid for" in detail


ORIGINS = st.sampled_from(("watch", "calendar", "contract", "round"))
WANTS = st.lists(
    st.builds(
        Wanted,
        site_id=st.integers(1, 3),
        controller_id=st.none(),
        kind=st.sampled_from(("audit", "start_up", "sensor_check")),
        origin=ORIGINS,
        key=st.uuids().map(str),
        reason=st.text("abcdef", min_size=5, max_size=90),
        value_parts=st.dictionaries(st.sampled_from(("water", "priority", "contract")), st.floats(0.01, 50)),
    ),
    max_size=12,
    unique_by=lambda want: (want.origin, want.kind, want.site_id),
)


@settings(max_examples=150)
@given(wants=WANTS)
def test_joining_asks_for_each_job_once_and_loses_no_reason_and_no_value(wants: list[Wanted]) -> None:
    found = joined(wants)

    assert len({one.cause for one in found}) == len(found)
    assert {one.cause for one in found} == {want.cause for want in wants}
    for want in wants:
        home = next(one for one in found if one.cause == want.cause)
        assert want.reason in home.reason
        assert home.value_per_day >= want.value_per_day - 0.01 * len(wants)
    total = sum(one.value_per_day for one in found)
    assert total == pytest.approx(sum(want.value_per_day for want in wants), abs=0.02 * len(wants) + 1e-9)


@settings(max_examples=60)
@given(
    skills=st.lists(st.sampled_from(("", "wiring", "dig", "backflow", "dig;wiring")), min_size=1, max_size=8),
    sites=st.lists(st.integers(1, 3), min_size=8, max_size=8),
    able=st.lists(st.frozensets(st.sampled_from(("wiring", "dig", "backflow"))), max_size=3),
    hours=st.lists(st.integers(7, 15), min_size=8, max_size=8),
)
def test_merging_at_a_site_puts_every_need_into_exactly_one_visit(
    skills: list[str], sites: list[int], able: list[frozenset[str]], hours: list[int]
) -> None:
    needs = [
        VisitNeed(
            pk=number, site_id=sites[number], kind="audit", origin="person", key=str(number), reason="r",
            raised_on=DAY, value_per_day=1.0, service_min=30, skill=skill,
            earliest=NOW.replace(hour=hours[number]), latest=NOW.replace(hour=hours[number] + 2),
        )
        for number, skill in enumerate(skills)
    ]  # fmt: skip

    visits = merge_needs(needs, able)

    assert sorted(need.pk for visit in visits for need in visit.needs) == list(range(len(needs)))
    for visit in visits:
        assert {need.site_id for need in visit.needs} == {visit.site_id}
        assert visit.value_per_day == pytest.approx(len(visit.needs))
        assert visit.service_min <= sum(need.service_min for need in visit.needs)
        start, end = max(n.earliest for n in visit.needs), min(n.latest for n in visit.needs)  # type: ignore[type-var]
        assert start <= end  # type: ignore[operator]

"""Needs from flags, programs, logs and calendar."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.models import Company, Flag, Tariff, VisitNeed
from fleet.selectors.visits.prerequisites import NO_TICKET
from fleet.services.visits.needs_by_hand import record_locate_ticket
from fleet.services.visits.raise_needs import raise_needs
from sites.models import Recommendation
from tests.conftest import NOW
from tests.factories import DAY, build_controller, build_need, build_sensor, build_site
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db


def flagged(code: str = "CB-14", litres: float = 7000.0) -> Flag:
    site = build_site(code, supplier="Ford Water")
    controller = build_controller(site)
    return Flag.objects.create(
        controller=controller,
        cause="reads_wet",
        raised_on=DAY,
        probability=0.9,
        litres_at_stake_per_week=litres,
        evidence="38 of 40 starts bypassed, 16 expected",
    )


def test_a_flag_becomes_a_sensor_check_priced_by_the_suppliers_tariff(company: Company) -> None:
    flagged()
    Tariff.objects.create(supplier="Ford Water", starts_on=date(2026, 1, 1), price_per_m3=3.0, currency="USD")

    done = raise_needs(day=DAY)

    need = VisitNeed.objects.get()
    assert (done.raised, need.kind, need.origin) == (1, "sensor_check", "watch")
    assert need.value_parts == {"water": 3.0}
    assert "38 of 40" in need.reason


def test_raising_twice_changes_nothing(company: Company) -> None:
    flagged()
    raise_needs(day=DAY)
    before = list(VisitNeed.objects.values())

    done = raise_needs(day=DAY)

    assert (done.raised, done.refreshed, done.withdrawn) == (0, 0, 0)
    assert list(VisitNeed.objects.values()) == before


def test_a_need_is_withdrawn_when_its_flag_closes_and_comes_back_with_it(company: Company) -> None:
    flag = flagged()
    raise_needs(day=DAY)
    Flag.objects.filter(pk=flag.pk).update(closed_on=DAY, closed_by="data")
    raise_needs(day=DAY)
    assert VisitNeed.objects.get().state == "withdrawn"

    Flag.objects.filter(pk=flag.pk).update(closed_on=None, closed_by="")
    raise_needs(day=DAY)

    assert VisitNeed.objects.get().state == "open"


def test_a_need_that_a_visit_met_is_not_raised_again_for_the_same_flag(company: Company) -> None:
    flagged()
    raise_needs(day=DAY)
    VisitNeed.objects.update(state="done", closed_on=DAY)

    raise_needs(day=DAY + timedelta(days=1))

    assert VisitNeed.objects.count() == 1


def test_a_program_change_keeps_its_need_over_the_weeks_and_a_held_one_has_none(company: Company) -> None:
    controller = build_controller(build_site())
    for week in (DAY, DAY + timedelta(days=7)):
        Recommendation.objects.create(
            controller=controller, week=week, is_change=True, computed_on=week, water_at_stake_l=8000
        )
        raise_needs(day=week)
    need = VisitNeed.objects.get()
    assert (need.kind, need.raised_on) == ("program_change", DAY)

    Recommendation.objects.update(status="held")
    raise_needs(day=DAY + timedelta(days=7))

    assert VisitNeed.objects.get().state == "withdrawn"


def test_a_station_that_cannot_close_its_pass_asks_for_an_exchange_of_wires(company: Company) -> None:
    controller = build_controller(build_site())
    Recommendation.objects.create(
        controller=controller, week=DAY, is_change=False, computed_on=DAY, needs_wire_move=True
    )

    raise_needs(day=DAY)

    need = VisitNeed.objects.get()
    assert (need.kind, need.skill) == ("move_station_wire", "wiring")


def test_a_sensor_without_log_is_a_need_of_its_own_but_not_on_the_day_of_the_import(
    company: Company,
) -> None:
    new = build_site("NM-01", imported_on=DAY)
    old = build_site("NM-02", imported_on=DAY - timedelta(days=40))
    for site in (new, old):
        build_sensor(build_controller(site))

    raise_needs(day=DAY)

    assert VisitNeed.objects.get().site == old


def test_an_audit_is_due_a_year_after_the_site_came_into_the_book(company: Company) -> None:
    build_site("A", imported_on=DAY - timedelta(days=366))
    build_site("B", imported_on=DAY - timedelta(days=300))

    raise_needs(day=DAY)

    assert [need.site.code for need in VisitNeed.objects.all()] == ["A"]


def test_winterization_is_asked_for_before_the_early_hard_freeze(company: Company) -> None:
    location = Location.objects.create(name="cold", latitude=41.2, longitude=-104.7, elevation_m=1500)
    first = date(2019, 1, 1)
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location,
            day=(day := first + timedelta(days=n)),
            issued=day,
            tmin_c=-6.0 if day.month in (11, 12, 1, 2, 3) else 6.0,
            tmax_c=15.0,
            fetched_at=NOW,
        )
        for n in range(365 * 7 + 200)
    )
    build_site(location=location)

    raise_needs(day=date(2026, 7, 1))
    assert not VisitNeed.objects.filter(kind="winterize").exists()
    raise_needs(day=date(2026, 10, 5))

    need = VisitNeed.objects.get(kind="winterize")
    assert "2026-10-25" in need.reason  # a week before 1 November


def test_a_dig_waits_for_a_valid_locate_ticket(company: Company) -> None:
    need = build_need(build_site(), kind="dig")
    raise_needs(day=DAY)
    need.refresh_from_db()
    assert need.blocked_by == NO_TICKET

    kept = record_locate_ticket(
        need_id=need.pk, ticket="AF-20931", valid_until=DAY + timedelta(days=9), by="hana", now=NOW, day=DAY
    )
    assert kept.blocked_by == ""

    raise_needs(day=DAY + timedelta(days=10))
    need.refresh_from_db()
    assert need.blocked_by == NO_TICKET

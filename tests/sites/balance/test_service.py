"""The balance stage: computed once, kept, and computed again only from what changed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from sites.exports import balance as balance_export
from sites.models import (
    BalanceFront,
    BalanceMonth,
    BypassLog,
    Controller,
    ProgramLine,
    ProgramSet,
    Site,
    Zone,
)
from sites.selectors.balance import balance_days
from sites.services.balance import update_balance
from tests.factories import build_controller, build_location, build_sensor, build_site, build_zone
from weather.models import DailyWeather, Location

pytestmark = pytest.mark.django_db
FIRST = date(2026, 4, 10)
LAST = date(2026, 6, 14)


def _weather(location: Location, first: date, last: date, *, rain_on: date | None = None) -> None:
    days = [first + timedelta(days=n) for n in range((last - first).days + 1)]
    DailyWeather.objects.bulk_create(
        DailyWeather(
            location=location, day=day, issued=day, source="test",
            fetched_at=datetime(2026, 6, 15, tzinfo=UTC), tmin_c=9.0, tmax_c=24.0, eto_mm=5.0, eto_sd_mm=0.4,
            rain_mm=20.0 if day == rain_on else 0.0, rain_used_mm=20.0 if day == rain_on else 0.0,
            rain_sd_mm=0.5,
        )
        for day in days
    )  # fmt: skip
    Location.objects.filter(pk=location.pk).update(newest_day=last)


@pytest.fixture
def garden() -> Controller:
    """A site of two zones with a program of one start every other day."""
    location = build_location()
    _weather(location, FIRST, LAST, rain_on=date(2026, 5, 20))
    controller = build_controller(build_site(location=location))
    build_zone(controller, 1)
    build_zone(controller, 2, plant="shrubs", head="dripline")
    build_sensor(controller, 1)
    setting = ProgramSet.objects.create(controller=controller, as_of=FIRST)
    for station, minutes in ((1, 12), (2, 20)):
        ProgramLine.objects.create(
            program_set=setting,
            letter="A",
            days="odd",
            starts="04:00",
            station=station,
            run_min=minutes,
            run_order=station,
        )
    return controller


def _blobs() -> list[bytes]:
    return [
        bytes(values)
        for values in BalanceMonth.objects.order_by("zone_id", "month").values_list("values", flat=True)
    ]


def test_a_second_run_changes_nothing(garden: Controller) -> None:
    first = update_balance(until_day=LAST)
    before = _blobs()

    second = update_balance(until_day=LAST)

    assert first.zone_days == 2 * 66
    assert second.zone_days == 0
    assert _blobs() == before


def test_day_by_day_gives_the_same_bytes_as_all_at_once(garden: Controller) -> None:
    for back in (40, 12, 1, 0):
        update_balance(until_day=LAST - timedelta(days=back))
    piecewise = _blobs()
    BalanceFront.objects.all().delete()

    update_balance(until_day=LAST)

    assert _blobs() == piecewise


def test_only_days_from_the_change_on_are_computed_again(garden: Controller) -> None:
    update_balance(until_day=LAST)
    BypassLog.objects.create(
        controller=garden, start=date(2026, 6, 3), end=date(2026, 6, 4), starts_scheduled=1, starts_bypassed=1
    )
    Site.objects.update(stale_from=date(2026, 6, 3))

    update = update_balance(until_day=LAST)

    balance = balance_days(
        zone_ids=[garden.zones.get(station=1).pk], start=date(2026, 6, 1), end=date(2026, 6, 5)
    )
    assert update.zone_days == 2 * 14
    np.testing.assert_allclose(balance.irrigation_net_mm[[0, 2], 0] > 0, [True, False])
    assert Site.objects.get().stale_from is None


def test_a_revised_day_is_computed_again_for_the_sites_of_its_location_only(garden: Controller) -> None:
    elsewhere = build_location("41.4,-104.7", latitude=41.4)
    _weather(elsewhere, FIRST, LAST)
    build_zone(build_controller(build_site("ZZ-02", location=elsewhere)))
    update_balance(until_day=LAST)
    before = dict(BalanceFront.objects.values_list("site__code", "last_day"))
    place = garden.site.location
    assert place is not None
    DailyWeather.objects.filter(location=place, day=date(2026, 6, 5)).update(eto_mm=7.0)
    Location.objects.filter(pk=place.pk).update(stale_from=date(2026, 6, 5))

    update = update_balance(until_day=LAST)

    # Two zones from the start of the month on; not the zone elsewhere, and not April and May.
    assert (update.sites, update.zone_days) == (1, 2 * 14)
    assert dict(BalanceFront.objects.values_list("site__code", "last_day")) == before
    assert update_balance(until_day=LAST).zone_days == 0


def test_a_revised_gauge_is_computed_again_for_the_sites_that_take_its_rain(garden: Controller) -> None:
    gauge = build_location("Yard gauge", latitude=41.21)
    _weather(gauge, FIRST, LAST)
    Site.objects.update(rain_location=gauge)
    update_balance(until_day=LAST)
    DailyWeather.objects.filter(location=gauge, day=date(2026, 6, 5)).update(rain_used_mm=18.0)
    Location.objects.filter(pk=gauge.pk).update(stale_from=date(2026, 6, 5))

    update = update_balance(until_day=LAST)

    balance = balance_days(
        zone_ids=[garden.zones.get(station=2).pk], start=date(2026, 6, 4), end=date(2026, 6, 7)
    )
    assert update.zone_days == 2 * 14
    assert balance.effective_rain_mm[1, 0] > 0


def test_a_gauge_that_fell_silent_leaves_the_rain_to_the_location(garden: Controller) -> None:
    gauge = build_location("Yard gauge", latitude=41.21)
    _weather(gauge, FIRST, date(2026, 5, 18))
    Site.objects.update(rain_location=gauge)

    update_balance(until_day=LAST)

    balance = balance_days(
        zone_ids=[garden.zones.get(station=2).pk], start=date(2026, 5, 19), end=date(2026, 5, 22)
    )
    assert balance.effective_rain_mm[1, 0] > 0


def test_a_changed_zone_is_computed_from_its_first_day(garden: Controller) -> None:
    update_balance(until_day=LAST)
    Zone.objects.filter(station=2).update(landscape_coefficient=0.2)

    assert update_balance(until_day=LAST).zone_days == 2 * 66


def test_rain_fills_the_root_zone(garden: Controller) -> None:
    update_balance(until_day=LAST)

    balance = balance_days(
        zone_ids=[garden.zones.get(station=2).pk], start=date(2026, 5, 19), end=date(2026, 5, 22)
    )

    assert balance.depletion_mm[1, 0] < balance.depletion_mm[0, 0]
    assert balance.effective_rain_mm[1, 0] > 0


def test_a_site_without_weather_is_named(garden: Controller) -> None:
    build_zone(build_controller(build_site("ZZ-01")))

    assert update_balance(until_day=LAST).without_weather == ("ZZ-01",)


def test_the_export_holds_the_columns_of_the_contract(garden: Controller) -> None:
    update_balance(until_day=LAST)

    rows = list(balance_export.rows(start=date(2026, 6, 1), end=date(2026, 6, 3)))

    assert tuple(rows[0]) == balance_export.COLUMNS
    assert len(rows) == 4
    assert {row["irrigation_source"] for row in rows} == {"assumed"}

"""Leaks in reads by the hour and by the day, from the arrays to the garden's page and the visit."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.test import Client

from fleet.calc.ledger.leaks import MeterDays, find_leaks, hourly_floors
from fleet.calc.ledger.readings import RegisterReads, volumes_of_reads
from fleet.models import Company, LedgerMonth, MeterLeak, User, VisitNeed
from fleet.selectors.ledger.inputs import ledger_book
from fleet.services.ledger.leaks import update_leaks
from fleet.services.ledger.record import update_ledger
from fleet.services.visits.raise_needs import raise_needs
from sites.models import Meter, MeterReading, MeterVolume, Site
from tests.fleet.ledger.test_service import UNTIL, bills, dry_location, garden

SignIn = Callable[[User], Client]
DAY = UNTIL + timedelta(days=1)


def days_of(
    volume_l: list[float], *, floor_l_h: list[float] | None = None, rests: bool = False, house: bool = False
) -> MeterDays:
    """Days of one meter in a row."""
    count = len(volume_l)
    return MeterDays(
        meter=np.ones(count, dtype=np.int64),
        day=np.datetime64("2026-05-01", "D") + np.arange(count),
        floor_l_h=np.full(count, np.nan) if floor_l_h is None else np.array(floor_l_h),
        volume_l=np.array(volume_l, dtype=np.float64),
        rests=np.full(count, rests),
        is_whole_house=np.full(count, house),
    )


def test_flow_in_every_hour_of_three_days_is_a_leak_with_its_rate_and_litres() -> None:
    leaks = find_leaks(days_of([500.0] * 6, floor_l_h=[0.0, 0.0, 12.0, 12.0, 12.0, 0.0]))

    assert [(leak.since, leak.until, leak.rate_l_h, leak.litres, leak.basis) for leak in leaks] == [
        ("2026-05-03", "2026-05-06", 12.0, 864.0, "hours")
    ]


def test_two_days_or_a_drip_are_no_leak() -> None:
    assert find_leaks(days_of([500.0] * 4, floor_l_h=[0.0, 12.0, 12.0, 0.0])) == []
    assert find_leaks(days_of([500.0] * 9, floor_l_h=[3.0] * 9)) == []


def test_days_without_watering_that_use_alike_show_a_leak() -> None:
    dry_before = [0.0, 900.0, 0.0, 900.0]
    leaking = [960.0, 240.0, 250.0, 980.0, 240.0] * 4

    leaks = find_leaks(days_of(dry_before + leaking))

    assert len(leaks) == 1
    # the day before the first resting one was a day of watering, which hides a standstill
    assert leaks[0].since in {"2026-05-04", "2026-05-05"}
    assert leaks[0].rate_l_h == pytest.approx(10.0, rel=0.05)


def test_watering_every_day_by_the_same_amount_is_not_called_a_leak_in_season_but_in_rest() -> None:
    assert find_leaks(days_of([300.0] * 30)) == []
    assert len(find_leaks(days_of([300.0] * 30, rests=True))) == 1


def test_days_of_a_whole_house_meter_tell_no_leak_but_its_hours_do() -> None:
    assert find_leaks(days_of([300.0] * 30, rests=True, house=True)) == []
    assert len(find_leaks(days_of([300.0] * 30, floor_l_h=[9.0] * 30, house=True))) == 1


def hourly_reads(first: datetime, hours: int, *, zone: str, litres: float) -> RegisterReads:
    """A register read every hour, alike."""
    moments = [first + timedelta(hours=k) for k in range(hours + 1)]
    count = len(moments)
    return RegisterReads(
        site=np.zeros(count, dtype=np.int64),
        meter=np.ones(count, dtype=np.int64),
        read_at=np.array([at.replace(tzinfo=None) for at in moments], dtype="datetime64[s]"),
        day=np.array([at.astimezone(ZoneInfo(zone)).date() for at in moments], dtype="datetime64[D]"),
        reading=10.0 + litres / 1000.0 * np.arange(count, dtype=np.float64),
        litres_per_unit=np.full(count, 1000.0),
        digits=np.full(count, 6, dtype=np.int64),
        is_estimated=np.zeros(count, dtype=np.bool_),
        is_restart=np.zeros(count, dtype=np.bool_),
        is_whole_house=np.zeros(count, dtype=np.bool_),
    )


@pytest.mark.parametrize(
    ("begins", "changes", "hours"), [("2026-03-07T07", "2026-03-08", 23), ("2026-10-31T06", "2026-11-01", 25)]
)
def test_day_on_which_clocks_change_holds_its_own_hours(begins: str, changes: str, hours: int) -> None:
    reads = hourly_reads(datetime.fromisoformat(begins + ":00+00:00"), 96, zone="America/Denver", litres=10.0)

    use = volumes_of_reads(reads)

    by_day = {str(a): v for a, v in zip(use.periods.start, use.periods.volume_l, strict=True)}
    assert use.problems == ()
    assert by_day[changes] == pytest.approx(10.0 * hours)
    assert {round(v) for day, v in by_day.items() if day != changes} <= {240, 250, 230, 10 * hours}
    assert use.periods.volume_l.sum() <= 960.0 + 1e-6
    _, _, floor = hourly_floors(reads)
    assert floor == pytest.approx(10.0)


@pytest.fixture
def leaking(company: Company) -> Site:
    """A garden whose meter is read by the day: 900 L every third day, and 240 L a day since 1 April."""
    site = garden("CB-01", dry_location())
    meter = Meter.objects.create(site=site, code="M1", kind="irrigation")
    first = date(2026, 2, 1)
    days = [first + timedelta(days=k) for k in range((DAY - first).days)]
    litres = [900.0 * (k % 3 == 0) + 240.0 * (day >= date(2026, 4, 1)) for k, day in enumerate(days)]
    MeterVolume.objects.bulk_create(
        MeterVolume(
            meter=meter, start=day, end=day + timedelta(days=1), volume_l=used, volume_given=used, unit="l"
        )
        for day, used in zip(days, litres, strict=True)
    )
    return site


@pytest.mark.django_db
def test_leak_is_kept_told_as_reason_shown_and_visited(leaking: Site, manager: User, sign_in: SignIn) -> None:
    found = update_leaks(day=DAY)
    update_ledger(until_day=UNTIL)
    raise_needs(day=DAY)

    leak = MeterLeak.objects.get()
    assert (found.meters, found.open) == (1, 1)
    assert abs((leak.since - date(2026, 4, 1)).days) <= 2
    assert leak.rate_l_h == pytest.approx(10.0, rel=0.1)
    may = LedgerMonth.objects.get(site=leaking, month=date(2026, 5, 1))
    assert may.reasons.split(";")[0] == "leak"
    need = VisitNeed.objects.get(origin="meter")
    assert need.kind == "repair"
    assert "10 L an hour" in need.reason
    page = sign_in(manager).get(f"/water/sites/{leaking.code}/")
    assert "use that never stopped" in page.content.decode()


@pytest.mark.django_db
def test_search_for_leaks_twice_gives_the_same_rows_and_a_mended_one_closes_its_visit(leaking: Site) -> None:
    update_leaks(day=DAY)
    raise_needs(day=DAY)
    first = list(MeterLeak.objects.values("meter_id", "since", "until", "rate_l_h", "litres", "is_open"))
    update_leaks(day=DAY)
    assert list(MeterLeak.objects.values(*first[0])) == first

    meter = leaking.meters.get()
    for k in range(3):
        day = DAY + timedelta(days=k)
        MeterVolume.objects.create(
            meter=meter, start=day, end=day + timedelta(days=1), volume_l=0, volume_given=0, unit="l"
        )
    later = DAY + timedelta(days=3)
    update_leaks(day=later)
    raise_needs(day=later)

    assert MeterLeak.objects.get().is_open is False
    assert VisitNeed.objects.get(origin="meter").state == VisitNeed.State.WITHDRAWN


@pytest.mark.django_db
def test_no_second_visit_where_somebody_asked_for_the_repair(leaking: Site) -> None:
    VisitNeed.objects.create(
        site=leaking, kind="repair", origin="person", key="by hand", reason="wet lawn", raised_on=DAY,
        value_per_day=5.0, service_min=60.0,
    )  # fmt: skip
    update_leaks(day=DAY)

    raise_needs(day=DAY)

    assert not VisitNeed.objects.filter(origin="meter").exists()


@pytest.mark.django_db
def test_file_of_hourly_reads_becomes_days_of_the_garden_and_a_leak(company: Company) -> None:
    site = garden("CB-01", dry_location())
    meter = Meter.objects.create(site=site, code="H1", kind="irrigation")
    first = datetime(2026, 5, 1, 6, tzinfo=UTC)  # midnight in Denver
    counted = np.cumsum([0.0] + [300.0 if k % 24 == 3 else 8.0 for k in range(31 * 24)])
    MeterReading.objects.bulk_create(
        MeterReading(
            meter=meter,
            read_at=first + timedelta(hours=k),
            reading=5.0 + litres / 1000.0,
            unit="m3",
            digits=5,
        )
        for k, litres in enumerate(counted.tolist())
    )

    update_leaks(day=DAY)
    periods = ledger_book(until_day=UNTIL).use.periods

    assert periods.volume_l == pytest.approx(np.full(31, 300.0 + 23 * 8.0))
    leak = MeterLeak.objects.get()
    assert (leak.basis, leak.since, leak.rate_l_h) == ("hours", date(2026, 5, 1), 8.0)


@pytest.mark.django_db
def test_daily_volumes_of_one_garden_beside_monthly_bills_of_another(company: Company) -> None:
    location = dry_location()
    daily, monthly = garden("CB-01", location), garden("CB-02", location)
    bills(monthly, share_after=0.7, seed=1)
    meter = Meter.objects.create(site=daily, code="", kind="irrigation")
    for k in range(1, 41):
        start = DAY - timedelta(days=k)
        litres = 2_400.0 if k % 3 == 0 else 900.0
        MeterVolume.objects.create(
            meter=meter,
            start=start,
            end=start + timedelta(days=1),
            volume_l=litres,
            volume_given=litres,
            unit="l",
        )

    update_leaks(day=DAY)

    assert list(MeterLeak.objects.values_list("meter__site__code", flat=True)) == ["CB-01"]

"""Uses that no meter tells alone: each with its range, and said to be estimated, wherever it is read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client

from fleet.calc.ledger.house import use_range_l
from fleet.models import LedgerMonth, User
from fleet.selectors.ledger.site import water_site
from fleet.services.ledger.record import update_ledger
from sites.models import MeterVolume, Site
from tests.fleet.ledger.test_bad_input import site
from tests.fleet.ledger.test_service import UNTIL, bills

__all__ = ["site"]  # the fixture
pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def test_range_is_that_of_ninety_percent_and_never_below_nothing() -> None:
    assert use_range_l(100.0, 30.0) == pytest.approx((50.653, 149.347))
    assert use_range_l(100.0, 90.0) == pytest.approx((0.0, 248.041))
    assert use_range_l(100.0, 1.0) is None


def test_estimated_use_says_so_with_its_range_on_page_and_paper(
    site: Site, manager: User, sign_in: SignIn
) -> None:
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    months = LedgerMonth.objects.filter(site=site).order_by("-month")[:12]
    for row in months:
        row.used_l, row.used_sd_l, row.used_source = 10_000.0, 3_000.0, "estimated"
        row.save()
    client = sign_in(manager)

    page = client.get("/water/sites/CB-01/").content.decode()
    paper = client.get("/water/sites/CB-01/paper/").content.decode()
    paper = paper.replace("\u00a0", " ").replace("\u202f", " ")

    head = page.partition("</h1>")[0] + page.partition("answer")[2][:900]
    assert "by <b>estimate</b>, not by a meter" in head
    assert "(61 to 179)" in head  # errors of all months go the same way: 120 m3 by 49 %
    assert "(5.1 to 14.9)" in page
    assert "The use is estimated" in paper
    assert "between 61 m³ and 179 m³" in paper
    assert "(5.1 to 14.9)" in paper


def test_metered_use_has_no_range_and_a_whole_house_meter_has_one(
    site: Site, manager: User, sign_in: SignIn
) -> None:
    meter = bills(site, share_after=0.7, seed=1, kind="whole_house")
    for row in MeterVolume.objects.filter(meter=meter):
        row.volume_l += 9_000.0 + 2_000.0 * (row.start.month % 3)
        row.save()
    update_ledger(until_day=UNTIL)
    paper = sign_in(manager).get("/water/sites/CB-01/paper/").content.decode()
    assert "Your meter also feeds the house" in paper
    page = sign_in(manager).get("/water/sites/CB-01/").content.decode()
    assert "a day are taken for it" in page
    assert not LedgerMonth.objects.get(site=site, month=date(2026, 4, 1)).used_range_l

    MeterVolume.objects.all().delete()
    meter.delete()
    bills(site, share_after=0.7, seed=1)
    update_ledger(until_day=UNTIL)
    month = LedgerMonth.objects.get(site=site, month=date(2026, 4, 1))
    assert month.used_source == "metered"
    assert month.used_range_l is None


def test_month_read_on_its_first_day_is_no_month_without_need(site: Site) -> None:
    meter = bills(site, share_after=0.7, seed=1)
    last = MeterVolume.objects.filter(meter=meter).latest("start")
    # read once more on the next day: a dry day of May with twice its need
    share = 1 / (last.end - last.start).days
    last.end, last.volume_l = last.start + timedelta(days=1), 3.0 * share * last.volume_l
    last.save()

    update_ledger(until_day=UNTIL)

    row = LedgerMonth.objects.get(site=site, month=last.start)
    assert row.used_source == "part"
    assert "use_without_need" not in row.reasons


def test_sum_of_metered_months_has_no_range_though_its_bills_are_split(site: Site) -> None:
    meter = bills(site, share_after=0.7, seed=1)
    for row in MeterVolume.objects.filter(meter=meter).order_by("-start"):
        row.start, row.end = row.start - timedelta(days=12), row.end - timedelta(days=12)
        row.save()

    update_ledger(until_day=UNTIL)

    assert LedgerMonth.objects.get(site=site, month=date(2026, 4, 1)).used_sd_l
    assert water_site(code="CB-01").used_range_l is None

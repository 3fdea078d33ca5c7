"""Papers of the ledger: every figure says how it was made, and none claims what is not known."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from fleet.models import Company, LedgerSite, Route, ServiceContract, Stop, Tariff, User
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.reports import book_report, customer_water, renewal_page
from fleet.services.ledger.record import update_ledger
from sites.models import Site
from tests.conftest import NOW
from tests.factories import build_technician, build_visit
from tests.fleet.ledger.test_service import UNTIL, bills, book, dry_location, garden

__all__ = ["book"]  # the fixture
pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Client]


def words(page: bytes) -> str:
    """Text of a page without its tags."""
    return " ".join(re.sub(r"<[^>]+>", " ", page.decode()).split())


def test_owner_reads_used_needed_saved_with_its_range_and_how_each_was_made(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=date(2024, 1, 1), price_per_m3=2.0, currency="USD"
    )
    update_ledger(until_day=UNTIL)
    row = LedgerSite.objects.get(site=book["CB-01"])

    found = customer_water(code="CB-01")
    page = sign_in(manager).get("/water/sites/CB-01/paper/")

    assert found.money is not None
    assert row.saved_l is not None
    assert found.money.value == pytest.approx(row.saved_l / 500)
    assert len(found.months) == 12
    text = words(page.content)
    assert "What your garden used" in text
    assert "in nine of ten such cases" in text
    assert text.index("USD a m³") > text.index("What was saved")
    for link in re.findall(r'href="#(how-\d)"', page.content.decode()):
        assert f'id="{link}"' in page.content.decode()


def test_owner_of_a_garden_without_reads_gets_no_number(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    update_ledger(until_day=UNTIL)

    text = words(sign_in(manager).get("/water/sites/CB-02/paper/").content)

    assert "We cannot say. There are no meter reads" in text
    assert "We cannot say yet : no meter reads" in text
    assert "times its need" not in text


def test_a_garden_that_used_more_is_told_so(company: Company, manager: User, sign_in: SignIn) -> None:
    site = garden("CB-09", dry_location())
    bills(site, share_after=1.4, seed=3)
    update_ledger(until_day=UNTIL)

    text = words(sign_in(manager).get("/water/sites/CB-09/paper/").content)

    assert re.search(r"your garden used [\d ,.]+ ?m³ more than it would", text)


def test_book_report_holds_what_the_ledger_keeps(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    update_ledger(until_day=UNTIL)

    found = book_report(span="")
    page = sign_in(manager).get("/water/report/")

    assert found is not None
    assert [word for word, _ in found.months] == ["March 2026", "April 2026", "May 2026"]
    assert sum(values["used_l"] for _, values in found.months) == pytest.approx(found.values["used_l"], abs=1)
    assert found.fsu is not None
    assert found.fsu > 0
    text = words(page.content)
    assert "1 gardens with a sensor saved" in text or "1 garden" in text
    assert "Not judged: 2 no meter reads." in text
    ids = set(re.findall(r'id="(how-\d)"', page.content.decode()))
    assert set(re.findall(r'href="#(how-\d)"', page.content.decode())) <= ids


def test_empty_book_has_no_report(company: Company, manager: User, sign_in: SignIn) -> None:
    assert "No water in the ledger" in words(sign_in(manager).get("/water/report/").content)
    assert "No contract ends soon" in words(sign_in(manager).get("/water/renewals/").content)
    assert sign_in(manager).get("/water/sites/nobody/paper/").status_code == 404


def test_renewals_show_the_newest_contracts_that_end_with_what_they_brought(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    update_ledger(until_day=UNTIL)
    today = company_day(now=timezone.now())

    def contract(code: str, start: date, end: date) -> ServiceContract:
        return ServiceContract.objects.create(
            site=book[code], starts_on=start, ends_on=end, visits_included=4, price=480, currency="USD"
        )

    contract("CB-01", today - timedelta(days=700), today - timedelta(days=340))
    mine = contract("CB-01", today - timedelta(days=340), today + timedelta(days=25))
    contract("CB-02", today - timedelta(days=340), today + timedelta(days=20))
    renewed = contract("CB-03", today - timedelta(days=340), today + timedelta(days=10))
    contract("CB-03", renewed.ends_on, renewed.ends_on + timedelta(days=365))
    for days, state in ((10, "finished"), (20, "finished"), (30, "ahead"), (400, "finished")):
        visit = build_visit(book["CB-01"], number=days)
        route = Route.objects.create(
            technician=build_technician(f"T{days}"), day=today - timedelta(days=days), start_at=NOW,
            end_at=NOW, planned_at=NOW,
        )  # fmt: skip
        Stop.objects.create(route=route, order=1, visit=visit, arrive=NOW, depart=NOW, state=state)

    found = renewal_page(today=today, number=1)
    text = words(sign_in(manager).get("/water/renewals/").content)

    assert [(row.contract.site.code, row.days_left) for row in found.rows] == [("CB-02", 20), ("CB-01", 25)]
    assert found.rows[1].contract == mine
    assert found.rows[1].last_day == today + timedelta(
        days=24
    )  # the day before it ends: 25 days, today's too
    assert found.rows[1].visits_made == 2  # of its own time only, and made
    assert found.rows[0].summary is not None
    assert "not told: no meter reads" in text
    assert "2 / 4" in text

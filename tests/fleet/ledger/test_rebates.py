"""Rebates as dated data, who qualifies, and the dossier of a garden."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.ledger.rebates import RebateFacts, RebateRules, rebate_amount, rebate_standing
from fleet.models import Company, Rebate, RebateClaim, User
from fleet.selectors.company.company import company_day
from fleet.selectors.ledger.rebates import rebate_dossier, rebate_rows
from fleet.services.ledger.record import update_ledger
from sites.models import Change, Sensor, Site
from tests.factories import build_controller, build_sensor, build_site, build_zone
from tests.fleet.ledger.test_service import UNTIL, book

__all__ = ["book"]  # the fixture
SignIn = Callable[[User], Client]

RULES = RebateRules(date(2026, 1, 1), date(2027, 1, 1), 90, asks_before_work=False, needs_meter=True, months_before=0, months_after=0)  # fmt: skip # noqa: E501
GOOD = RebateFacts(has_sensor=True, installed_on=date(2026, 5, 1), has_meter=True, months_before=12, months_after=0, is_approved=False, is_claimed=False)  # fmt: skip # noqa: E501


def changed(row: RebateFacts | RebateRules, **columns: object) -> RebateFacts | RebateRules:
    """A row with other columns."""
    return type(row)(**{**{name: getattr(row, name) for name in row.__slots__}, **columns})


@pytest.mark.parametrize(
    ("rules", "facts", "today", "state", "apply_by"),
    [
        ({}, {}, date(2026, 7, 30), "open", date(2026, 7, 30)),  # the 90th day counts
        ({}, {}, date(2026, 7, 31), "late", date(2026, 7, 30)),
        ({"ends_on": date(2026, 6, 1)}, {}, date(2026, 5, 31), "open", date(2026, 5, 31)),
        ({"ends_on": date(2026, 6, 1)}, {}, date(2026, 6, 1), "late", date(2026, 5, 31)),
        ({}, {"installed_on": date(2025, 12, 31)}, date(2026, 2, 1), "outside", None),
        ({}, {"installed_on": None}, date(2026, 5, 2), "lacks", None),
        ({}, {"has_meter": False}, date(2026, 5, 2), "lacks", date(2026, 7, 30)),
        ({"months_before": 14}, {}, date(2026, 5, 2), "lacks", date(2026, 7, 30)),
        ({"months_after": 3}, {}, date(2026, 5, 2), "lacks", date(2026, 7, 30)),
        ({"asks_before_work": True}, {}, date(2026, 5, 2), "lacks", date(2026, 7, 30)),
        ({"asks_before_work": True}, {"is_approved": True}, date(2026, 5, 2), "open", date(2026, 7, 30)),
        ({}, {"has_sensor": False, "installed_on": None}, date(2026, 5, 2), "sensor", date(2026, 12, 31)),
        ({}, {"has_sensor": False, "installed_on": None}, date(2027, 1, 1), "late", date(2026, 12, 31)),
        ({}, {"is_claimed": True}, date(2028, 1, 1), "claimed", None),
    ],
)
def test_standing_on_a_day(
    rules: dict[str, object], facts: dict[str, object], today: date, state: str, apply_by: date | None
) -> None:
    found = rebate_standing(rules=changed(RULES, **rules), facts=changed(GOOD, **facts), today=today)  # type: ignore[arg-type]

    assert (found.state, found.apply_by) == (state, apply_by)


def test_amounts_of_public_programmes() -> None:
    """Structures of public agencies: so much a station with a cap; half the cost (invented sums)."""
    a_station = {"amount": 0.0, "amount_per_station": 12.0, "share_of_cost": 0.0, "most": 150.0}
    half = {"amount": 0.0, "amount_per_station": 0.0, "share_of_cost": 0.5, "most": 5000.0}

    assert rebate_amount(**a_station, stations=8, invoice_total=None) == 96.0
    assert rebate_amount(**a_station, stations=20, invoice_total=None) == 150.0
    assert rebate_amount(**half, stations=8, invoice_total=640.0) == 320.0
    assert rebate_amount(**half, stations=8, invoice_total=None) is None  # no invoice, no answer


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 60), st.floats(0, 1e4), st.floats(0, 500), st.floats(0, 1))
def test_no_rebate_pays_more_than_its_cap_nor_less_for_more(
    stations: int, invoice: float, most: float, share: float
) -> None:
    def paid(count: int, total: float) -> float:
        found = rebate_amount(
            amount=20,
            amount_per_station=5,
            share_of_cost=share,
            most=most,
            stations=count,
            invoice_total=total,
        )
        assert found is not None
        return found

    assert paid(stations, invoice) <= most
    assert paid(stations, invoice) <= paid(stations + 1, invoice + 1)


def a_rebate(**columns: object) -> Rebate:
    """A rebate of the book's supplier that runs now."""
    today = company_day(now=timezone.now())
    values: dict[str, object] = {
        "name": "Sensor rebate", "supplier": "Wend Valley Water", "starts_on": today - timedelta(days=400),
        "ends_on": today + timedelta(days=100), "amount": 150, "currency": "USD", "checked_on": today,
    }  # fmt: skip
    return Rebate.objects.create(**{**values, **columns})


@pytest.mark.django_db
def test_list_takes_the_suppliers_gardens_only_and_asks_few_queries(
    company: Company, django_assert_max_num_queries: Callable[[int], object]
) -> None:
    today = company_day(now=timezone.now())
    for number in range(6):
        site = build_site(f"CB-{number:02}", supplier="Wend Valley Water" if number < 5 else "Hill Water")
        controller = build_controller(site)
        build_zone(controller)
        if number < 4:
            build_sensor(controller, installed_on=today - timedelta(days=30 * number + 10))
    rebate = a_rebate(needs_meter=False)

    with django_assert_max_num_queries(8):  # type: ignore[attr-defined]
        rows = rebate_rows(rebate=rebate, today=today)

    assert [(row.code, row.standing.state) for row in rows] == [
        ("CB-00", "open"), ("CB-01", "open"), ("CB-02", "open"), ("CB-03", "late"), ("CB-04", "sensor"),
    ]  # fmt: skip


@pytest.mark.django_db
def test_dossier_counts_metered_months_and_names_what_is_not_there(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    update_ledger(until_day=UNTIL)
    rebate = a_rebate(starts_on=date(2025, 1, 1), months_before=12, months_after=12, keep_years=5)

    found = rebate_dossier(rebate=rebate, site=book["CB-01"], today=date(2025, 5, 1))
    page = sign_in(manager).get(f"/water/rebates/{rebate.pk}/CB-01/").content.decode()

    assert found is not None
    assert (len(found.before), len(found.after)) == (12, 12)
    assert found.keep_until == date(2030, 4, 1)
    assert found.row.standing.state == "open"
    assert "to be filled in" in page
    assert "90 % interval" in page
    assert "No photo of this garden yet" in page

    # Without a sensor all its metered months lie before one that may come.
    Sensor.objects.filter(controller__site=book["CB-01"]).delete()
    (row,) = rebate_rows(rebate=rebate, today=date(2025, 5, 1), site_id=book["CB-01"].pk)
    assert (row.standing.state, row.standing.missing) == ("sensor", ())


@pytest.mark.django_db
def test_rebate_and_claim_are_typed_kept_and_remembered(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    client = sign_in(manager)
    typed = {
        "name": "Half of a sensor", "supplier": "Wend Valley Water", "starts_on": "2025-01-01",
        "ends_on": "2100-01-01", "amount": "0", "amount_per_station": "0", "share_of_cost": "0.5",
        "most": "200", "currency": "usd", "apply_within_days": "9000", "needs_meter": "on",
        "months_before": "0", "months_after": "0", "keep_years": "5", "papers": "",
        "checked_on": "2026-06-01",
    }  # fmt: skip

    made = client.post("/water/rebates/new/", typed, follow=True)

    rebate = Rebate.objects.get()
    assert (rebate.currency, rebate.most, rebate.needs_meter) == ("USD", 200.0, True)
    assert "needs the invoice" in made.content.decode()
    path = f"/water/rebates/{rebate.pk}/CB-01/"
    claim = {"state": "prepared", "invoice_total": "300", "invoice": "R-17", "device": "<b>x</b>"}
    told = client.post(path, claim, follow=True).content.decode()
    assert RebateClaim.objects.get().invoice_total == 300.0
    assert "150" in told
    assert "<b>x</b>" not in told
    assert Change.objects.filter(kind__startswith="rebate", by=manager.username).count() == 2
    again = client.post(path, claim, follow=True).content.decode()
    assert "Nothing was changed" in again
    csv = client.get(f"/water/rebates/{rebate.pk}/gardens.csv").content.decode()
    assert "CB-01" in csv
    assert csv.splitlines()[0] == "site,name,standing,apply_by,missing,amount,currency"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("column", "value", "word"),
    [
        ("ends_on", "2024-01-01", "Lies on or before the first day."),
        ("share_of_cost", "50", "0.5 is half"),
        ("amount", "0", "A rebate pays something."),
        ("amount", "-5", "Expected 0 or more."),
        ("currency", "$$$", "three letters"),
    ],
)
def test_a_rebate_that_cannot_be_says_which_field(
    company: Company, manager: User, sign_in: SignIn, column: str, value: str, word: str
) -> None:
    typed = {
        "name": "A", "supplier": "B", "starts_on": "2025-01-01", "ends_on": "2026-01-01", "amount": "10",
        "amount_per_station": "0", "share_of_cost": "0", "currency": "USD", "apply_within_days": "90",
        "months_before": "0", "months_after": "0", "keep_years": "5", "checked_on": "2026-06-01",
    }  # fmt: skip

    answer = sign_in(manager).post("/water/rebates/new/", {**typed, column: value})

    assert answer.status_code == 422
    assert word in answer.content.decode()
    assert not Rebate.objects.exists()


@pytest.mark.django_db
def test_sent_and_paid_need_their_day_and_sum(
    book: dict[str, Site], dispatcher: User, sign_in: SignIn
) -> None:
    rebate = a_rebate()

    answer = sign_in(dispatcher).post(f"/water/rebates/{rebate.pk}/CB-01/", {"state": "paid"})

    assert answer.status_code == 422
    assert "Say on which day it was sent." in answer.content.decode()
    assert "Say what was paid." in answer.content.decode()
    assert not RebateClaim.objects.exists()
    assert sign_in(dispatcher).post("/water/rebates/new/", {}).status_code == 403


@pytest.mark.django_db
def test_a_garden_of_another_supplier_is_told_so(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    rebate = a_rebate(supplier="Hill Water")

    answer = sign_in(manager).get(f"/water/rebates/{rebate.pk}/CB-01/")

    assert answer.status_code == 404
    assert "Wend Valley Water, the rebate is of Hill Water" in answer.content.decode()

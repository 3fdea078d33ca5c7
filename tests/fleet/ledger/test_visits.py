"""What visits brought, set against what they cost, and the watch's precision beside it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pytest
from django.test import Client

from fleet.models import Flag, LedgerPortfolio, Tariff, User
from fleet.selectors.ledger.parts import parts_page
from fleet.selectors.ledger.visits import Worth, saved_price, visit_values_stored
from fleet.selectors.watch.record import watch_precision
from fleet.services.ledger.record import update_ledger
from sites.models import Site
from tests.fleet.ledger.test_papers import words
from tests.fleet.ledger.test_service import UNTIL, book
from weather.calc.units import l_to_gallons

__all__ = ["book"]  # the fixture
SignIn = Callable[[User], Client]

AUDIT = {
    "visits": 12,
    "cost": 90.0,
    "told": 10,
    "saved_l": 20_000.0,
    "low_l": 16_000.0,
    "high_l": 24_000.0,
    "plain_l": 30_000.0,
}


@pytest.fixture
def visited(book: dict[str, Site]) -> LedgerPortfolio:
    """A book whose audits saved 20 m3 a month."""
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=date(2024, 1, 1), price_per_m3=2.0, currency="USD"
    )
    update_ledger(until_day=UNTIL)
    row = next(row for row in LedgerPortfolio.objects.all() if "visits" in row.values)
    row.values["visits"] = {"audit": AUDIT}
    row.save()
    return row


@pytest.mark.parametrize(
    ("low", "high", "cost", "word"),
    [(100, 140, 90, "pays"), (50, 140, 90, "open"), (-20, 80, 90, "does not pay"), (90, 90, 90, "pays")],
)
def test_worth_is_judged_by_its_interval(low: float, high: float, cost: float, word: str) -> None:
    assert Worth((low + high) / 2, low, high, cost).word == word


def test_months_until_the_water_has_paid() -> None:
    assert Worth(120.0, 96.0, 144.0, 90.0).months == pytest.approx(2.25)  # 40 a month
    assert Worth(-5.0, -20.0, 10.0, 90.0).months is None


@pytest.mark.django_db
def test_water_of_three_months_is_priced_by_what_a_litre_over_need_cost(visited: LedgerPortfolio) -> None:
    rows = list(LedgerPortfolio.objects.all())

    price = saved_price(rows)
    (audit,) = visit_values_stored(rows, price_per_m3=price)

    assert price == pytest.approx(2.0, rel=1e-4)  # one tier
    assert audit.worth is not None
    assert audit.worth.value == pytest.approx(3 * 20 * 2.0, rel=1e-4)
    assert audit.worth.low == pytest.approx(3 * 16 * 2.0, rel=1e-4)
    assert audit.worth.word == "pays"
    assert visit_values_stored(rows, price_per_m3=None)[0].worth is None


@pytest.mark.django_db
def test_water_in_another_currency_is_not_set_against_cost(visited: LedgerPortfolio) -> None:
    Tariff.objects.update(currency="EUR")

    found = parts_page(by="soil", span="")

    assert found is not None
    assert found.visit_price is None
    assert [one.worth for one in found.visits] == [None]


@pytest.mark.django_db
def test_page_sets_value_against_cost_and_names_the_watchs_precision(
    visited: LedgerPortfolio, manager: User, sign_in: SignIn
) -> None:
    manager.units = "us"
    manager.save()

    text = words(sign_in(manager).get("/water/parts/?price=10").content)
    plain = words(sign_in(manager).get("/water/parts/").content)

    # ten a kgal: 60 m3 are 15.85 kgal
    assert f"{10 * l_to_gallons(60.0):,.0f} ({10 * l_to_gallons(48.0):,.0f} to" in text
    assert "10.00 USD a kgal, the price tried above" in text
    assert "within 3 months" in plain
    assert "No visit has settled a flag in the last year" in plain
    assert "m³" not in plain


@pytest.mark.django_db
def test_precision_counts_flags_that_visits_settled(book: dict[str, Site]) -> None:
    controller = book["CB-01"].controllers.get()
    for day, truth, closed in (
        (3, "confirmed", "finding"),
        (9, "confirmed", "finding"),
        (15, "not_confirmed", "finding"),
        (21, "", "data"),
    ):
        Flag.objects.create(
            controller=controller,
            raised_on=date(2026, 5, day),
            closed_on=date(2026, 5, day + 2),
            cause="stuck_wet",
            probability=0.95,
            closed_by=closed,
            truth=truth,
        )

    share, count = watch_precision(day=UNTIL)

    assert count == 3
    assert share.value == pytest.approx(2 / 3)
    assert share.low < share.value < share.high

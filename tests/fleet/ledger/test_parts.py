"""Parts of the book, the forecast to the year's end, and what cannot be judged."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.ledger import periods as ledger_periods
from fleet.calc.ledger import slips
from fleet.calc.ledger.forecast import BookUse, forecast_year
from fleet.calc.ledger.groups import group_use, money_over_need
from fleet.calc.ledger.reasons import MENDS
from fleet.models import Company, LedgerSite, Route, Stop, Tariff, User
from fleet.selectors.ledger.gaps import gap_page
from fleet.selectors.ledger.parts import parts_page
from fleet.services.ledger.record import update_ledger
from sites.models import Site
from tests.conftest import NOW
from tests.factories import build_technician, build_visit
from tests.fleet.ledger.test_service import UNTIL, bills, book, dry_location, garden

__all__ = ["book"]  # the fixture
SignIn = Callable[[User], Client]


def test_parts_count_only_months_over_need_and_only_told_ones() -> None:
    use = group_use(
        used_l=np.array([[10.0, 5.0, np.nan], [7.0, 7.0, 7.0], [1.0, 1.0, 1.0]]),
        need_l=np.array([[6.0, 8.0, 3.0], [7.0, 5.0, np.nan], [0.0, 0.0, 0.0]]),
        over_money=np.ones((3, 3)),
        place=np.array([0, 0, -1]),
        count=2,
        months_in=np.array([[True, True, True], [False, True, False]]),
    )

    assert use.used_l.tolist() == [[29.0, 12.0], [0.0, 0.0]]
    assert use.need_l.tolist() == [[26.0, 13.0], [0.0, 0.0]]
    assert use.over_l.tolist() == [[6.0, 2.0], [0.0, 0.0]]  # 5 under 8 takes nothing off
    assert use.over_money.tolist() == [[4.0, 2.0], [0.0, 0.0]]
    assert use.gardens.tolist() == [[2, 2], [0, 0]]


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 5))
def test_parts_add_up_to_the_book(seed: int, groups: int) -> None:
    rng = np.random.default_rng(seed)
    used, need = rng.gamma(2, 10, (12, 6)), rng.gamma(2, 10, (12, 6))
    used[rng.random((12, 6)) < 0.2] = np.nan
    inside = rng.random((3, 6)) < 0.5
    money = rng.random((12, 6))

    def of(place: np.ndarray[tuple[int], np.dtype[np.int64]], count: int) -> list[float]:
        use = group_use(
            used_l=used, need_l=need, over_money=money, place=place, count=count, months_in=inside
        )
        sums = (use.used_l, use.need_l, use.over_l, use.over_money, use.gardens)
        return [float(values.sum()) for values in sums]

    parts = of(rng.integers(0, groups, 12), groups)

    assert parts == pytest.approx(of(np.zeros(12, dtype=np.int64), 1))


def test_litres_over_need_cost_the_tier_they_fell_into_and_never_less_than_nothing() -> None:
    money = money_over_need(
        used_l=np.array([15_000.0, 3_000.0, np.nan]),
        need_l=np.array([8_000.0, 5_000.0, 1_000.0]),
        tier_from_m3=np.array([0.0, 10.0]),
        price_per_m3=np.array([1.0, 3.0]),
    )

    assert money.tolist() == [2.0 * 1.0 + 5.0 * 3.0, 0.0, 0.0]


def years(factor: dict[int, float], *, until: int = 6) -> list[BookUse]:
    """Months of 2023 to June 2026 of ten gardens, need by month times a year's factor, 1.2 used for it."""
    rows = []
    for year in (2023, 2024, 2025, 2026):
        for month in range(1, 13 if year < 2026 else until + 1):
            need = 100.0 * (2 + np.cos((month - 7) / 6 * np.pi)) * factor.get(year, 1.0)
            rows.append(BookUse(date(year, month, 1), 1.2 * need, need, 10))
    return rows


def test_forecast_of_years_that_are_alike_is_certain_and_right() -> None:
    year = forecast_year(years({}))

    assert year is not None
    assert (year.first, year.months) == (date(2026, 7, 1), 6)
    assert year.to_come_l == pytest.approx(
        sum(row.used_l for row in years({}) if row.month.year == 2025 and row.month.month > 6)
    )
    assert year.low_l == pytest.approx(year.to_come_l)
    assert year.need_l == pytest.approx(sum(row.need_l for row in years({})[:12]))


def test_forecast_widens_with_the_years_and_with_a_changed_habit() -> None:
    uneven = forecast_year(years({2023: 0.9, 2024: 1.1}))
    changed = [
        BookUse(row.month, row.used_l * (1.5 if row.month.year == 2026 else 1), row.need_l, 10)
        for row in years({2023: 0.9, 2024: 1.1})
    ]
    other = forecast_year(changed)

    assert uneven is not None
    assert other is not None
    assert uneven.low_l < uneven.to_come_l < uneven.high_l
    assert other.high_l - other.low_l > 2 * (uneven.high_l - uneven.low_l)


@pytest.mark.parametrize(
    "months",
    [[], years({})[:10], years({})[24:], years({})[:36], years({}, until=2)],
    ids=["nothing", "no year before", "one year of each month", "year is over", "two months compared"],
)
def test_forecast_without_years_to_learn_from_is_no_answer(months: list[BookUse]) -> None:
    assert forecast_year(months) is None


def test_forecast_holds_nine_tenths_of_simulated_years() -> None:
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(300):
        rows = [
            BookUse(row.month, row.used_l * wet, row.need_l * wet, 10)
            for row, wet in ((row, rng.lognormal(0, 0.15)) for row in years({}, until=12))
        ]
        year = forecast_year([row for row in rows if row.month <= date(2026, 6, 1)])
        assert year is not None
        held += year.low_l <= sum(row.used_l for row in rows[-6:]) <= year.high_l
    assert 0.85 <= held / 300 <= 0.97


@pytest.mark.django_db
def test_the_night_keeps_parts_with_their_own_intervals(company: Company) -> None:
    location = dry_location()
    sites = [garden(code, location) for code in ("CB-01", "CB-02", "EM-01")]
    for seed, site in enumerate(sites):
        bills(site, share_after=0.7 if site.code.startswith("CB") else 1.4, seed=seed)
    Tariff.objects.create(
        supplier="Wend Valley Water", starts_on=date(2024, 1, 1), price_per_m3=2.0, currency="USD"
    )
    visit = build_visit(sites[0])
    route = Route.objects.create(
        technician=build_technician(name="Ines"), day=UNTIL, start_at=NOW, end_at=NOW, planned_at=NOW
    )
    Stop.objects.create(route=route, order=1, visit=visit, arrive=NOW, depart=NOW, state="finished")

    update_ledger(until_day=UNTIL)

    where = parts_page(by="neighbourhood", span="")
    crews = parts_page(by="crew", span="")
    assert where is not None
    assert crews is not None
    assert where.span.word == "March to May 2026"
    assert [(part.word, part.gardens, part.judged) for part in where.parts] == [("EM", 1, 1), ("CB", 2, 2)]
    east, canal = where.parts
    assert east.high_l is not None
    assert east.high_l < 0
    assert canal.low_l is not None
    assert canal.low_l > 0
    assert east.over_money == pytest.approx(east.over_l / 500, abs=0.01)  # two a m3, one tier
    assert [(part.word, part.gardens) for part in crews.parts] == [("Ines", 1)]
    assert crews.unplaced == 2
    assert sum(part.over_l for part in where.parts) == pytest.approx(where.book.over_l, abs=0.3)


@pytest.mark.django_db
def test_a_tried_price_moves_money_and_nothing_else(book: dict[str, Site]) -> None:
    update_ledger(until_day=UNTIL)

    plain, tried = parts_page(by="soil", span=""), parts_page(by="soil", span="", price=4.0)

    assert plain is not None
    assert tried is not None
    assert plain.book.over_money is None  # no tariff
    assert tried.book.over_money == pytest.approx(tried.book.over_l / 1000 * 4)
    assert (plain.book.over_l, plain.book.saved_l) == (tried.book.over_l, tried.book.saved_l)


@pytest.mark.django_db
def test_page_of_parts_says_shares_causes_and_what_it_cannot_tell(
    book: dict[str, Site], manager: User, sign_in: SignIn
) -> None:
    update_ledger(until_day=UNTIL)

    page = sign_in(manager).get("/water/parts/?by=neighbourhood&price=2,5&target=0.9").content.decode()

    assert "By neighbourhood" in page
    assert "At 2.5 USD a m³" in page
    assert "The target of 0.90 times the need" in page
    for odd in ("price=nan", "price=-1", "price=1e99", "span=x", "by=<b>", "target=inf"):
        assert sign_in(manager).get(f"/water/parts/?{odd}").status_code == 200


@pytest.mark.django_db
def test_empty_ledger_says_what_to_do(company: Company, manager: User, sign_in: SignIn) -> None:
    assert "No water in the ledger" in sign_in(manager).get("/water/parts/").content.decode()


@pytest.mark.django_db
def test_gaps_name_the_deed_that_mends_them(book: dict[str, Site], dispatcher: User, sign_in: SignIn) -> None:
    update_ledger(until_day=UNTIL)

    found = gap_page(kind="no_metered_use", number=1)
    page = sign_in(dispatcher).get("/water/unjudged/").content.decode()

    assert [(kind.key, kind.count, kind.where) for kind in found.kinds] == [("no_metered_use", 2, "file")]
    assert [(row.code, row.what) for row in found.left_out] == [("CB-03", "only one read")]
    assert "Read the meter again at the next visit." in page
    assert "/visits/new/?site=CB-03" in page


def test_every_gap_has_a_deed() -> None:
    modules = vars(ledger_periods) | vars(slips)
    faults = {word for name, word in modules.items() if name.isupper() and isinstance(word, str)}
    assert len(faults) == 16
    assert faults <= set(MENDS)
    assert all(deed and not deed.endswith(".") for _, deed in MENDS.values())


@pytest.mark.django_db
def test_gaps_are_paged_and_filtered(company: Company, manager: User, sign_in: SignIn) -> None:
    for number in range(45):
        site = garden(f"CB-{number:02}", dry_location()) if number == 0 else Site.objects.get(code="CB-00")
        if number:
            site.pk, site.code = None, f"CB-{number:02}"
            site.save(force_insert=True)
        LedgerSite.objects.create(
            site=site, as_of=UNTIL, verdict="no_weather" if number % 3 else "no_metered_use"
        )

    client = sign_in(manager)
    assert "1 to 40 of 45" in client.get("/water/unjudged/").content.decode()
    assert "of 15" in client.get("/water/unjudged/?kind=no_metered_use").content.decode()
    assert "CB-44" in client.get("/water/unjudged/?page=2").content.decode()

"""What the ledger's papers say: a customer's page, the book's quarter, contracts that end soon."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Exists, OuterRef, Q, Sum

from fleet.calc.ledger.reasons import OVER, UNDER, reason_words
from fleet.models import LedgerMonth, LedgerPortfolio, LedgerSite, ServiceContract
from fleet.selectors.ledger.pages import unjudged_counts
from fleet.selectors.ledger.parts import PartsPage, parts_page
from fleet.selectors.ledger.ranking import tiers_in_force
from fleet.selectors.ledger.site import WaterSite, water_site
from fleet.selectors.visits.contracts import standings

RENEWAL_DAYS: Final = 120
ROWS_A_PAGE: Final = 25
TOLD_MONTHS: Final = 12


@dataclass(frozen=True, slots=True)
class SavedMoney:
    """A saving in money at the supplier's first tier, the least that its water can have cost."""

    value: float
    low: float
    high: float
    price: float
    currency: str


@dataclass(frozen=True, slots=True)
class CustomerWater:
    """A garden's year for its owner."""

    garden: WaterSite
    months: list[LedgerMonth]
    first: date | None
    last: date | None
    ratio: float | None
    is_estimated: bool
    money: SavedMoney | None
    advice: list[str]


def customer_water(*, code: str) -> CustomerWater:
    """The newest twelve told months of a garden, its saving, and what would help.

    Raises
    ------
    Site.DoesNotExist
        No garden has the code.
    """
    garden = water_site(code=code)
    told = [row for row in garden.months if row.used_l is not None and row.need_l is not None]
    months = told[-TOLD_MONTHS:]
    ratio = garden.used_l / garden.need_l if garden.used_l is not None and garden.need_l else None
    causes = {word for row in months for word in row.reasons.split(";")}
    return CustomerWater(
        garden=garden,
        months=months,
        first=months[0].month if months else None,
        last=months[-1].month if months else None,
        ratio=ratio,
        is_estimated=any(row.used_source == LedgerMonth.Source.ESTIMATED for row in months),
        money=saved_money(garden.summary, garden.site.supplier) if garden.summary else None,
        advice=_advice(ratio, causes),
    )


def saved_money(row: LedgerSite, supplier: str) -> SavedMoney | None:
    """A garden's saving in money; None where saving or price is not told."""
    tiers = tiers_in_force(day=row.as_of).get(supplier)
    if tiers is None or row.saved_l is None or row.saved_low_l is None or row.saved_high_l is None:
        return None
    steps, currency = tiers
    price = steps[0][1]
    value, low, high = (
        litres / 1000.0 * price for litres in (row.saved_l, row.saved_low_l, row.saved_high_l)
    )
    return SavedMoney(value, low, high, price, currency)


_ADVICE: Final = (
    ("use_without_need", "Water ran in months without need: have the pipes looked at for a leak."),
    ("autumn_over_watering", "Your timer ran on as in summer after the season had turned."),
    ("program_not_keyed_in", "A program that we recommended is not in your timer yet."),
    ("rule_limits", "The watering rules leave your timer less time than your garden wants."),
    ("sensor_flag", "We have doubts about the sensor and look after it."),
)  # fmt: skip


def _advice(ratio: float | None, causes: set[str]) -> list[str]:
    """Plain sentences to the owner, most useful first."""
    names = {word.partition(":")[0] for word in causes}
    found = [text for name, text in _ADVICE if name in names]
    if ratio is not None and ratio > OVER and not found:
        found.append("Your garden got clearly more than it needed: shorter runs would do it no harm.")
    if ratio is not None and ratio < UNDER:
        found.append("Your garden got clearly less than plants of its kind want to stay lush.")
    return found


@dataclass(frozen=True, slots=True)
class BookReport:
    """The book's quarter: its parts by two groupings, its months, and what is not judged."""

    page: PartsPage
    places: PartsPage
    months: list[tuple[str, dict[str, Any]]]
    values: dict[str, Any]
    unjudged: list[tuple[str, int]]
    fsu: float | None


def book_report(*, span: str) -> BookReport | None:
    """The book over a span (newest whole season by default); None before the ledger's first night."""
    page = parts_page(by="supplier", span=span)
    if page is None:
        return None
    places = parts_page(by="neighbourhood", span=page.span.key)
    assert places is not None  # noqa: S101 - the ledger has rows
    row = LedgerPortfolio.objects.get(period_start=page.span.start, period_end=page.span.end)
    inside = [
        one
        for one in LedgerPortfolio.objects.filter(
            period_start__gte=page.span.start, period_end__lte=page.span.end
        ).order_by("period_start")
        if (one.period_end - one.period_start).days <= 31
    ]
    values = row.values
    saved = values["saved_l"]
    return BookReport(
        page=page,
        places=places,
        months=[(f"{one.period_start:%B %Y}", one.values) for one in inside],
        values=values,
        unjudged=unjudged_counts(),
        fsu=(values["saved_high_l"] - saved) / abs(saved) if values["judged"] and saved else None,
    )


@dataclass(frozen=True, slots=True)
class Renewal:
    """A contract that ends soon, with what its time brought."""

    contract: ServiceContract
    days_left: int
    visits_made: int  # in the contract's year, those that count
    visits_included: int
    used_l: float | None
    need_l: float | None
    summary: LedgerSite | None
    verdict: str
    money: SavedMoney | None

    @property
    def last_day(self) -> date:
        """Last day of the contract."""
        return self.contract.ends_on - timedelta(days=1)

    @property
    def ratio(self) -> float | None:
        """Used over need in the contract's told months."""
        return self.used_l / self.need_l if self.used_l is not None and self.need_l else None


@dataclass(frozen=True, slots=True)
class RenewalPage:
    """Contracts that end within the coming months."""

    pager: Page[ServiceContract]
    rows: list[Renewal]
    days: int


def renewal_page(*, today: date, number: int) -> RenewalPage:
    """The newest contracts that end within 120 days, the next first."""
    ending = (
        ServiceContract.objects.filter(
            ~Exists(ServiceContract.objects.filter(site=OuterRef("site"), ends_on__gt=OuterRef("ends_on"))),
            ends_on__gte=today,
            ends_on__lte=today + timedelta(days=RENEWAL_DAYS),
        )
        .select_related("site")
        .order_by("ends_on", "site__code")
    )
    pager = Paginator(ending, ROWS_A_PAGE).get_page(number)
    return RenewalPage(pager, _renewals(list(pager), today), RENEWAL_DAYS)


def _renewals(contracts: Sequence[ServiceContract], today: date) -> list[Renewal]:
    """Rows of some contracts, in a fixed number of queries."""
    ids = [one.site_id for one in contracts]
    ledgers = {row.site_id: row for row in LedgerSite.objects.filter(site_id__in=ids)}
    used = _used(contracts)
    stands = {one.contract.pk: one for one in standings(contracts=contracts, today=today, site_ids=ids)}
    rows = []
    for one in contracts:
        summary = ledgers.get(one.site_id)
        litres = used.get(one.pk, (None, None))
        rows.append(
            Renewal(
                contract=one,
                days_left=(one.ends_on - today).days,
                visits_made=stands[one.pk].use.made,
                visits_included=stands[one.pk].use.included,
                used_l=litres[0],
                need_l=litres[1],
                summary=summary,
                verdict=reason_words(summary.verdict) if summary and summary.verdict else "",
                money=saved_money(summary, one.site.supplier) if summary else None,
            )
        )
    return rows


def _of_contracts(contracts: Sequence[ServiceContract], site: str, day: str) -> Q:
    """Rows of the contracts' gardens within their days."""
    found = Q(pk__in=[])
    for one in contracts:
        found |= Q(**{site: one.site_id, f"{day}__gte": one.starts_on, f"{day}__lt": one.ends_on})
    return found


def _used(contracts: Sequence[ServiceContract]) -> dict[int, tuple[float | None, float | None]]:
    """Use and need of the told months of each contract's time [L]."""
    rows = (
        LedgerMonth.objects.filter(
            _of_contracts(contracts, "site_id", "month"), used_l__isnull=False, need_l__isnull=False
        )
        .order_by()
        .values_list("site_id")
        .annotate(used=Sum("used_l"), need=Sum("need_l"))
    )
    by_site = {pk: (used, need) for pk, used, need in rows}
    return {one.pk: by_site.get(one.site_id, (None, None)) for one in contracts}

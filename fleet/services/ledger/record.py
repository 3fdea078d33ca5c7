"""Writes the water ledger: months of sites, sites, and the book as a whole."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from django.db import transaction

from fleet.calc.ledger.groups import money_over_need
from fleet.calc.ledger.reasons import METER_FOLLOWED, SEVERAL_CONTROLLERS, WIDER, month_reasons
from fleet.calc.ledger.savings import MONTH_D
from fleet.models import LedgerPortfolio, LedgerSite
from fleet.selectors.ledger.answer import LedgerAnswer, answer_spans, month_spans
from fleet.selectors.ledger.estimates import used_water
from fleet.selectors.ledger.inputs import LedgerBook, ledger_book
from fleet.selectors.ledger.marks import month_marks
from fleet.selectors.ledger.ranking import tiers_in_force
from fleet.selectors.ledger.visit_value import visit_values
from fleet.selectors.ledger.words import group_words
from fleet.services.ledger.months import data_notes, followed_months, problem_months, write_months
from fleet.services.ledger.totals import MonthFigures, noted_faults, portfolio_rows, site_rows
from weather.calc.arrays import BoolArray, FloatArray

_MONTHS_BACK = 36


@dataclass(frozen=True, slots=True)
class LedgerUpdate:
    """What an update wrote."""

    sites: int
    months: int
    written: int
    judged: int
    without_data: int

    def summary(self) -> str:
        """One line."""
        return (
            f"{self.sites} sites, {self.months} site-months, {self.written} of them written anew; "
            f"savings told for {self.judged}, not enough data for {self.without_data}"
        )


@transaction.atomic
def update_ledger(*, until_day: date) -> LedgerUpdate:
    """Compute the ledger of every site up to and with a day, and keep it; twice gives the same rows.

    Parameters
    ----------
    until_day
        Last day that counts.
    """
    book = ledger_book(until_day=until_day)
    months = month_spans(first=_first_month(book, until_day), until_day=until_day)
    whole = _spans_of_book(months, until_day)
    totals = answer_spans(book=book, spans=whole)
    if totals is None:
        return LedgerUpdate(book.site_ids.size, 0, 0, 0, book.site_ids.size)
    answer = totals.of_spans([whole.index(month) for month in months])
    use = used_water(book=book, answer=answer, spans=months)
    causes = _causes(book, answer, months, use[0])
    notes = data_notes(book=book, answer=answer, months=months, source=use[2])
    written = write_months(book=book, answer=answer, months=months, use=use, reasons=[*causes, *notes])
    all_months = book.site_ids.size * len(months)
    LedgerSite.objects.bulk_create(
        site_rows(book=book, answer=totals, as_of=until_day),
        batch_size=2_000,
        update_conflicts=True,
        unique_fields=["site"],
        update_fields=[
            field.attname
            for field in LedgerSite._meta.concrete_fields
            if field.attname not in ("id", "site_id")
        ],
    )
    figures = _figures(book, answer, months, causes)
    visits = visit_values(site_ids=book.site_ids, months=months, over_l=figures.used_l - figures.need_l)
    LedgerPortfolio.objects.all().delete()
    LedgerPortfolio.objects.bulk_create(
        portfolio_rows(
            answer=totals,
            spans=whole,
            words=group_words(book=book, until_day=until_day),
            figures=figures,
            wider={code: mask.sum(axis=0).tolist() for code, mask in notes if code in WIDER},
            of_whole={
                "visits": visits,
                "left_out": noted_faults(
                    book=book,
                    months=months,
                    faults=problem_months(book, months),
                    unjudged=np.array([bool(verdict) for verdict in totals.verdicts]),
                ),
                "told_less": noted_faults(
                    book=book,
                    months=months,
                    faults=[
                        (SEVERAL_CONTROLLERS, (answer.ledger.metered.days > 0) & book.is_mixed[:, None]),
                        (METER_FOLLOWED, followed_months(book, months, and_later=True)),
                    ],
                ),
            },
        ),
        batch_size=20,
    )
    judged = sum(1 for verdict in totals.verdicts if not verdict)
    return LedgerUpdate(book.site_ids.size, all_months, written, judged, book.site_ids.size - judged)


def _first_month(book: LedgerBook, until_day: date) -> date:
    """Month of the first metered day, at most three years back; a year back without any meter."""
    oldest = (until_day.replace(day=1) - timedelta(days=31 * (_MONTHS_BACK - 1))).replace(day=1)
    if book.use.periods.site.size == 0:
        return (until_day.replace(day=1) - timedelta(days=330)).replace(day=1)
    first: date = book.use.periods.start.min().item()
    return max(first.replace(day=1), oldest)


def _spans_of_book(months: list[tuple[date, date]], until_day: date) -> list[tuple[date, date]]:
    """The whole time first, then the last twelve months, then each season and each month."""
    year_ago = (until_day + timedelta(days=1)).replace(day=1) - timedelta(days=360)
    spans = [(months[0][0], months[-1][1]), (year_ago.replace(day=1), months[-1][1])]
    spans += [*_seasons(months), *months]
    return list(dict.fromkeys(span for span in spans if span[1] > span[0]))


def _seasons(months: list[tuple[date, date]]) -> list[tuple[date, date]]:
    """Whole seasons of three months within the months (December to February, and so on)."""
    starts = [place for place, (start, _) in enumerate(months) if start.month % 3 == 0]
    return [(months[k][0], months[k + 2][1]) for k in starts if k + 2 < len(months)]


def _causes(
    book: LedgerBook, answer: LedgerAnswer, months: list[tuple[date, date]], used: FloatArray
) -> list[tuple[str, BoolArray]]:
    """Why gardens' months were over or under their need, and which months."""
    ratio = np.divide(used, answer.need_l, out=np.full(used.shape, np.nan), where=answer.need_l > 0)
    # a month read on some of its days only must not look like one that hardly needed water
    metered = answer.ledger.metered.days
    whole = np.array([(end - start).days for start, end in months], dtype=np.float64)
    to_month = MONTH_D / np.where(metered > 0, metered, whole)
    return month_reasons(
        month_marks(
            book=book,
            months=months,
            ratio=ratio,
            need_l=answer.need_l * to_month,
            need_good_l=answer.need_good_l * to_month,
        )
    )


def _figures(
    book: LedgerBook,
    answer: LedgerAnswer,
    months: list[tuple[date, date]],
    causes: list[tuple[str, BoolArray]],
) -> MonthFigures:
    """Metered garden-months with the money of what was beyond need."""
    used = np.where(answer.ledger.metered.days > 0, answer.ledger.used_l, np.nan)
    need = answer.need_l
    money = np.zeros(used.shape)
    suppliers = np.array(book.suppliers)
    for month, (start, _) in enumerate(months):
        for supplier, (steps, _) in tiers_in_force(day=start).items():
            own = suppliers == supplier
            tier, price = (np.array(column) for column in zip(*steps, strict=True))
            money[own, month] = money_over_need(
                used_l=used[own, month], need_l=need[own, month], tier_from_m3=tier, price_per_m3=price
            )
    return MonthFigures(months, used, need, money, causes)

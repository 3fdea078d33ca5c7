"""The ledger's answer for any spans, from the meters as they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from fleet.calc.ledger.answer import LedgerInputs, SiteLedger
from fleet.calc.ledger.reasons import NO_WEATHER, SENSOR_DATE_UNKNOWN
from fleet.calc.ledger.sites import site_ledger
from fleet.calc.ledger.split import PieceUse
from fleet.selectors.ledger.inputs import SENSOR_DAY_UNKNOWN, LedgerBook
from weather.calc.arrays import BoolArray, FloatArray

_BY_SPAN = ("used_l", "used_sd_l", "after_days", "expected_l", "saved_l", "low_l", "high_l")


@dataclass(frozen=True, slots=True)
class LedgerAnswer:
    """The ledger of a book for some spans.

    Parameters
    ----------
    ledger
        Use, expectation and savings, (sites, spans).
    need_l, need_good_l
        Need of the metered days, or of the whole span where none is metered [L], (sites, spans).
    tells_savings
        Whether each span's row may say what was saved: its metered days all lie after the change.
    verdicts
        Why a site's savings are not told, empty where they are, (sites,).
    """

    ledger: SiteLedger
    need_l: FloatArray
    need_good_l: FloatArray
    tells_savings: BoolArray
    verdicts: list[str]

    def of_spans(self, places: Sequence[int]) -> LedgerAnswer:
        """The same answer for some of its spans.

        Parameters
        ----------
        places
            Places of the spans.
        """
        pick = list(places)
        ledger = self.ledger
        cut = {name: getattr(ledger, name)[:, pick] for name in _BY_SPAN}
        metered = PieceUse(*(getattr(ledger.metered, name)[:, pick] for name in PieceUse.__slots__))
        return replace(
            self,
            ledger=replace(ledger, metered=metered, **cut),
            need_l=self.need_l[:, pick],
            need_good_l=self.need_good_l[:, pick],
            tells_savings=self.tells_savings[:, pick],
        )


def month_spans(*, first: date, until_day: date) -> list[tuple[date, date]]:
    """Calendar months from a day's month on; the last one ends with `until_day`."""
    spans = []
    start = first.replace(day=1)
    while start <= until_day:
        following = (start + timedelta(days=32)).replace(day=1)
        spans.append((start, min(following, until_day + timedelta(days=1))))
        start = following
    return spans


def answer_spans(*, book: LedgerBook, spans: Sequence[tuple[date, date]]) -> LedgerAnswer | None:
    """The ledger for spans (first day, day after the last); None without any weather.

    Parameters
    ----------
    book
        Sites, use and need.
    spans
        First day, and the day after the last, of each.
    """
    if book.need is None or not spans:
        return None
    start = np.array([span[0] for span in spans], dtype="datetime64[D]")
    end = np.array([span[1] for span in spans], dtype="datetime64[D]")
    ledger = site_ledger(LedgerInputs(book.use.periods, book.need, book.change_on, start, end, book.place))
    every = np.arange(book.site_ids.size)
    whole = [_whole_need(book, every, start, end, good=good) for good in (False, True)]
    seen = ledger.metered.days > 0
    verdicts = list(ledger.verdicts)
    for place in np.flatnonzero(book.change_on == SENSOR_DAY_UNKNOWN):
        verdicts[place] = SENSOR_DATE_UNKNOWN
    for place in np.flatnonzero(
        book.need.cumulative_unknown[-1] == book.need.cumulative_unknown.shape[0] - 1
    ):
        verdicts[place] = NO_WEATHER
    told = np.array([not verdict for verdict in verdicts])
    complete = ledger.after_days >= ledger.metered.days
    return LedgerAnswer(
        ledger=ledger,
        need_l=np.where(seen, ledger.metered.need_l, whole[0]),
        need_good_l=np.where(seen, ledger.metered.need_good_l, whole[1]),
        tells_savings=told[:, None] & complete & np.isfinite(ledger.saved_l),
        verdicts=verdicts,
    )


def _whole_need(
    book: LedgerBook,
    site: np.ndarray[tuple[int], np.dtype[np.int64]],
    start: np.ndarray[tuple[int], np.dtype[np.datetime64]],
    end: np.ndarray[tuple[int], np.dtype[np.datetime64]],
    *,
    good: bool,
) -> FloatArray:
    """Need of whole spans, (sites, spans)."""
    assert book.need is not None  # noqa: S101 - the caller looked
    columns = [
        book.need.between(site, np.full(site.shape, a), np.full(site.shape, b), good=good)
        for a, b in zip(start, end, strict=True)
    ]
    return np.stack(columns, axis=1)

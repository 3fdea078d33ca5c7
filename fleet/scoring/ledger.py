"""Coverage and bias of the ledger's 90 % intervals on portfolios whose savings are known.

Three judges look at the same portfolios: the ledger, a naive one that subtracts this year's use from last
year's, and one that was told every parameter and only does not know people's moods.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from fleet.calc.ledger.answer import LedgerInputs, SiteLedger
from fleet.calc.ledger.house import NORMAL_90
from fleet.calc.ledger.savings import CONFIDENCE
from fleet.calc.ledger.sites import site_ledger
from fleet.calc.ledger.split import use_by_piece
from fleet.scoring.ledger_worlds import DAYS, FIRST_DAY, WORLDS, Portfolio, World, portfolio
from weather.calc.arrays import DayArray, FloatArray, IntArray

_END = FIRST_DAY + DAYS
_SPAN = (FIRST_DAY + 2 * 365, _END)
SHORT = "short histories, borrowed"
_SHORT_DAYS = 150  # of bills before the change that a short history keeps


@dataclass(frozen=True, slots=True)
class JudgeScore:
    """How one judge did in one world.

    Parameters
    ----------
    site_cover, book_cover
        Share of 90 % intervals that hold the truth: of single gardens, of whole portfolios [1].
    book_bias
        Mean error of the portfolio's saving over the true saving [1].
    book_width
        Mean half width of the portfolio's interval over the true saving [1].
    judged
        Share of changed gardens that were judged [1].
    """

    world: str
    judge: str
    site_cover: float
    book_cover: float
    book_bias: float
    book_width: float
    judged: float


@dataclass(frozen=True, slots=True)
class _Answer:
    """Savings with standard errors or half widths: of gardens and of the book [L]."""

    saved_l: FloatArray
    half_l: FloatArray
    book_l: float
    book_half_l: float
    truth_l: FloatArray


def score_ledger(seeds: Iterable[int], *, sites: int = 200) -> list[JudgeScore]:
    """One row a world and judge.

    Parameters
    ----------
    seeds
        Seeds, one portfolio each and world [1].
    sites
        Gardens in a portfolio [1].
    """
    listed = list(seeds)
    rows = []
    for world in WORLDS:
        answers: dict[str, list[_Answer]] = {
            "naive: last year's use": [],
            "ledger": [],
            SHORT: [],
            "told the truth": [],
        }
        for seed in listed:
            book = portfolio(world, seed=seed, sites=sites)
            span = LedgerInputs(
                book.periods,
                book.need,
                book.change_on,
                np.array([_SPAN[0]]),
                np.array([_SPAN[1]]),
                book.place,
            )
            ledger = site_ledger(span)
            judged = np.flatnonzero(
                ~np.isnan(book.change_on) & np.isfinite(ledger.saved_l[:, 0]) & ~ledger.is_pooled
            )
            answers["ledger"].append(_by_ledger(book, ledger, judged))
            answers[SHORT].append(_by_pool(book, span))
            answers["naive: last year's use"].append(_naive(book, judged))
            answers["told the truth"].append(_told(book, judged))
        rows += [_scored(world, judge, given, sites) for judge, given in answers.items()]
    return rows


def _windows(book: Portfolio, judged: IntArray) -> tuple[IntArray, IntArray]:
    """First and last metered day after the change, within the span, of each judged garden; day numbers."""
    after = book.periods.where(book.periods.start >= book.change_on[book.periods.site])
    first = np.array([after.start[after.site == site].min() for site in judged])
    last = np.array([after.end[after.site == site].max() for site in judged])
    return _number(np.maximum(first, _SPAN[0])), _number(last)


def _number(day: DayArray) -> IntArray:
    """Number of a day from the world's first one."""
    return (day - FIRST_DAY).astype(np.int64)


def _between(daily: FloatArray, judged: IntArray, low: IntArray, high: IntArray) -> FloatArray:
    """Sum of daily values of each garden over its days."""
    total = np.concatenate([np.zeros((1, daily.shape[1])), np.cumsum(daily, axis=0)])
    return np.asarray(total[high, judged] - total[low, judged])


def _by_ledger(book: Portfolio, ledger: SiteLedger, judged: IntArray) -> _Answer:
    """What the ledger says."""
    low, high = _windows(book, judged)
    return _Answer(
        saved_l=ledger.saved_l[judged, 0],
        half_l=(ledger.high_l - ledger.low_l)[judged, 0] / 2.0,
        book_l=float(ledger.total.saved_l[0]),
        book_half_l=float(ledger.total.half_width_l(CONFIDENCE)[0]),
        truth_l=_between(book.without_l - book.actual_l, judged, low, high),
    )


def _by_pool(book: Portfolio, span: LedgerInputs) -> _Answer:
    """What the ledger says of every fourth garden whose bills were cut short; their own sum as book."""
    short = np.arange(book.change_on.size) % 4 == 0
    first = book.change_on[book.periods.site] - np.timedelta64(_SHORT_DAYS, "D")
    keep = ~short[book.periods.site] | np.isnat(first) | (book.periods.start >= first)
    cut = replace(book, periods=book.periods.where(keep))
    ledger = site_ledger(replace(span, periods=cut.periods))
    judged = np.flatnonzero(ledger.is_pooled & np.isfinite(ledger.saved_l[:, 0]))
    low, high = _windows(cut, judged)
    saved = ledger.saved_l[judged, 0]
    half = (ledger.high_l - ledger.low_l)[judged, 0] / 2.0
    truth = _between(book.without_l - book.actual_l, judged, low, high)
    return _Answer(saved, half, float(saved.sum()), float(np.sqrt(np.sum(half**2))), truth)


def _told(book: Portfolio, judged: IntArray) -> _Answer:
    """What one says who knows all but the moods, from the same metered days."""
    low, high = _windows(book, judged)
    truth = _between(book.without_l - book.actual_l, judged, low, high)
    error = _between(book.hoped_l - book.without_l, judged, low, high)
    month = (FIRST_DAY + np.arange(DAYS)).astype("datetime64[M]").astype(np.int64)
    day = np.arange(DAYS)[:, None]
    inside = np.where((day >= low) & (day < high), book.hoped_l[:, judged] - book.house_l[judged], 0.0)
    monthly = np.stack([np.bincount(month - month[0], column) for column in inside.T])
    lag = np.abs(np.subtract.outer(np.arange(monthly.shape[1]), np.arange(monthly.shape[1])))
    covariance = np.exp(book.mood**2 * book.mood_memory**lag) - 1.0
    sd = np.sqrt(np.sum((monthly @ covariance) * monthly, axis=1))
    return _Answer(
        truth + error,
        NORMAL_90 * sd,
        float(np.sum(truth + error)),
        float(NORMAL_90 * np.sqrt(np.sum(sd**2))),
        truth,
    )


def _naive(book: Portfolio, judged: IntArray) -> _Answer:
    """The same months of the year before any change, less those of the last year."""
    edges = np.arange(FIRST_DAY.astype("datetime64[M]"), _END.astype("datetime64[M]") + 1)
    monthly = use_by_piece(
        periods=book.periods,
        need=book.need,
        edges=edges.astype("datetime64[D]"),
        base_l_d=np.zeros(book.change_on.size),
        site_count=book.change_on.size,
    )
    full = monthly.days[judged] >= 28
    both = full[:, :12] & full[:, 24:]
    used = monthly.used_l[judged]
    difference = np.where(both, used[:, :12] - used[:, 24:], 0.0)
    months = np.maximum(both.sum(axis=1), 2)
    mean = difference.sum(axis=1) / months
    spread = np.sum(np.where(both, difference - mean[:, None], 0.0) ** 2, axis=1) / (months - 1)
    half = stats.t.ppf(0.95, months - 1) * np.sqrt(spread * months)
    month_of = (FIRST_DAY + np.arange(DAYS)).astype("datetime64[M]").astype(np.int64)
    month_of -= month_of[0]
    counted = (month_of >= 24)[:, None] & both[:, np.maximum(month_of - 24, 0)].T
    truth = np.sum(np.where(counted, (book.without_l - book.actual_l)[:, judged], 0.0), axis=0)
    total = difference.sum(axis=1)
    return _Answer(total, half, float(total.sum()), float(np.sqrt(np.sum(half**2))), truth)


def _scored(world: World, judge: str, given: list[_Answer], sites: int) -> JudgeScore:
    """One row of the table."""
    hits = [np.abs(answer.saved_l - answer.truth_l) <= answer.half_l for answer in given]
    truth = np.array([answer.truth_l.sum() for answer in given])
    book = np.array([answer.book_l for answer in given])
    half = np.array([answer.book_half_l for answer in given])
    changed = sites * (1.0 - world.comparison_share)
    return JudgeScore(
        world=world.name,
        judge=judge,
        site_cover=float(np.mean(np.concatenate(hits))),
        book_cover=float(np.mean(np.abs(book - truth) <= half)),
        book_bias=float(np.sum(book - truth) / np.sum(truth)),
        book_width=float(np.sum(half) / np.sum(truth)),
        judged=float(np.mean([hit.size for hit in hits]) / changed),
    )

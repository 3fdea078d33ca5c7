"""Borrowed baselines of short histories, and the lag with which people follow need."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import lfilter

from fleet.calc.ledger.answer import LedgerInputs
from fleet.calc.ledger.baseline import TOO_FEW_DAYS, BaselineFits, Bills, baseline_verdicts, fit_baselines
from fleet.calc.ledger.lag import book_lag_d, lagged_need
from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.pool import borrow_baselines
from fleet.calc.ledger.portfolio import SitePieces, compare
from fleet.calc.ledger.sites import site_ledger
from fleet.scoring.ledger_worlds import DAYS, FIRST_DAY, LATE_TIMERS, STEADY, Portfolio, World, portfolio


def cut_short(book: Portfolio, *, days: int) -> LedgerInputs:
    """A portfolio whose every fourth garden has only so many days of bills before its change."""
    short = np.arange(book.change_on.size) % 4 == 0
    first = book.change_on[book.periods.site] - np.timedelta64(days, "D")
    keep = ~short[book.periods.site] | np.isnat(first) | (book.periods.start >= first)
    end = np.array([FIRST_DAY + DAYS])
    return LedgerInputs(
        book.periods.where(keep), book.need, book.change_on, np.array([FIRST_DAY + 2 * 365]), end
    )


def bills_of(base: np.ndarray, slope: np.ndarray, level: np.ndarray, count: int, seed: int) -> Bills:
    """Monthly bills of gardens that follow a line with some scatter; the last garden has only four."""
    rng = np.random.default_rng(seed)
    season = 1.0 - np.cos(np.arange(count) / 12 * 2 * np.pi)
    need = level[:, None] * season
    use = base[:, None] + slope[:, None] * need + level[:, None] * rng.normal(0, 0.05, need.shape)
    days = np.full(need.shape, 30.0)
    days[-1, 4:] = 0.0
    seen = days > 0
    middle = np.broadcast_to(15.0 + 30.0 * np.arange(count), need.shape) * seen
    return Bills(use * seen, need * seen, days, middle)


def borrowed(bills: Bills, level: np.ndarray) -> tuple[BaselineFits, BaselineFits, np.ndarray]:
    """Own fits, fits after borrowing, and who borrowed."""
    own = fit_baselines(bills)
    count = level.size
    lent, pooled = borrow_baselines(
        bills,
        own,
        baseline_verdicts(bills, own),
        level_l_d=level,
        is_whole_house=np.zeros(count, dtype=np.bool_),
        has_change=np.ones(count, dtype=np.bool_),
    )
    return own, lent, pooled.sites


def test_garden_of_four_bills_lies_between_its_own_line_and_its_likes() -> None:
    rng = np.random.default_rng(3)
    level = rng.lognormal(6, 0.5, 41)
    slope, base = rng.normal(1.2, 0.1, 41), 0.05 * level
    slope[-1] = 1.6

    bills = bills_of(base, slope, level, 24, 4)
    own, lent, who = borrowed(bills, level)

    assert baseline_verdicts(bills, own)[-1] == TOO_FEW_DAYS
    assert who.tolist() == [False] * 40 + [True]
    assert np.array_equal(lent.slope[:-1], own.slope[:-1])
    assert 1.2 < lent.slope[-1] < 1.75


def test_nothing_is_lent_by_too_few_gardens_nor_to_one_without_bills() -> None:
    rng = np.random.default_rng(5)
    level = rng.lognormal(6, 0.5, 15)
    assert not borrowed(bills_of(0.1 * level, np.full(15, 1.2), level, 24, 6), level)[2].any()
    level = rng.lognormal(6, 0.5, 31)
    bills = bills_of(0.1 * level, np.full(31, 1.2), level, 24, 6)
    bills.days[-1, 2:] = 0.0
    assert not borrowed(bills, level)[2].any()


def test_borrowed_baselines_are_marked_wider_and_no_part_of_the_books_sum() -> None:
    book = portfolio(STEADY, seed=11, sites=160)
    inputs = cut_short(book, days=150)
    whole = site_ledger(replace(inputs, periods=book.periods))
    ledger = site_ledger(inputs)

    lent = ledger.is_pooled & np.isfinite(ledger.saved_l[:, 0])
    both = lent & ~whole.is_pooled & np.isfinite(whole.saved_l[:, 0])
    assert 20 <= lent.sum() <= 40
    width = (ledger.high_l - ledger.low_l)[:, 0] / ledger.expected_l[:, 0]
    before = (whole.high_l - whole.low_l)[:, 0] / whole.expected_l[:, 0]
    assert np.median(width[both]) > np.median(before[both])
    judged = np.isfinite(ledger.saved_l[:, 0]) & ~np.isnat(book.change_on)
    assert ledger.total.sites[0] == judged.sum() - lent.sum()


@pytest.mark.parametrize(("world", "expected"), [(STEADY, (0.0,)), (LATE_TIMERS, (21.0, 28.0))])
def test_lag_of_timers_is_found_where_there_is_one(world: World, expected: tuple[float, ...]) -> None:
    book = portfolio(world, seed=21, sites=120)

    assert site_ledger(cut_short(book, days=900)).lag_d in expected


def test_followed_need_comes_late_and_keeps_its_total_over_years() -> None:
    day = np.arange(4 * 365)
    daily = (3.0 - 3.0 * np.cos(day / 365 * 2 * np.pi))[:, None]
    cumulative = np.concatenate([np.zeros((1, 1)), np.cumsum(daily, axis=0)])
    need = SiteNeed(FIRST_DAY, cumulative, cumulative, np.zeros(cumulative.shape, dtype=np.int64))

    late = np.diff(lagged_need(need, 20.0).cumulative_l, axis=0)[:, 0]

    decay = np.exp(-1 / 20.0)
    plain = lfilter([1 - decay], [1, -decay], daily[:, 0])
    assert late[365:] == pytest.approx(plain[365:], abs=1e-6)
    assert 15 <= np.argmax(late[365:730]) - np.argmax(daily[365:730]) <= 22
    assert late[365:].sum() == pytest.approx(daily[365:].sum(), rel=0.01)


def test_no_lag_is_claimed_for_a_handful_of_gardens() -> None:
    book = portfolio(LATE_TIMERS, seed=2, sites=12)
    assert book_lag_d(book.periods, book.need, 12) == 0.0


def test_expectation_of_a_winter_without_need_is_never_below_nothing() -> None:
    level = np.full(2, 500.0)
    bills = bills_of(np.array([-40.0, -40.0]), np.array([1.2, 1.2]), level, 24, 9)

    fits = fit_baselines(bills, with_change_point=False)

    assert fits.base_l_d[0] < 0
    assert fits.predicted_l_d(np.zeros((2, 1)))[0, 0] == 0.0
    assert fits.predicted_l_d(np.full((2, 1), 600.0))[0, 0] == pytest.approx(680.0, abs=40.0)


def test_few_or_unequal_comparison_gardens_widen_what_the_comparison_brings() -> None:
    rng = np.random.default_rng(8)

    def factor_error(size: np.ndarray) -> float:
        predicted = size[:, None] * np.ones((1, 1))
        used = predicted * rng.normal(1.0, 0.2, predicted.shape)
        metered = np.ones(predicted.shape, dtype=np.bool_)
        pieces = SitePieces(predicted, used, metered, np.ones(size.size, dtype=np.bool_))
        return float(compare(pieces).factor_sd(np.ones((1, 1)))[0])

    alike = np.mean([factor_error(np.ones(30)) for _ in range(200)])
    unequal = np.mean([factor_error(np.array([10.0] * 3 + [1.0] * 27)) for _ in range(200)])

    # the plain error of a mean of thirty is 0.2 / sqrt(30); so few gardens ask for Student's t
    assert 1.02 < alike / (0.2 / np.sqrt(30)) < 1.09
    assert unequal > 1.5 * alike

"""Sums over the book, the comparison, reasons, and simulated portfolios with known savings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fleet.calc.ledger import portfolio, reasons
from fleet.calc.ledger.answer import LedgerInputs, SiteLedger
from fleet.calc.ledger.periods import UsePeriods
from fleet.calc.ledger.sites import NO_PERIODS, NOTHING_AFTER, site_ledger
from fleet.calc.ledger.total import portfolio_total
from fleet.scoring.ledger import score_ledger
from fleet.scoring.ledger_worlds import DAYS, FIRST_DAY, PEOPLE, STEADY, Portfolio
from fleet.scoring.ledger_worlds import portfolio as invented

END = FIRST_DAY + DAYS
LAST_YEAR = (FIRST_DAY + 730, END)


def ledger_of(book: Portfolio, *spans: tuple[np.datetime64, np.datetime64]) -> SiteLedger:
    """The ledger of a portfolio for spans."""
    start, end = (np.array(column) for column in zip(*spans, strict=True))
    return site_ledger(LedgerInputs(book.periods, book.need, book.change_on, start, end))


def pieces_of(predicted: float, used: float, sites: int, comparison: int) -> portfolio.SitePieces:
    """Equal sites over two pieces, the first ones without a change."""
    shape = (sites, 2)
    return portfolio.SitePieces(
        predicted_l=np.full(shape, predicted),
        used_l=np.full(shape, used),
        is_metered=np.ones(shape, dtype=np.bool_),
        is_comparison=np.arange(sites) < comparison,
    )


def test_comparison_moves_baselines_by_what_everybody_did() -> None:
    pieces = pieces_of(100.0, 90.0, 50, 25)

    comparison = portfolio.compare(pieces)
    total = portfolio_total(
        pieces, comparison, np.zeros((50, 1)), np.ones((1, 2)), drift=0.0, correlation=0.0
    )

    assert comparison.factor == pytest.approx([-0.1, -0.1])
    assert total.saved_l[0] == pytest.approx(0.0)


def test_too_few_comparison_gardens_move_nothing() -> None:
    comparison = portfolio.compare(pieces_of(100.0, 90.0, 50, 19))

    assert comparison.factor.tolist() == [0.0, 0.0]
    assert comparison.site_count == 0


def test_without_comparison_the_errors_keep_their_common_correlation() -> None:
    # var = (1 - r) sum dU^2 + r (sum dU)^2 over half widths 50 40 60 30
    sd = np.array([[50.0], [40.0], [60.0], [30.0]])
    pieces = pieces_of(200.0, 150.0, 4, 0)
    nobody = portfolio.compare(pieces)

    def book_sd(correlation: float) -> float:
        total = portfolio_total(pieces, nobody, sd, np.ones((1, 2)), drift=0.0, correlation=correlation)
        return float(total.sd_l[0])

    assert book_sd(0.0) / 370 == pytest.approx(0.2506, abs=6e-5)
    assert book_sd(0.3) / 370 == pytest.approx(0.3391, abs=6e-5)
    assert book_sd(1.0) / 370 == pytest.approx(0.4865, abs=6e-5)


def test_common_correlation_is_found_between_sites() -> None:
    rng = np.random.default_rng(3)
    month = np.repeat(np.arange(200), 20)
    shared = np.repeat(rng.normal(0, 1, 200), 20)
    residual = np.sqrt(0.4) * shared + np.sqrt(0.6) * rng.normal(0, 1, 4000)

    assert portfolio.common_correlation(residual, month) == pytest.approx(0.4, abs=0.06)


def test_bounds_of_a_year_are_its_own_and_not_the_months_added_up() -> None:
    book = invented(PEOPLE, seed=3, sites=120)
    months = [(FIRST_DAY + 730 + 30 * k, FIRST_DAY + 760 + 30 * k) for k in range(12)]

    ledger = ledger_of(book, (months[0][0], months[-1][1]), *months)

    judged = np.isfinite(ledger.saved_l).all(axis=1) & (ledger.after_days[:, 0] >= 330)
    width = (ledger.high_l - ledger.low_l)[judged]
    assert judged.sum() > 40
    assert ledger.saved_l[judged, 1:].sum(axis=1) == pytest.approx(ledger.saved_l[judged, 0], rel=1e-6)
    assert np.all(width[:, 0] < 0.9 * width[:, 1:].sum(axis=1))


def test_expected_less_used_is_what_was_saved() -> None:
    book = invented(STEADY, seed=5, sites=80)

    ledger = ledger_of(book, LAST_YEAR)

    told = np.isfinite(ledger.saved_l[:, 0]) & (ledger.after_days[:, 0] == ledger.metered.days[:, 0])
    used = ledger.metered.used_l[told, 0]
    assert told.any()
    assert ledger.expected_l[told, 0] - used == pytest.approx(ledger.saved_l[told, 0], rel=1e-6)


def test_sites_without_meter_or_without_reads_after_the_change_are_named() -> None:
    book = invented(STEADY, seed=6, sites=60)
    changed = np.flatnonzero(~np.isnat(book.change_on))
    silent, stopped = changed[:2]
    gone = (book.periods.site == silent) | (
        (book.periods.site == stopped) & (book.periods.end > book.change_on[stopped])
    )
    fewer: UsePeriods = book.periods.where(~gone)

    ledger = ledger_of(replace(book, periods=fewer), LAST_YEAR)

    assert ledger.verdicts[silent] == NO_PERIODS
    assert ledger.verdicts[stopped] == NOTHING_AFTER
    assert np.isnan(ledger.saved_l[[silent, stopped], 0]).all()


def names_by_month(marks: reasons.MonthMarks) -> list[list[str]]:
    """Names of the reasons of each month of the first garden, in their order."""
    found = reasons.month_reasons(marks)
    return [[name for name, mask in found if mask[0, month]] for month in range(marks.ratio.shape[1])]


def test_reasons_name_the_cause_before_the_bare_fact() -> None:
    need = np.array([[10.0, 60.0, 100.0, 50.0, 2.0]])
    ratio = np.array([[1.0, 1.5, 0.5, 2.0, 9.0]])
    none = np.zeros(need.shape, dtype=np.bool_)
    marks = reasons.MonthMarks(
        ratio=ratio,
        need_l=need,
        is_own_meter=np.ones(1, dtype=np.bool_),
        flag_cause=np.array([["", "stuck_dry", "", "", ""]], dtype=object),
        is_unkeyed=none,
        is_bound_by_rules=none,
        has_sensor=~none,
        falls=reasons.season_has_turned(need, np.array([3, 5, 6, 9, 11])),
        is_leaking=none,
        unevenness=np.ones(need.shape),
    )

    found = names_by_month(marks)

    assert found == [
        [],
        ["sensor_flag:stuck_dry"],
        ["under_need"],
        ["autumn_over_watering"],
        ["use_without_need"],
    ]
    assert reasons.reason_words("sensor_flag:stuck_dry") == "sensor flagged: stuck dry"


def test_leak_stands_first_and_uneven_heads_are_named_where_good_ones_would_be_over_need() -> None:
    need = np.array([[50.0, 60.0, 60.0, 2.0]])
    none = np.zeros(need.shape, dtype=np.bool_)
    marks = reasons.MonthMarks(
        ratio=np.array([[1.5, 1.2, 1.0, 9.0]]),
        need_l=need,
        is_own_meter=np.ones(1, dtype=np.bool_),
        flag_cause=np.full(need.shape, "", dtype=object),
        is_unkeyed=none,
        is_bound_by_rules=none,
        has_sensor=none,
        falls=none,
        is_leaking=np.array([[True, False, False, True]]),
        unevenness=np.array([[1.0, 1.25, 1.25, np.nan]]),
    )

    assert names_by_month(marks) == [
        ["leak", "no_sensor"],
        ["poor_uniformity"],
        [],
        ["leak", "no_sensor"],
    ]


def test_ledger_lies_between_the_naive_judge_and_the_one_told_the_truth() -> None:
    rows = score_ledger(range(1, 9), sites=120)
    ours, naive, told = (
        [row for row in rows if row.judge == judge]
        for judge in ("ledger", "naive: last year's use", "told the truth")
    )

    assert all(0.80 <= row.site_cover <= 0.98 for row in ours)
    assert all(row.judged > 0.8 for row in ours)
    assert np.mean([row.site_cover for row in naive]) < np.mean([row.site_cover for row in ours]) - 0.05
    assert np.mean([row.book_cover for row in naive]) < np.mean([row.book_cover for row in ours]) - 0.2
    assert all(truth.book_width < row.book_width for truth, row in zip(told, ours, strict=True))


def test_classes_of_used_over_need_are_the_published_ones() -> None:
    # below 70 %, 70 to 130 %, above 130 % of the theoretical requirement: DeOreo, Mayer, Dziegielewski and
    # Kiefer (2016), Residential End Uses of Water, version 2, executive report
    ratio = np.array([0.0, 0.69, 0.70, 1.0, 1.30, 1.31, 9.0, np.nan])

    found = reasons.ratio_classes(ratio)

    assert (found.under, found.within, found.over) == (2, 3, 2)


def test_reasons_take_the_same_classes_as_the_published_ones() -> None:
    ratio = np.array([[0.69, 0.70, 1.30, 1.31]])
    none = np.zeros(ratio.shape, dtype=np.bool_)
    marks = reasons.MonthMarks(
        ratio=ratio,
        need_l=np.full(ratio.shape, 50.0),
        is_own_meter=np.ones(1, dtype=np.bool_),
        flag_cause=np.full(ratio.shape, "", dtype=object),
        is_unkeyed=none,
        is_bound_by_rules=none,
        has_sensor=~none,
        falls=none,
        is_leaking=none,
        unevenness=np.ones(ratio.shape),
    )

    assert names_by_month(marks) == [["under_need"], [], [], ["over_need"]]

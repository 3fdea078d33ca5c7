"""The ledger of all sites at once: used, needed, expected and saved, for any spans asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fleet.calc.ledger import portfolio
from fleet.calc.ledger.answer import LedgerInputs, SiteLedger
from fleet.calc.ledger.baseline import (
    BASELINE_DAYS,
    LONGEST_MONTHLY,
    MISSING_DAYS,
    SHORTEST_PERIOD,
    BaselineFits,
    Bills,
    baseline_verdicts,
    fit_baselines,
)
from fleet.calc.ledger.bills import lay_out, piece_edges, span_groups, usable_bills, whole_months
from fleet.calc.ledger.house import garden_use, house_base, use_floor
from fleet.calc.ledger.lag import book_lag_d, lagged_need
from fleet.calc.ledger.periods import UsePeriods
from fleet.calc.ledger.pool import Pooled, borrow_baselines, with_pooled_errors
from fleet.calc.ledger.savings import (
    ErrorOfSums,
    ReportPieces,
    common_autocorrelation,
    error_of_sums,
    quantile,
)
from fleet.calc.ledger.shared import baseline_correlation, own_errors, what_is_shared
from fleet.calc.ledger.split import PieceUse, use_by_piece
from fleet.calc.ledger.total import portfolio_total
from weather.calc.arrays import DayArray, FloatArray

DurationArray = NDArray[np.timedelta64]

LEAST_REPORT_DAYS = 25
NO_PERIODS = "no_metered_use"
NOTHING_AFTER = "too_few_days_after_change"


@dataclass(frozen=True, slots=True)
class _After:
    """Pieces after the change, with what the baselines say of them."""

    use: PieceUse
    edges: DayArray
    groups: FloatArray
    pieces: portfolio.SitePieces
    error: ErrorOfSums
    bridge_d: FloatArray


def site_ledger(inputs: LedgerInputs) -> SiteLedger:
    """Used, needed, expected and saved water of all sites for the spans asked for [L].

    Parameters
    ----------
    inputs
        Metered periods, need, changes and spans [1].
    """
    count = inputs.change_on.size
    change_on = _change_or_first(inputs)
    before = baseline_periods(inputs.periods, change_on, count)
    lag_d = book_lag_d(before, inputs.need, count)
    followed = replace(inputs, need=lagged_need(inputs.need, lag_d))
    bills, fits, verdicts = _baselines(followed, before, count)
    correlation = baseline_correlation(bills, fits, np.array([not verdict for verdict in verdicts]))
    fits, moves = own_errors(inputs, bills, fits)
    rho = common_autocorrelation(bills, fits)
    fits, pooled = _pooled(inputs, bills, fits, verdicts, rho)
    verdicts = ["" if lent else verdict for verdict, lent in zip(verdicts, pooled.sites, strict=True)]
    house = house_base(inputs, count)
    base = np.where(np.isnan(house.base_l_d), use_floor(fits, verdicts), house.base_l_d)
    metered = _by_span(inputs, inputs.periods, base, count)
    after = _after_change(followed, change_on, bills, fits, verdicts, pooled, rho, base)
    # borrowed baselines move no comparison and no sum of the book
    of_book = replace(after.pieces, is_metered=after.pieces.is_metered & ~pooled.sites[:, None])
    whole = np.ones((1, after.edges.size - 1))
    judged = np.array([not verdict for verdict in verdicts])
    report = _report(after.use, after.edges)
    shared = what_is_shared(of_book, moves, report.middle_d[0])
    comparison = shared.comparison
    of_all = error_of_sums(bills, fits, report, whole, rho=rho).sd_l[:, 0]
    drift = portfolio.yearly_drift(of_book, comparison, of_all)
    bridged = np.sqrt(after.error.sd_l**2 + after.error.day_variance[:, None] * after.bridge_d)
    total = portfolio_total(
        of_book,
        comparison,
        bridged,
        after.groups,
        drift=drift,
        correlation=correlation,
        places=shared.places,
        freedom=after.error.freedom,
    )
    moved = np.where(after.pieces.is_metered, after.pieces.predicted_l, 0.0) * (1.0 + comparison.factor)
    expected = moved @ after.groups.T
    used_after = np.where(after.pieces.is_metered, after.pieces.used_l, 0.0) @ after.groups.T
    after_days = np.where(after.pieces.is_metered, after.use.days, 0.0) @ after.groups.T
    variance = bridged**2 + (drift * expected) ** 2 + shared.site_variance(after.pieces, after.groups)
    half = np.sqrt(variance) * quantile(after.error.freedom)[:, None]
    told = (after_days > 0) & judged[:, None]
    saved = np.where(told, expected - used_after, np.nan)
    used_l, used_sd_l = garden_use(metered, house, after.error.day_variance, judged)
    return SiteLedger(
        metered=metered,
        used_l=used_l,
        used_sd_l=used_sd_l,
        after_days=after_days,
        expected_l=np.where(told, expected, np.nan),
        saved_l=saved,
        low_l=saved - half,
        high_l=saved + half,
        fits=fits,
        bills=bills,
        verdicts=_with_after(verdicts, np.sum(after.use.days, axis=1)),
        house=house,
        total=total,
        pieces=of_book,
        is_pooled=pooled.sites,
        comparison=comparison,
        places=shared.places,
        sd_l=bridged,
        freedom=after.error.freedom,
        groups=after.groups,
        comparison_sites=comparison.site_count,
        drift=drift,
        rho=rho,
        lag_d=lag_d,
        correlation=correlation,
        place_spread=float(np.sqrt(moves.variance)),
        comparison_factor=shared.mean_factor(after.groups),
    )


def _change_or_first(inputs: LedgerInputs) -> DayArray:
    """Day of change; gardens without one are compared from the first change on, after a year of bills."""
    known = ~np.isnat(inputs.change_on)
    if not known.any() or inputs.periods.site.size == 0:
        return inputs.change_on
    year_of_bills = inputs.periods.start.min() + np.timedelta64(BASELINE_DAYS + LONGEST_MONTHLY, "D")
    return np.where(known, inputs.change_on, max(inputs.change_on[known].min(), year_of_bills))


def baseline_periods(periods: UsePeriods, change_on: DayArray, count: int) -> UsePeriods:
    """Periods before each site's change that a baseline may use.

    Parameters
    ----------
    periods
        One stream of sound periods a site, sorted by site and start [L].
    change_on
        Day of the change, shape (sites,) [1].
    count
        Count of sites [1].
    """
    months = whole_months(periods, count)
    change = change_on[months.site]
    window = _whole_years(months, change_on, count)[months.site]
    before = (months.end <= change) & (months.start >= change - window)
    return months.where(usable_bills(months, count) & before)


def _baselines(inputs: LedgerInputs, before: UsePeriods, count: int) -> tuple[Bills, BaselineFits, list[str]]:
    """Fits of the periods before each site's change."""
    bills = lay_out(before, inputs.need, count)
    fits = fit_baselines(bills)
    verdicts = baseline_verdicts(bills, fits)
    metered = np.bincount(inputs.periods.site, minlength=count) > 0
    return (
        bills,
        fits,
        [verdict if seen else NO_PERIODS for verdict, seen in zip(verdicts, metered, strict=True)],
    )


def _pooled(
    inputs: LedgerInputs, bills: Bills, fits: BaselineFits, verdicts: list[str], rho: float
) -> tuple[BaselineFits, Pooled]:
    """Fits with borrowed ones where a garden's own history is short."""
    need, count = inputs.need, inputs.change_on.size
    days = need.cumulative_l.shape[0] - 1 - need.cumulative_unknown[-1].astype(np.float64)
    level = np.divide(need.cumulative_l[-1], days, out=np.full(count, np.nan), where=days > 0)
    of_house = np.zeros(count, dtype=np.bool_)
    of_house[inputs.periods.site[inputs.periods.is_whole_house]] = True
    return borrow_baselines(
        bills,
        fits,
        verdicts,
        level_l_d=level,
        is_whole_house=of_house,
        has_change=~np.isnat(inputs.change_on),
        rho=rho,
    )


def _whole_years(months: UsePeriods, change_on: DayArray, count: int) -> DurationArray:
    """Length of each site's baseline: two years where it has them, else one, and a month's slack.

    Whole years only: people water differently in spring and in autumn at the same need, and half a year
    more of one of them would lean the baseline.
    """
    first = np.full(count, np.datetime64("9999-01-01", "D"))
    np.minimum.at(first, months.site, months.start)
    two = change_on - first >= np.timedelta64(2 * BASELINE_DAYS - MISSING_DAYS, "D")
    days = np.where(two, 2 * BASELINE_DAYS, BASELINE_DAYS) + SHORTEST_PERIOD
    return days.astype("timedelta64[D]")


def _with_after(verdicts: list[str], days: FloatArray) -> list[str]:
    """Verdicts with the sites that have hardly any use after the change."""
    return [
        verdict or (NOTHING_AFTER if few else "")
        for verdict, few in zip(verdicts, days < LEAST_REPORT_DAYS, strict=True)
    ]


def _by_span(inputs: LedgerInputs, periods: UsePeriods, base: FloatArray, count: int) -> PieceUse:
    """Use by span; spans may overlap or leave gaps, so only those that follow on are cut out together."""
    breaks = np.flatnonzero(inputs.start[1:] != inputs.end[:-1]) + 1
    parts = [
        use_by_piece(
            periods=periods,
            need=inputs.need,
            edges=np.append(inputs.start[chain], inputs.end[chain[-1]]),
            base_l_d=base,
            site_count=count,
        )
        for chain in np.split(np.arange(inputs.start.size), breaks)
    ]
    return PieceUse(
        *(np.concatenate([getattr(part, name) for part in parts], axis=1) for name in PieceUse.__slots__)
    )


def _after_change(
    inputs: LedgerInputs,
    change_on: DayArray,
    bills: Bills,
    fits: BaselineFits,
    verdicts: list[str],
    pooled: Pooled,
    rho: float,
    base: FloatArray,
) -> _After:
    """Use and expectation by calendar piece, of whole bills after the change."""
    edges = piece_edges(inputs.start.min(), inputs.end.max(), np.concatenate([inputs.start, inputs.end]))
    groups = span_groups(edges, inputs.start, inputs.end)
    periods = inputs.periods.where(inputs.periods.start >= change_on[inputs.periods.site])
    count = change_on.size
    use = use_by_piece(periods=periods, need=inputs.need, edges=edges, base_l_d=base, site_count=count)
    report = _report(use, edges)
    judged = np.array([not verdict for verdict in verdicts])
    metered = (use.days > 0) & np.isfinite(use.need_l) & judged[:, None]
    pieces = portfolio.SitePieces(
        predicted_l=fits.predicted_l_d(report.need_l_d) * use.days,
        used_l=use.used_l,
        is_metered=metered,
        is_comparison=np.isnat(inputs.change_on),
    )
    error = error_of_sums(bills, fits, report, groups, rho=rho)
    error = with_pooled_errors(error, pooled, report, groups, rho=rho)
    return _After(use, edges, groups, pieces, error, _by_span(inputs, periods, base, count).bridge_d)


def _report(use: PieceUse, edges: DayArray) -> ReportPieces:
    """Pieces with known need as the error of sums takes them."""
    days = np.where(np.isfinite(use.need_l), use.days, 0.0)
    a_day = np.divide(use.need_l, days, out=np.zeros_like(days), where=days > 0)
    first = edges.astype(np.float64)
    middle = np.broadcast_to((first[:-1] + first[1:]) / 2.0, days.shape)
    return ReportPieces(need_l_d=a_day, days=days, middle_d=middle)

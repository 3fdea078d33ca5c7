"""A garden's saving bill by bill, so that somebody else can work it out again."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

import numpy as np

from fleet.calc.ledger.bills import whole_months
from fleet.calc.ledger.lag import lagged_need
from fleet.calc.ledger.metrics import (
    determination,
    fractional_savings_uncertainty,
    lag_one_autocorrelation,
    net_determination_bias,
    uncertainty_factor,
)
from fleet.calc.ledger.need import SiteNeed
from fleet.calc.ledger.periods import UsePeriods
from fleet.calc.ledger.savings import CONFIDENCE, MONTH_D
from fleet.calc.ledger.sites import baseline_periods
from fleet.calc.ledger.slips import plausible_use
from fleet.models import LedgerPortfolio, LedgerSite
from fleet.selectors.ledger.inputs import first_day, metered_use, need_of_sites
from sites.models import Site

USUAL_SLOPE: Final = (0.5, 2.5)  # litres used for a litre needed; outside of it area or unit may be wrong


@dataclass(frozen=True, slots=True)
class AuditBill:
    """A bill: its days, use and need [L], and what the baseline expects of it [L]."""

    first: date
    last: date
    days: int
    used_l: float
    need_l: float
    expected_l: float

    @property
    def missed_l(self) -> float:
        """Use less expectation [L]."""
        return self.used_l - self.expected_l


@dataclass(frozen=True, slots=True)
class SiteAudit:
    """What a saving rests on.

    Parameters
    ----------
    before, after
        Bills of the baseline, and those since the change.
    parameters
        Fitted parameters p [1].
    cv_rmse, r_squared, net_bias
        Measures of the baseline, as fractions [1].
    own_rho, book_rho
        Correlation of a bill's error with the next one's: of this garden's few bills, and of the book's,
        which the interval takes [1].
    own_l
        What its own bills expect of the days after the change [L].
    moved
        Share by which gardens without a change moved that [1].
    fsu, fsu_correlated
        Uncertainty of the saving over the saving by the published shortcut at 90 %, without and with the
        correlation of this garden's bills [1]; None where nothing was saved.
    lag_d
        Days by which needs are followed [d].
    is_newer
        Whether bills came or went since the ledger's night.
    """

    before: list[AuditBill]
    after: list[AuditBill]
    parameters: int
    cv_rmse: float
    r_squared: float
    net_bias: float
    own_rho: float | None
    book_rho: float
    own_l: float
    moved: float
    fsu: float | None
    fsu_correlated: float | None
    lag_d: float
    is_newer: bool

    @property
    def sides(self) -> list[tuple[str, list[AuditBill]]]:
        """Bills before and after the change, each under its head."""
        return [
            ("Before the change: the baseline was fitted to these", self.before),
            ("Since the change: expected by the baseline", self.after),
        ]

    @property
    def freedom(self) -> int:
        """Bills less fitted parameters."""
        return len(self.before) - self.parameters


def site_audit(*, site: Site, summary: LedgerSite | None) -> SiteAudit | None:
    """The bills behind a garden's saving; None where none is told by its own bills.

    Parameters
    ----------
    site
        The garden.
    summary
        Its row of the ledger.
    """
    if summary is None or summary.saved_l is None or summary.is_pooled or summary.change_on is None:
        return None
    meters = list(site.meters.values_list("pk", flat=True))
    since, end = first_day(summary.as_of), summary.as_of + timedelta(days=1)
    need = need_of_sites(site_ids=[site.pk], since=since, until_day=summary.as_of)
    if need is None or not meters or not summary.model:
        return None
    use, _ = metered_use(
        index={site.pk: 0}, zones={site.pk: site.timezone}, since=since, end=end, meter_ids=meters
    )
    lag_d = float(LedgerPortfolio.objects.order_by("pk").values_list("values__lag_d", flat=True).first() or 0)
    followed, change = lagged_need(need, lag_d), np.datetime64(summary.change_on, "D")
    periods = plausible_use(use, need, 1).periods
    before = _bills(baseline_periods(periods, np.array([change]), 1), followed, summary.model)
    after = _bills(whole_months(periods.where(periods.start >= change), 1), followed, summary.model)
    after = [replace(bill, expected_l=max(bill.expected_l, 0.0)) for bill in after]
    parameters = int(summary.model["parameters"])
    if len(before) < parameters + 2 or not after:
        return None
    return _measured(before, after, summary, parameters, lag_d)


def _bills(periods: UsePeriods, need: SiteNeed, model: dict[str, float]) -> list[AuditBill]:
    """Bills with known need, and what the baseline expects of each."""
    needed = need.between(periods.site, periods.start, periods.end)
    found = []
    for at in np.flatnonzero(np.isfinite(needed)).tolist():
        days, need_l = int(periods.days[at]), float(needed[at])
        beyond = max(need_l / days - model["change_point_l_d"], 0.0)
        first, end = periods.start[at].item(), periods.end[at].item()
        expected = (model["base_l_d"] + model["slope"] * beyond) * days
        last = end - timedelta(days=1)
        found.append(AuditBill(first, last, days, float(periods.volume_l[at]), need_l, expected))
    return found


def _measured(
    before: list[AuditBill], after: list[AuditBill], summary: LedgerSite, parameters: int, lag_d: float
) -> SiteAudit:
    """The bills with the measures of their baseline."""
    assert summary.model is not None  # noqa: S101 - the caller looked
    days = np.array([bill.days for bill in before], dtype=np.float64)
    used = np.array([bill.used_l for bill in before])
    expected = np.array([bill.expected_l for bill in before])
    residual = (used - expected) / np.sqrt(days)
    own_rho = lag_one_autocorrelation(residual) if np.ptp(residual) > 0 else None
    own_l = sum(bill.expected_l for bill in after)
    cv = float(summary.model["cv_rmse"] or 0.0)
    return SiteAudit(
        before=before,
        after=after,
        parameters=parameters,
        cv_rmse=cv,
        r_squared=determination(used / days, expected / days),
        net_bias=net_determination_bias(used, expected),
        own_rho=own_rho,
        book_rho=float(summary.model["autocorrelation"]),
        own_l=own_l,
        moved=(summary.predicted_l or 0.0) / own_l - 1.0 if own_l > 0 else 0.0,
        fsu=_shortcut(cv, summary, parameters, before, after, 0.0),
        fsu_correlated=_shortcut(cv, summary, parameters, before, after, own_rho or 0.0),
        lag_d=lag_d,
        is_newer=len(before) != int(summary.model["periods"]),
    )


def _shortcut(
    cv: float,
    summary: LedgerSite,
    parameters: int,
    before: list[AuditBill],
    after: list[AuditBill],
    rho: float,
) -> float | None:
    """Fractional savings uncertainty of the published shortcut; None where nothing was saved."""
    if not summary.saved_l or not summary.predicted_l:
        return None
    months = sum(bill.days for bill in after) / MONTH_D
    return fractional_savings_uncertainty(
        cv=cv,
        savings_fraction=summary.saved_l / summary.predicted_l,
        parameter_count=parameters,
        baseline_periods=len(before),
        report_periods=len(after),
        confidence=CONFIDENCE,
        factor=uncertainty_factor(months, interval="monthly"),
        autocorrelation=min(max(rho, -0.95), 0.95),
    )

"""Rows of the ledger that cover more than a month: a site's saving, and the book's."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from fleet.calc.ledger_portfolio import Total
from fleet.calc.ledger_sites import NORMAL_90
from fleet.models import LedgerPortfolio, LedgerSite
from fleet.selectors.ledger_answer import LedgerAnswer
from fleet.selectors.ledger_inputs import SENSOR_DAY_UNKNOWN, LedgerBook


def site_rows(*, book: LedgerBook, answer: LedgerAnswer, as_of: date) -> list[LedgerSite]:
    """A row a site from the answer's first span: its baseline, its saving, or why there is none."""
    ledger, fits = answer.ledger, answer.ledger.fits
    rows = []
    for site, pk in enumerate(book.site_ids.tolist()):
        change = book.change_on[site]
        known = not np.isnat(change) and change != SENSOR_DAY_UNKNOWN
        verdict = answer.verdicts[site]
        saved, high = float(ledger.saved_l[site, 0]), float(ledger.high_l[site, 0])
        told = not verdict and bool(np.isfinite(saved))
        rows.append(
            LedgerSite(
                site_id=pk,
                as_of=as_of,
                change_on=change.item() if known else None,
                model=_model(answer, site) if fits.period_count[site] > 2 else None,
                saved_l=round(saved, 1) if told else None,
                saved_low_l=round(float(ledger.low_l[site, 0]), 1) if told else None,
                saved_high_l=round(high, 1) if told else None,
                predicted_l=round(float(ledger.expected_l[site, 0]), 1) if told else None,
                fsu=round((high - saved) / abs(saved), 3) if told and saved != 0 else None,
                verdict=verdict,
            )
        )
    return rows


def _model(answer: LedgerAnswer, site: int) -> dict[str, float | int | None]:
    """A baseline as numbers."""
    fits = answer.ledger.fits
    cv = float(fits.cv_rmse[site])
    return {
        "base_l_d": round(float(fits.base_l_d[site]), 3),
        "slope": round(float(fits.slope[site]), 4),
        "change_point_l_d": round(float(fits.change_point_l_d[site]), 3),
        "parameters": int(fits.parameter_count[site]),
        "periods": int(fits.period_count[site]),
        "cv_rmse": round(cv, 4) if np.isfinite(cv) else None,
        "autocorrelation": round(answer.ledger.rho, 3),
    }


def portfolio_rows(
    *, book: LedgerBook, answer: LedgerAnswer, spans: Sequence[tuple[date, date]]
) -> list[LedgerPortfolio]:
    """A row a span: the book's use, need and saving with its own interval."""
    ledger = answer.ledger
    seen = (ledger.metered.days > 0) & np.isfinite(answer.need_l)
    parts = {
        "supplier": _parts(book.suppliers, answer),
        "soil": _parts(book.soils, answer),
    }
    rows = []
    for place, (start, end) in enumerate(spans):
        factor = ledger.comparison_factor[place]
        values = {
            "used_l": round(float(np.sum(ledger.used_l[seen[:, place], place])), 1),
            "need_l": round(float(np.sum(answer.need_l[seen[:, place], place])), 1),
            "sites": int(np.sum(seen[:, place])),
            **total_values(ledger.total, place),
            "comparison_sites": ledger.comparison_sites,
            "comparison_factor": round(float(factor), 4) if np.isfinite(factor) else None,
            "drift": round(ledger.drift, 4),
            "autocorrelation": round(ledger.rho, 4),
            "correlation": round(ledger.correlation, 4),
            "by": {
                name: {part: total_values(total, place) for part, total in totals.items()}
                for name, totals in parts.items()
            },
        }
        rows.append(LedgerPortfolio(period_start=start, period_end=end, values=values))
    return rows


def total_values(total: Total, place: int) -> dict[str, float | int]:
    """One span of a sum of savings, as numbers."""
    saved, half = float(total.saved_l[place]), float(NORMAL_90 * total.sd_l[place])
    return {
        "judged": int(total.sites[place]),
        "expected_l": round(float(total.predicted_l[place]), 1),
        "saved_l": round(saved, 1),
        "saved_low_l": round(saved - half, 1),
        "saved_high_l": round(saved + half, 1),
    }


def _parts(words: list[str], answer: LedgerAnswer) -> dict[str, Total]:
    """Sums of the sites that share a word."""
    column = np.array(words)
    return {word: answer.ledger.total_of(column == word) for word in sorted(set(words)) if word}

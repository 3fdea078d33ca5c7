"""Rows of the ledger that cover more than a month: a site's saving, and the book's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from fleet.calc.ledger.groups import GroupUse, group_use
from fleet.calc.ledger.savings import CONFIDENCE
from fleet.calc.ledger.total import Total
from fleet.models import LedgerPortfolio, LedgerSite
from fleet.selectors.ledger.answer import LedgerAnswer
from fleet.selectors.ledger.inputs import SENSOR_DAY_UNKNOWN, LedgerBook
from weather.calc.arrays import BoolArray, FloatArray

MOST_NOTED = 100  # faults of reads: the newest
NOTED_MONTHS = 12
MOST_PARTS = 60  # of a grouping: the largest; beyond it nobody compares


@dataclass(frozen=True, slots=True)
class MonthFigures:
    """Garden-months behind the sums, arrays (sites, months) [L], money, and their causes, likeliest first."""

    months: list[tuple[date, date]]
    used_l: FloatArray
    need_l: FloatArray
    over_money: FloatArray
    causes: list[tuple[str, BoolArray]]

    def inside(self, spans: Sequence[tuple[date, date]]) -> BoolArray:
        """Which months lie within each span, (spans, months)."""
        return np.array(
            [[start >= a and end <= b for start, end in self.months] for a, b in spans], dtype=np.bool_
        )


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
                change_by=_change_by(book, site) if known else "",
                is_pooled=told and bool(ledger.is_pooled[site]),
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


def _change_by(book: LedgerBook, site: int) -> str:
    """What the change of a garden was."""
    by_sensor = not np.isnat(book.sensor_on[site])
    return LedgerSite.Change.SENSOR if by_sensor else LedgerSite.Change.PROGRAM


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
        **_house(answer, site),
    }


def _house(answer: LedgerAnswer, site: int) -> dict[str, float]:
    """What is taken for the house of a meter that feeds it too, with its bounds [L/d]; nothing elsewhere."""
    house = answer.ledger.house
    if not np.isfinite(house.base_l_d[site]):
        return {}
    return {
        "house_l_d": round(float(house.base_l_d[site]), 1),
        "house_low_l_d": round(float(house.low_l_d[site]), 1),
        "house_high_l_d": round(float(house.high_l_d[site]), 1),
    }


def portfolio_rows(
    *,
    answer: LedgerAnswer,
    spans: Sequence[tuple[date, date]],
    words: dict[str, list[str]],
    figures: MonthFigures,
    wider: dict[str, list[int]],
    of_whole: dict[str, object],
) -> list[LedgerPortfolio]:
    """A row a span: use, need and saving of the book and its parts, each with its own interval.

    What is told of the whole time only stands in the first row; what widens a month's figures, by count of
    gardens, in the month's.
    """
    ledger = answer.ledger
    seen = (ledger.metered.days > 0) & np.isfinite(answer.need_l)
    inside = figures.inside(spans)
    by = {name: _parts(column, answer, figures, inside) for name, column in words.items()}
    reasons = _reasons(figures, inside)
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
            "place_spread": round(ledger.place_spread, 4),
            "lag_d": ledger.lag_d,
            "pooled": int(np.sum(ledger.is_pooled & np.isfinite(ledger.saved_l[:, place]))),
            "by": {name: {word: part[place] for word, part in parts.items()} for name, parts in by.items()},
            "reasons": reasons[place],
            **(of_whole if place == 0 else {}),
            **_wider(wider, figures.months, (start, end)),
        }
        rows.append(LedgerPortfolio(period_start=start, period_end=end, values=values))
    return rows


def _wider(
    wider: dict[str, list[int]], months: list[tuple[date, date]], span: tuple[date, date]
) -> dict[str, dict[str, int]]:
    """Gardens of a month by what widens their figures; nothing for a span that is no month."""
    if span not in months:
        return {}
    month = months.index(span)
    return {"wider": {code: counts[month] for code, counts in wider.items() if counts[month]}}


def noted_faults(
    *,
    book: LedgerBook,
    months: Sequence[tuple[date, date]],
    faults: Sequence[tuple[str, BoolArray]],
    unjudged: BoolArray | None = None,
) -> list[tuple[int, str, str]]:
    """Garden, fault and newest month (ISO) of what was wrong in the newest twelve months, the newest first.

    Of gardens without an answer older faults count, too: they may be what it lacks.

    Parameters
    ----------
    book
        Gardens in the order of their codes.
    months
        First day and the day after the last of each.
    faults
        Name of each fault, and the garden-months that it touches.
    unjudged
        Gardens without an answer, shape (sites,); None: none.
    """
    recent = np.arange(len(months)) >= len(months) - NOTED_MONTHS
    counts = np.broadcast_to(recent, (book.site_ids.size, len(months)))
    if unjudged is not None:
        counts = counts | unjudged[:, None]
    found = [
        (-int(np.flatnonzero(mask[site])[-1]), site, code)
        for code, mask in faults
        for site in np.flatnonzero((mask & counts).any(axis=1)).tolist()
    ]
    return [
        (int(book.site_ids[site]), code, months[-month][0].isoformat())
        for month, site, code in sorted(found)[:MOST_NOTED]
    ]


def total_values(total: Total, place: int) -> dict[str, float | int]:
    """One span of a sum of savings, as numbers."""
    saved, half = float(total.saved_l[place]), float(total.half_width_l(CONFIDENCE)[place])
    # less than nothing is never expected
    low = max(saved - half, -float(total.used_l[place]))
    return {
        "judged": int(total.sites[place]),
        "expected_l": round(float(total.predicted_l[place]), 1),
        "saved_l": round(saved, 1),
        "saved_low_l": round(low, 1),
        "saved_high_l": round(saved + half, 1),
    }


def _parts(
    words: list[str], answer: LedgerAnswer, figures: MonthFigures, inside: BoolArray
) -> dict[str, list[dict[str, float | int]]]:
    """Sums of the gardens that share a word, one entry a span; of many words those with most gardens."""
    column = np.array(words)
    names, count = np.unique(column[column != ""], return_counts=True)
    names = np.sort(names[np.argsort(-count, kind="stable")[:MOST_PARTS]])
    if names.size == 0:
        return {}
    place = np.clip(np.searchsorted(names, column), 0, names.size - 1)
    place = np.where(names[place] == column, place, -1).astype(np.int64)
    use = group_use(
        used_l=figures.used_l,
        need_l=figures.need_l,
        over_money=figures.over_money,
        place=place,
        count=names.size,
        months_in=inside,
    )
    found = {}
    for group, word in enumerate(names.tolist()):
        total = answer.ledger.total_of(place == group)
        found[word] = [
            {**total_values(total, span), **_use_values(use, group, span)} for span in range(inside.shape[0])
        ]
    return found


def _use_values(use: GroupUse, group: int, span: int) -> dict[str, float | int]:
    """One group and span of sums of use, as numbers."""
    return {
        "gardens": int(use.gardens[group, span]),
        "used_l": round(float(use.used_l[group, span]), 1),
        "need_l": round(float(use.need_l[group, span]), 1),
        "over_l": round(float(use.over_l[group, span]), 1),
        "over_money": round(float(use.over_money[group, span]), 2),
    }


def _reasons(figures: MonthFigures, inside: BoolArray) -> list[dict[str, dict[str, float | int]]]:
    """Litres over need of each span by the likeliest cause of each garden's month."""
    over = np.where(np.isfinite(figures.used_l), np.maximum(figures.used_l - figures.need_l, 0.0), 0.0)
    first: dict[str, BoolArray] = {}
    free = over > 0
    for code, mask in figures.causes:
        first[code], free = mask & free, free & ~mask
    pick = inside.astype(np.float64).T
    found: list[dict[str, dict[str, float | int]]] = [{} for _ in range(inside.shape[0])]
    for code in sorted(first):
        mask = first[code]
        litres = np.where(mask, over, 0.0).sum(axis=0) @ pick
        money = np.where(mask, figures.over_money, 0.0).sum(axis=0) @ pick
        count = ((mask.astype(np.float64) @ pick) > 0).sum(axis=0)
        for span in np.flatnonzero(count).tolist():
            found[span][code] = {
                "gardens": int(count[span]),
                "over_l": round(float(litres[span]), 1),
                "over_money": round(float(money[span]), 2),
            }
    return found

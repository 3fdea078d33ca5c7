"""What a book will have used by the year's end: used so far, and what is still to come with its interval.

The months to come need what the same calendar months needed on average, and use what they used last year
for each litre needed. Two errors are carried. That of the weather comes from how far each calendar month's
need lay from its own mean over the years (months taken as independent). That of the habit comes from how far
this year's months so far lay from last year's in litres used for a litre needed; all months to come share it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy import stats

LEAST_YEARS = 2  # of each month to come
LEAST_COMPARED = 3  # months of this year that last year had too
_SHARE = 0.1  # of the largest month; smaller ones say nothing of relative errors. [judgement]


@dataclass(frozen=True, slots=True)
class BookUse:
    """Use and need of the gardens read in a month [L], and their count [1]."""

    month: date
    used_l: float
    need_l: float
    gardens: int


@dataclass(frozen=True, slots=True)
class YearEnd:
    """A forecast of the year's use.

    Parameters
    ----------
    so_far_l
        Used in the told months of the year [L].
    to_come_l, low_l, high_l
        Use still to come with its 90 % interval [L].
    need_l
        Need of the told months and mean need of those to come [L].
    first, months
        The first month to come, and how many there are [1].
    """

    so_far_l: float
    to_come_l: float
    low_l: float
    high_l: float
    need_l: float
    first: date
    months: int

    @property
    def total_l(self) -> float:
        """Use of the whole year [L]."""
        return self.so_far_l + self.to_come_l


def forecast_year(months: Sequence[BookUse]) -> YearEnd | None:
    """The use of the newest month's calendar year; None where it is over, or too little is known.

    Parameters
    ----------
    months
        Months of the book in order, only those in which most gardens were read [L].
    """
    if not months:
        return None
    newest = months[-1]
    year, ahead = newest.month.year, range(newest.month.month + 1, 13)
    past: dict[int, list[BookUse]] = {m: [] for m in range(1, 13)}
    for row in months:
        past[row.month.month].append(row)
    if not ahead or any(len(past[m]) < LEAST_YEARS for m in ahead):
        return None
    habit = _habit_error(months, year)
    spread = _need_error(past)
    if habit is None or spread is None:
        return None
    variance, freedom = spread
    mean = {m: float(np.mean([row.need_l / row.gardens for row in past[m]])) for m in ahead}
    ratio = {m: _ratio(past[m][-1]) for m in ahead}
    come = np.array([newest.gardens * mean[m] * ratio[m] for m in ahead])
    weather = variance * np.array([1.0 + 1.0 / len(past[m]) for m in ahead]) @ come**2
    total = float(come.sum())
    half = float(stats.t.ppf(0.95, freedom)) * float(np.sqrt(weather + (habit * total) ** 2))
    so_far = [row for row in months if row.month.year == year]
    return YearEnd(
        so_far_l=sum(row.used_l for row in so_far),
        to_come_l=total,
        low_l=max(total - half, 0.0),
        high_l=total + half,
        need_l=sum(row.need_l for row in so_far) + newest.gardens * sum(mean.values()),
        first=date(year, newest.month.month + 1, 1),
        months=len(ahead),
    )


def _ratio(row: BookUse) -> float:
    """Used for a litre needed."""
    return row.used_l / row.need_l if row.need_l > 0 else 0.0


def _habit_error(months: Sequence[BookUse], year: int) -> float | None:
    """Root mean square of this year's ratios against last year's, relative [1]."""
    by = {row.month: row for row in months if row.need_l > 0 and row.used_l > 0}
    largest = max((row.need_l for row in by.values()), default=0.0)
    logs = [
        np.log(_ratio(row) / _ratio(by[before]))
        for month, row in by.items()
        if month.year == year
        and (before := month.replace(year=year - 1)) in by
        and min(row.need_l, by[before].need_l) > _SHARE * largest
    ]
    return float(np.sqrt(np.mean(np.square(logs)))) if len(logs) >= LEAST_COMPARED else None


def _need_error(past: dict[int, list[BookUse]]) -> tuple[float, int] | None:
    """Relative variance of a calendar month's need about its mean, and its degrees of freedom."""
    a_garden = {m: np.array([row.need_l / row.gardens for row in rows]) for m, rows in past.items() if rows}
    largest = max(float(values.mean()) for values in a_garden.values())
    squares, freedom = 0.0, 0
    for values in a_garden.values():
        mean = float(values.mean())
        if values.size > 1 and mean > _SHARE * largest:
            squares += float(np.sum((values / mean - 1.0) ** 2))
            freedom += values.size - 1
    return (squares / freedom, freedom) if freedom >= LEAST_COMPARED else None

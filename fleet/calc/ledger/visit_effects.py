"""What visits of a kind did to water over need: before and after, against gardens that nobody visited.

Gardens are visited because they stand out, and what stands out falls back by itself. So each visited garden
is held against the unvisited ones that were just as far over need in the same months before: what these did
afterwards is taken off. A garden so far out that nobody is like it is left out. What is left, with the
interval of its mean, is the visit's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from weather.calc.arrays import BoolArray, FloatArray, IntArray

MONTHS = 3  # before the month of the visit, and after it
MATCHES = 5  # unvisited gardens for each visited one
ALIKE = 0.25  # of the spread before: the most a match may differ; calipers of 0.2 are usual (Austin 2011)
LEAST_VISITS = 8  # for an interval. [judgement]


@dataclass(frozen=True, slots=True)
class VisitEffect:
    """Litres a month saved by a visit of a kind, with its 90 % interval, and the plain before and after [L].

    Parameters
    ----------
    visits
        Visits with known use before and after and enough gardens to compare [1].
    saved_l, low_l, high_l
        Saved a month, against the comparison [L].
    plain_l
        Before less after without any comparison [L]; holds what would have fallen back by itself.
    """

    visits: int
    saved_l: float
    low_l: float
    high_l: float
    plain_l: float


def visit_effect(
    *, over_l: FloatArray, site: IntArray, month: IntArray, is_visited: BoolArray
) -> VisitEffect | None:
    """The effect of some visits on litres over need a month; None with fewer than eight that can be told.

    Parameters
    ----------
    over_l
        Use less need by garden and month, NaN where not told, shape (sites, months) [L].
    site, month
        Garden and month of each visit, shape (visits,) [1].
    is_visited
        Months in which anybody finished any visit, shape (sites, months) [1].
    """
    own, plain = [], []
    last = over_l.shape[1] - MONTHS
    for one in np.unique(month[(month >= MONTHS) & (month < last)]).tolist():
        before = np.mean(over_l[:, one - MONTHS : one], axis=1)
        change = before - np.mean(over_l[:, one + 1 : one + 1 + MONTHS], axis=1)
        told = np.isfinite(change)
        quiet = told & ~is_visited[:, one - MONTHS : one + 1 + MONTHS].any(axis=1)
        visited = np.unique(site[month == one])
        visited = visited[told[visited]]
        pool = np.flatnonzero(quiet)
        if pool.size < MATCHES or visited.size == 0:
            continue
        gap = np.abs(before[visited][:, None] - before[pool][None, :])
        nearest = np.argpartition(gap, MATCHES - 1, axis=1)[:, :MATCHES]
        alike = np.take_along_axis(gap, nearest, axis=1).max(axis=1) <= ALIKE * np.std(before[told])
        own.append((change[visited] - np.mean(change[pool][nearest], axis=1))[alike])
        plain.append(change[visited][alike])
    effects = np.concatenate(own) if own else np.zeros(0)
    if effects.size < LEAST_VISITS:
        return None
    mean = float(effects.mean())
    half = float(stats.t.ppf(0.95, effects.size - 1) * effects.std(ddof=1) / np.sqrt(effects.size))
    return VisitEffect(effects.size, mean, mean - half, mean + half, float(np.concatenate(plain).mean()))

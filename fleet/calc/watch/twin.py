"""The empirical healthy twin: a second healthy model that knows no physics, only what this garden always did.

It keeps the site's own counts in three bins of the physical prediction and predicts with a beta-binomial. A
garden whose soil or sprinklers the book describes badly then looks like itself, not like a fault.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
from scipy.special import gammaln

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.integer]

BIN_EDGES = (1.0 / 3.0, 2.0 / 3.0)
_LEAST_SHARE = 0.02


@dataclass(slots=True)
class TwinCounts:
    """Blocked and run starts by bin of the predicted bypass rate, both (sites, 3) [1]."""

    blocked: FloatArray
    ran: FloatArray


def beta_binomial_log(
    blocked: FloatArray, starts: FloatArray, alpha: FloatArray, beta: FloatArray
) -> FloatArray:
    """Log probability of `blocked` of `starts` when the rate is beta distributed [1].

    Parameters
    ----------
    blocked, starts
        Counts [1].
    alpha, beta
        Shape of the beta distribution, above 0 [1].
    """
    result: FloatArray = (
        log_choose(starts, blocked)
        + gammaln(blocked + alpha)
        + gammaln(starts - blocked + beta)
        - gammaln(starts + alpha + beta)
        + gammaln(alpha + beta)
        - gammaln(alpha)
        - gammaln(beta)
    )
    return result


def log_choose(n: FloatArray, k: FloatArray) -> FloatArray:
    """Log of the binomial coefficient [1].

    Parameters
    ----------
    n, k
        Counts, 0 <= k <= n [1].
    """
    result: FloatArray = gammaln(n + 1.0) - gammaln(k + 1.0) - gammaln(n - k + 1.0)
    return result


def twin_log_likelihood(
    counts: TwinCounts, rate: FloatArray, blocked: FloatArray, starts: FloatArray, prior: float
) -> FloatArray:
    """Log probability of the day's count by the twin, (sites,) [1].

    Parameters
    ----------
    counts
        What the site did so far.
    rate
        Bypass rate by the physical prediction, (sites,) [1].
    blocked, starts
        Today's counts, (sites,) [1].
    prior
        Weight of the physical prediction, as a number of starts [1].
    """
    share = np.clip(rate, _LEAST_SHARE, 1.0 - _LEAST_SHARE)
    row = np.arange(rate.size)
    column = bin_of(rate)
    alpha = prior * share + counts.blocked[row, column]
    beta = prior * (1.0 - share) + counts.ran[row, column]
    return beta_binomial_log(blocked, starts, alpha, beta)


def remember(
    counts: TwinCounts,
    rows: IntArray,
    rate: FloatArray,
    blocked: FloatArray,
    starts: FloatArray,
    healthy: FloatArray,
) -> None:
    """Add today's counts in proportion to the probability of being healthy; changes the counts in place.

    Parameters
    ----------
    counts
        Counts of all sites, changed in place.
    rows
        Sites with a count today, (n,) [1].
    rate, blocked, starts, healthy
        Physical prediction, counts and probability of being healthy of those sites, (n,) [1].
    """
    column = bin_of(rate)
    counts.blocked[rows, column] += healthy * blocked
    counts.ran[rows, column] += healthy * (starts - blocked)


def bin_of(rate: FloatArray) -> IntArray:
    """Bin 0, 1 or 2 of a predicted bypass rate [1].

    Parameters
    ----------
    rate
        Bypass rate, 0..1 [1].
    """
    result: IntArray = np.digitize(rate, BIN_EDGES)
    return result

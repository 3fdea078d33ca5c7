"""Intervals of a share that was counted."""

from __future__ import annotations

from dataclasses import dataclass

from scipy.stats import norm


@dataclass(frozen=True, slots=True)
class Share:
    """A counted share with its interval [1]; all NaN where nothing was counted."""

    value: float
    low: float
    high: float


def wilson_interval(count: int, total: int, *, confidence: float = 0.95) -> Share:
    """Share `count / total` with its score interval (Wilson 1927) [1].

    Parameters
    ----------
    count, total
        How often, of how many, 0 <= count <= total [1].
    confidence
        Coverage, between 0 and 1 [1].
    """
    if not 0 <= count <= total:
        raise ValueError("a count lies between 0 and its total")
    if not 0.0 < confidence < 1.0:
        raise ValueError("confidence lies between 0 and 1")
    if total == 0:
        return Share(float("nan"), float("nan"), float("nan"))
    z = float(norm.ppf(0.5 + 0.5 * confidence))
    share = count / total
    middle = (share + z**2 / (2 * total)) / (1 + z**2 / total)
    half = z / (1 + z**2 / total) * (share * (1 - share) / total + z**2 / (4 * total**2)) ** 0.5
    return Share(share, max(0.0, middle - half), min(1.0, middle + half))

"""Time on the spot by kind of visit, learned from findings: each kind's mean, drawn to the rest while few.

Empirical Bayes on the logarithm of noted over planned minutes: kinds differ by a variance between them, taken
by the method of moments (DerSimonian and Laird 1986, Eq. 8), and each kind's mean is drawn to the common one
by how little is known of it (Efron and Morris 1975).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Final

# Spread of single visits of a kind before any finding, as a standard deviation of the logarithm, and how many
# findings that assumption weighs. Assumed, no source.
ASSUMED_SD: Final = 0.35
ASSUMED_WEIGHT: Final = 6.0
# Spread between kinds while fewer than so many have findings; assumed. Never less than the least.
ASSUMED_TAU: Final = 0.30
LEAST_TAU: Final = 0.10
FEWEST_KINDS: Final = 4
# Fewer findings of a kind than this say nothing of it.
FEWEST: Final = 3
# Noted minutes this far from the plan are a slip of the finger: they count as this far.
FARTHEST: Final = 4.0
Z_80: Final = 1.2816


@dataclass(frozen=True, slots=True)
class LearnedTime:
    """Minutes of a kind to plan with, and where eight of ten visits lie.

    Parameters
    ----------
    planned_min, minutes
        Planning assumption, and what it became: as many visits are shorter as longer [min].
    low_min, high_min
        Where eight of ten visits of the kind lie [min].
    visits
        Findings behind it [-].
    weight
        Share of the kind's own findings in it, 0 to 1 [-].
    """

    planned_min: float
    minutes: float
    low_min: float
    high_min: float
    visits: int
    weight: float


@dataclass(frozen=True, slots=True)
class Pooled:
    """Common mean, its standard error, and the variance between groups."""

    mean: float
    se: float
    tau2: float


def random_effects(means: Sequence[float], variances: Sequence[float]) -> Pooled:
    """Common mean and variance between groups by moments (DerSimonian and Laird 1986) [-].

    Parameters
    ----------
    means, variances
        Mean of each group and the variance of that mean, more than 0 [-].
    """
    weights = [1.0 / variance for variance in variances]
    total = sum(weights)
    fixed = sum(w * m for w, m in zip(weights, means, strict=True)) / total
    q = sum(w * (m - fixed) ** 2 for w, m in zip(weights, means, strict=True))
    c = total - sum(w * w for w in weights) / total
    tau2 = max(0.0, (q - (len(means) - 1)) / c) if c > 0 else 0.0
    again = [1.0 / (variance + tau2) for variance in variances]
    mean = sum(w * m for w, m in zip(again, means, strict=True)) / sum(again)
    return Pooled(mean, sqrt(1.0 / sum(again)), tau2)


def learned_times(
    planned: Mapping[str, float], observed: Mapping[str, Sequence[float]]
) -> dict[str, LearnedTime]:
    """Minutes to plan each kind with, its spread, and how many findings stand behind it [min].

    Parameters
    ----------
    planned
        Planning assumption by kind, more than 0 [min].
    observed
        Times on site of findings, by kind [min].
    """
    ratios = {
        kind: [
            max(-log(FARTHEST), min(log(FARTHEST), log(one / plan)))
            for one in observed.get(kind, ())
            if one > 0
        ]
        for kind, plan in planned.items()
    }
    within2 = _within_variance(list(ratios.values()))
    known = {kind: own for kind, own in ratios.items() if len(own) >= FEWEST}
    centre, tau2 = 0.0, ASSUMED_TAU**2
    if len(known) >= FEWEST_KINDS:
        pooled = random_effects(
            [sum(own) / len(own) for own in known.values()], [within2 / len(own) for own in known.values()]
        )
        centre, tau2 = pooled.mean, max(pooled.tau2, LEAST_TAU**2)
    return {
        kind: _learned(plan, known.get(kind, []), len(ratios[kind]), centre, tau2, within2)
        for kind, plan in planned.items()
    }


def _within_variance(groups: Sequence[Sequence[float]]) -> float:
    """Variance of single visits within kinds, the assumption weighing like some findings."""
    squares = sum(sum((x - sum(own) / len(own)) ** 2 for x in own) for own in groups if own)
    freedom = sum(len(own) - 1 for own in groups if own)
    return (ASSUMED_WEIGHT * ASSUMED_SD**2 + squares) / (ASSUMED_WEIGHT + freedom)


def _learned(
    plan: float, own: Sequence[float], visits: int, centre: float, tau2: float, within2: float
) -> LearnedTime:
    """One kind: without enough findings the plan stays."""
    weight, mean, left2 = 0.0, 0.0, tau2
    if own:
        weight = tau2 / (tau2 + within2 / len(own))
        mean = centre + weight * (sum(own) / len(own) - centre)
        left2 = (1.0 - weight) * tau2
    spread = Z_80 * sqrt(within2 + left2)
    return LearnedTime(
        plan, plan * exp(mean), plan * exp(mean - spread), plan * exp(mean + spread), visits, weight
    )

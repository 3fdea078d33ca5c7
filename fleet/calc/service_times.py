"""Time on the spot by kind of visit, learned from findings: their median, drawn to the plan while few."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median
from typing import Final

# So many findings weigh as much as the planning assumption. A choice of ours, no source.
PLAN_WEIGHT: Final = 8.0
# Fewer findings than this say nothing.
FEWEST: Final = 3


def learned_min(planned_min: float, observed_min: Sequence[float]) -> float:
    """Minutes to plan with: the observed median, shrunk to the plan by its weight [min].

    Parameters
    ----------
    planned_min
        Planning assumption [min].
    observed_min
        Times on site of findings of the kind [min].
    """
    count = len(observed_min)
    if count < FEWEST:
        return planned_min
    return (PLAN_WEIGHT * planned_min + count * median(observed_min)) / (PLAN_WEIGHT + count)

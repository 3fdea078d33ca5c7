"""What the times and ways of a plan rest on, in words."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from fleet.calc.plan.travel import great_circle_m
from fleet.calc.visits.settings import VisitSettings
from fleet.routing.plan import Plan
from fleet.services.plan.problem import PlanInput
from fleet.streets.travel_source import TravelSource

# Plans that drive less than this between gardens say nothing of detours, in a straight line [m].
LEAST_M = 1000.0


def tell_travel(*, plan: Plan, given: PlanInput, travel: TravelSource, settings: VisitSettings) -> str:
    """Where times come from, how far around streets lead between the gardens of the plan, and slow hours."""
    words = [travel.words, *(span.words for span in settings.rush_hours)]
    factor = None if travel.is_estimated else _detour(plan, given)
    if factor is not None:
        words.insert(1, f"between gardens {factor:.2f} times the straight distance")
    return "; ".join(words)


def _detour(plan: Plan, given: PlanInput) -> float | None:
    """Way from garden to garden over the straight distance [1]; None where too little is driven to say."""
    legs = [leg for route in plan.routes for leg in pairwise(route.stops)]
    if not legs:
        return None
    sites = [[given.visits[stop.visit].site for stop in leg] for leg in legs]
    here, there = np.array([[(site.latitude, site.longitude) for site in p] for p in sites], float).swapaxes(
        0, 1
    )
    straight_m = float(great_circle_m(*here.T, *there.T).sum())
    return sum(second.drive_m for _, second in legs) / straight_m if straight_m >= LEAST_M else None

"""What would let a visit in that the plan left out: one short sentence from what binds it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from fleet.routing import reasons
from fleet.routing.plan import Plan
from fleet.routing.problem import Problem
from fleet.routing.remedies import longer_days
from fleet.services.plan.problem import PlanInput, vehicle_key
from fleet.services.plan.state import NO_COORDINATES

CHANGES: Final[dict[str, str]] = {
    reasons.NO_TECHNICIAN: "somebody at work on one of these days.",
    reasons.LOCKED_AWAY: "unlocking it, or a working day of that person.",
    reasons.NO_SKILL: "somebody at work with this skill, and with its certificate where one is asked for.",
    reasons.NO_WINDOW: "other hours agreed with the customer, or a shift that reaches into them.",
    reasons.NO_WAY: "the right place of the garden on the map, or a newer street network.",
    reasons.TOO_LONG: "two visits instead of one, or a day more than two hours longer.",
    reasons.LOCK_CLASH: "freeing a lock, or other promised hours, on its day.",
    reasons.NOT_WORTH_IT: "another visit nearby on the same day, or more at stake.",
    reasons.NO_ROOM: "more than two hours more of anybody who may do it, or one visit less on such a day.",
    NO_COORDINATES: "its place on the map: draw the garden or bring its coordinates.",
}
BY_LENGTH: Final = frozenset({reasons.NO_ROOM, reasons.TOO_LONG})
# Longer days are tried for so many visits, the most valuable first: more than anybody reads.
MOST_TRIED: Final = 200


def changes_of(*, given: PlanInput, problem: Problem, plan: Plan, codes: Mapping[int, str]) -> dict[int, str]:
    """The sentence for each visit that was left out, by its number.

    Parameters
    ----------
    given
        What was planned: people, days, visits in the order of the problem.
    problem, plan
        The problem and its plan.
    codes
        Why each visit is left out, by the visit's number.
    """
    tight = [one.visit for one in plan.unserved if codes.get(given.visits[one.visit].pk) in BY_LENGTH]
    tight.sort(key=lambda visit: -problem.visits[visit].best_prize)
    longer = longer_days(problem, plan, tight[:MOST_TRIED])
    people = {
        vehicle_key(who, day): f"{who.name} on {day:%A}" for who in given.technicians for day in given.days
    }
    by_visit = {
        given.visits[visit].pk: f"{_length(one.extra_s)} more of {people[problem.vehicles[one.vehicle].key]}."
        for visit, one in longer.items()
    }
    return {pk: by_visit.get(pk) or CHANGES.get(code, "") for pk, code in codes.items()}


def _length(seconds: int) -> str:
    """A time in quarters of an hour, in words."""
    hours, quarters = divmod(seconds // 900, 4)
    if hours == 0:
        return f"{15 * quarters} minutes"
    words = "an hour" if hours == 1 else f"{hours} hours"
    return words if not quarters else f"{hours} h {15 * quarters} min"

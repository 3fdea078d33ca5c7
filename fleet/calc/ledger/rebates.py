"""Who qualifies for a rebate, by when it must be claimed, and what it pays."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

OPEN, LACKS, SENSOR, LATE, OUTSIDE, CLAIMED = "open", "lacks", "sensor", "late", "outside", "claimed"
STANDINGS: Final = {
    OPEN: "can be claimed now",
    LACKS: "something is missing",
    SENSOR: "would qualify with a sensor",
    CLAIMED: "claimed",
    LATE: "too late",
    OUTSIDE: "sensor from outside its time",
}


@dataclass(frozen=True, slots=True)
class RebateRules:
    """When a rebate runs, the day after its last one, and what it asks for."""

    starts_on: date
    ends_on: date
    apply_within_days: int
    asks_before_work: bool
    needs_meter: bool
    months_before: int
    months_after: int


@dataclass(frozen=True, slots=True)
class RebateFacts:
    """What is known of a garden: first sensor, its day, meter, metered months, approval, a claim sent."""

    has_sensor: bool
    installed_on: date | None
    has_meter: bool
    months_before: int
    months_after: int
    is_approved: bool
    is_claimed: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a garden stands, the last day to apply where there is one, and what is missing in words."""

    state: str
    apply_by: date | None
    missing: tuple[str, ...]


def rebate_standing(*, rules: RebateRules, facts: RebateFacts, today: date) -> Standing:
    """Where a garden stands with a rebate on a day.

    Parameters
    ----------
    rules
        The rebate.
    facts
        The garden.
    today
        Day of the question.
    """
    last = rules.ends_on - timedelta(days=1)
    missing = _missing(rules, facts)
    if facts.is_claimed:
        return Standing(CLAIMED, None, ())
    if not facts.has_sensor:
        if today > last:
            return Standing(LATE, last, ())
        return Standing(SENSOR, last, missing)
    if facts.installed_on is None:
        return Standing(LACKS, None, ("the day on which the sensor came", *missing))
    if not rules.starts_on <= facts.installed_on <= last:
        return Standing(OUTSIDE, None, ())
    apply_by = min(facts.installed_on + timedelta(days=rules.apply_within_days), last)
    if today > apply_by:
        return Standing(LATE, apply_by, missing)
    return Standing(LACKS if missing else OPEN, apply_by, missing)


def _missing(rules: RebateRules, facts: RebateFacts) -> tuple[str, ...]:
    """What the rebate asks for and the garden has not."""
    found = []
    if rules.asks_before_work and not facts.is_approved:
        found.append("the supplier’s approval before the work")
    if rules.needs_meter and not facts.has_meter:
        found.append("a meter")
    if facts.months_before < rules.months_before:
        found.append(f"{rules.months_before - facts.months_before} metered months before the sensor")
    if facts.has_sensor and facts.months_after < rules.months_after:
        found.append(f"{rules.months_after - facts.months_after} metered months after the sensor")
    return tuple(found)


def rebate_amount(
    *,
    amount: float,
    amount_per_station: float,
    share_of_cost: float,
    most: float | None,
    stations: int,
    invoice_total: float | None,
) -> float | None:
    """What a rebate pays a garden [money]; None where a share of an unknown invoice is part of it.

    Parameters
    ----------
    amount
        Paid for the garden [money].
    amount_per_station
        Paid for each station in use [money].
    share_of_cost
        Share of the invoice [1].
    most
        The most it pays in all; None without a cap [money].
    stations
        Stations in use [1].
    invoice_total
        The invoice, as far as it counts; None where not known [money].
    """
    if share_of_cost > 0 and invoice_total is None:
        return None
    total = amount + amount_per_station * stations + share_of_cost * (invoice_total or 0.0)
    return total if most is None else min(total, most)

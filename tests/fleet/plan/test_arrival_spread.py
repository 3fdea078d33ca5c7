"""Hours of an arrival hold on nine of ten days, the break included, as another generator drives them."""

from __future__ import annotations

from math import log, sqrt
from random import Random
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.calc.plan.arrival_spread import Pause, Step, arrival_span
from fleet.calc.plan.travel_hours import RushSpan, TravelHours
from fleet.models import Company
from fleet.services.plan import offers
from fleet.services.plan.offers import find_offers
from tests.factories import DAY
from tests.fleet.plan.test_appointments import newcomer
from tests.fleet.plan.test_day_breaks import TEN, planned

__all__ = ["planned"]

H = 3600.0
DRIVE, WORK = 12 * 60.0, 50 * 60.0
DAYS = 6000
NOON = Pause(after=4, earliest_s=11 * H, latest_s=14 * H, duration_s=30 * 60.0)


def factor(rng: Random, spread: float) -> float:
    """A log-normal factor with mean 1."""
    sigma = sqrt(log(1 + spread * spread))
    return rng.lognormvariate(-sigma * sigma / 2, sigma)


def driven_day(rng: Random, leave: float, steps: list[Step], pause: Pause | None) -> float:
    """When work at the last step begins on one day, minute by minute as a person would do it."""
    clock, owed = leave, pause is not None
    begins = leave
    for number, step in enumerate(steps):
        clock += step.drive_s * factor(rng, 0.2)
        if owed and pause is not None:
            would_end = max(clock, step.opens_s) + step.work_s
            if number >= pause.after or would_end > pause.latest_s:
                clock = max(clock, pause.earliest_s) + pause.duration_s
                owed = False
        begins = max(clock, step.opens_s)
        clock = begins + step.work_s * factor(rng, step.work_spread)
    return begins


def inside(leave: float, steps: list[Step], pause: Pause | None, told: Pause | None) -> float:
    """Share of driven days on which the span that reckons with the break `told` holds."""
    low, high = arrival_span(leave_s=leave, steps=steps, seed=5, pause=told)
    rng = Random(97)
    days = [driven_day(rng, leave, steps, pause) for _ in range(DAYS)]
    return sum(low <= day <= high for day in days) / DAYS


@pytest.mark.parametrize("after", [0, 2, 3, 4, 5])
@pytest.mark.parametrize("leave_h", [7.0, 8.0, 9.0])
def test_the_span_holds_on_nine_of_ten_driven_days_wherever_the_break_lies(
    after: int, leave_h: float
) -> None:
    pause = Pause(after, NOON.earliest_s, NOON.latest_s, NOON.duration_s)
    steps = [Step(DRIVE, WORK, 0.0)] * 5

    assert 0.88 <= inside(leave_h * H, steps, pause, pause) <= 0.92


def test_a_span_that_forgets_the_break_does_not_hold() -> None:
    steps = [Step(DRIVE, WORK, 0.0)] * 5

    assert inside(7 * H, steps, NOON, None) < 0.88


def test_a_break_waits_for_its_earliest_time_and_is_brought_forward_on_late_days() -> None:
    sure = [Step(600.0, 1800.0, 0.0, work_spread=0.0)] * 2
    low, _ = arrival_span(leave_s=9 * H, steps=sure, seed=1, pause=Pause(1, 11 * H, 14 * H, 1800.0))
    assert low == 11.5 * H
    # Planned after the second stop, whose work would end at 14:10: taken before it.
    long = [Step(0.0, 600.0, 0.0), Step(0.0, 4200.0, 13 * H)]
    span = arrival_span(leave_s=12 * H, steps=long, seed=1, pause=Pause(2, 11 * H, 14 * H, 3600.0))
    assert span[0] > 13 * H
    assert arrival_span(leave_s=12 * H, steps=long, seed=1) == (13 * H, 13 * H)


@settings(max_examples=25)
@given(st.integers(0, 6), st.floats(6, 15), st.integers(0, 5), st.booleans())
def test_a_break_never_brings_an_arrival_forward(after: int, leave_h: float, seed: int, rush: bool) -> None:
    steps = [Step(DRIVE, WORK, 0.0)] * 5
    hours = TravelHours((RushSpan(11 * 3600, 13 * 3600, 1.5, True),)) if rush else None
    pause = Pause(after, NOON.earliest_s, NOON.latest_s, NOON.duration_s)

    with_it = arrival_span(leave_s=leave_h * H, steps=steps, seed=seed, hours=hours, pause=pause)
    without = arrival_span(leave_s=leave_h * H, steps=steps, seed=seed, hours=hours)

    assert np.all(np.subtract(with_it, without) >= -1e-6)
    if after < 4 and not rush:
        assert with_it[1] >= without[1] + NOON.duration_s - 1


@pytest.mark.django_db
def test_every_offer_reckons_with_the_break_that_is_ahead(
    planned: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[Pause | None] = []

    def listened(**asked: Any) -> tuple[float, float]:
        seen.append(asked["pause"])
        return arrival_span(**asked)

    monkeypatch.setattr(offers, "arrival_span", listened)
    found = find_offers(visit_id=newcomer(), day=DAY, moment=TEN, seed=1)

    assert len(seen) == len(found) == 3
    assert all(pause is not None and pause.duration_s == 30 * 60 for pause in seen)

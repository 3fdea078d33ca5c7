"""More passes a day than one letter holds, and the most that any program could give."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given as given_of
from hypothesis import settings
from hypothesis import strategies as st

from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.slots import chosen_slots
from sites.calc.search.controllers import RuleCase
from sites.calc.search.reach import refill_reach
from sites.calc.search.search import best_programs
from sites.calc.search.trial import trial
from tests.sites.search.cases import choice, garden, on_the_clock

# Sprays on a clay slope take a few minutes at a time; common practice, no source: many short passes.
CLAY = {"plants": ("cool_turf", "cool_turf"), "heads": ("fixed_spray", "fixed_spray"), "texture": "clay"}
FEW_DAYS = RuleCase((choice(every=3, closes=900),))


@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
def test_soil_that_takes_little_at_a_time_gets_passes_in_two_letters(governed: bool) -> None:
    problem = garden(governed=governed, governing=1, case=FEW_DAYS, slope_pct=8.0, **CLAY)  # type: ignore[arg-type]

    four = best_programs(problem)
    chosen, done = best_programs_and_letters(problem)
    table = on_the_clock(problem, chosen, FEW_DAYS)

    assert four.starts[0] == 4
    assert chosen.starts[0] > 4
    assert done.adequacy.min() > trial(problem, chosen_slots(problem, four)).adequacy.min() + 0.05
    assert [letter.letter for letter in table.letters] == ["A", "B"]
    assert [len(letter.starts_min) for letter in table.letters] == [4, chosen.starts[0] - 4]
    assert table.letters[0].runs == table.letters[1].runs
    starts = [start for letter in table.letters for start in letter.starts_min]
    soak = max(run.soak_min for run in table.letters[0].runs)
    assert np.diff(starts).min() >= soak
    assert table.overrun_min == 0


@pytest.mark.parametrize("count", [1, 2, 3])
def test_a_timer_never_gets_more_letters_than_it_has(count: int) -> None:
    # The governing station is the first: where it needs letters of its own they count as well.
    problem = garden(case=FEW_DAYS, slope_pct=8.0, program_count=count, **CLAY)  # type: ignore[arg-type]

    table = on_the_clock(problem, best_programs_and_letters(problem)[0], FEW_DAYS)

    assert len({letter.letter for letter in table.letters}) == len(table.letters) <= count
    assert all(len(letter.starts_min) <= 4 for letter in table.letters)


def test_a_timer_with_one_start_a_letter_uses_its_letters() -> None:
    problem = garden(governing=1, case=FEW_DAYS, starts_per_program=1, **CLAY)  # type: ignore[arg-type]

    table = on_the_clock(problem, best_programs_and_letters(problem)[0], FEW_DAYS)

    assert [len(letter.starts_min) for letter in table.letters] == [1, 1, 1]


def test_a_refill_on_every_day_reaches_all_and_on_no_day_nothing() -> None:
    assert refill_reach(garden(eto_mm=5.0)).min() > 0.999
    assert refill_reach(garden(case=RuleCase(()))).max() == 0.0


def test_a_refill_every_seventh_day_reaches_what_the_root_zone_holds() -> None:
    # Own reckoning: from full, 7 mm/d x 0.8 until half of 150 mm of sand is gone, then ever less.
    problem = garden(texture="sand", eto_mm=7.0, case=RuleCase((choice(every=7),)))
    store, allowed = problem.truth.available_mm[0], problem.truth.allowed_mm[0]
    depletion, met = 0.0, 0.0
    for day in range(28):
        depletion = 0.0 if day % 7 == 0 else depletion
        used = min(1.0, (store - depletion) / (store - allowed)) * 7.0 * 0.8
        depletion, met = depletion + used, met + used

    assert refill_reach(problem)[0] == pytest.approx(met / (28 * 7.0 * 0.8), abs=1e-4)


@settings(max_examples=12, deadline=None)
@given_of(every=st.integers(1, 7), eto_mm=st.floats(3.0, 9.0), governed=st.booleans())
def test_no_program_beats_a_full_refill_on_every_open_day(every: int, eto_mm: float, governed: bool) -> None:
    problem = garden(eto_mm=eto_mm, case=RuleCase((choice(every=every),)), governed=governed)

    _, done = best_programs_and_letters(problem)

    assert np.all(done.adequacy <= refill_reach(problem) + 1e-6)

"""The laws and the trade's facts that every recommended program keeps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc import soil
from sites.calc.program.slots import chosen_slots
from sites.calc.program.times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import RuleCase
from sites.calc.search.gating import ZoneState
from sites.calc.search.part import part_of
from sites.calc.search.search import best_programs
from sites.calc.search.trial import trial
from tests.sites.search.cases import FREE, SETTINGS, choice, garden, on_the_clock


@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
def test_a_garden_with_room_gets_what_is_promised(governed: bool) -> None:
    given_ = garden(governed=governed)

    chosen = best_programs(given_)

    done = trial(given_, chosen_slots(given_, chosen))
    assert np.all(done.adequacy >= SETTINGS.promised_adequacy)
    assert chosen.overrun_min[0] == 0


@settings(max_examples=25, deadline=None)
@given(
    texture=st.sampled_from(soil.TEXTURES),
    slope=st.floats(0, 20),
    head=st.sampled_from(("fixed_spray", "rotor", "rotary_nozzle")),
    eto=st.floats(1, 9),
    governed=st.booleans(),
)
def test_no_pass_outlasts_the_run_off_limit_and_minutes_are_whole(
    texture: str, slope: float, head: str, eto: float, governed: bool
) -> None:
    # Common practice, no source: no pass outlasts the run-off limit.
    given_ = garden(heads=(head, "dripline"), texture=texture, slope_pct=slope, eto_mm=eto, governed=governed)

    chosen = best_programs(given_)

    assert np.all(chosen.minutes <= given_.zones.runoff_limit_min + 1e-6)
    np.testing.assert_array_equal(chosen.minutes, np.round(chosen.minutes))


def test_a_zone_of_low_demand_gets_less_time_under_the_same_heads() -> None:
    # Common practice, no source.
    chosen = best_programs(garden(plants=("cool_turf", "desert"), heads=("rotor", "rotor")))

    assert chosen.minutes[1] < chosen.minutes[0]


def test_more_rain_never_asks_for_longer_runs_by_the_clock() -> None:
    dry = best_programs(garden(governed=False, case=RuleCase((choice(),)), rain_mm=0.0))
    wet = best_programs(garden(governed=False, case=RuleCase((choice(),)), rain_mm=3.0))

    assert np.all(wet.minutes * wet.starts[0] <= dry.minutes * dry.starts[0] + 1e-9)


@settings(max_examples=15, deadline=None)
@given(
    texture=st.sampled_from(["sand", "loam", "clay"]),
    eto_mm=st.floats(2.0, 9.0),
    rain_mm=st.floats(0.0, 4.0),
    more_mm=st.floats(0.5, 4.0),
    governed=st.booleans(),
)
def test_more_rain_never_brings_a_zone_more_water(
    texture: str, eto_mm: float, rain_mm: float, more_mm: float, governed: bool
) -> None:
    def gross_mm(rain: float) -> np.ndarray:
        given_ = garden(
            plants=("cool_turf", "cool_turf", "shrubs"),
            heads=("rotor", "fixed_spray", "dripline"),
            texture=texture,
            eto_mm=eto_mm,
            rain_mm=rain,
            governed=governed,
        )
        return trial(given_, chosen_slots(given_, best_programs(given_))).gross_mm

    dry, wet = gross_mm(rain_mm), gross_mm(rain_mm + more_mm)

    # Runs come in whole minutes, so the last of them may differ by one.
    assert np.all(wet <= 1.05 * dry + 6.0)


def test_the_same_input_gives_the_same_program() -> None:
    def numbers(chosen: Chosen) -> tuple[list[float], list[int], list[int]]:
        return chosen.minutes.tolist(), chosen.starts.tolist(), chosen.pattern.tolist()

    assert numbers(best_programs(garden())) == numbers(best_programs(garden()))


def test_where_nothing_is_allowed_no_program_is_chosen() -> None:
    assert best_programs(garden(case=RuleCase(()))).pattern[0] == -1


def test_hours_too_short_are_told_and_longer_ones_fit() -> None:
    tight = best_programs(garden(governed=False, case=RuleCase((choice(every=3, opens=0, closes=20),))))
    wide = best_programs(garden(governed=False, case=RuleCase((choice(every=3, opens=0, closes=900),))))

    assert tight.overrun_min[0] > 0
    assert wide.overrun_min[0] == 0


LIMITS = TimerLimits(
    governing_station=2,
    has_free_order=False,
    program_count=3,
    settle_min=30,
    start_step_min=5,
    done_by_min=360,
)
RUNS = (StationRun(1, 12, 12), StationRun(2, 10, 10), StationRun(3, 20, 20))


def _ends(done: Timetable) -> list[float]:
    return [
        start + sum(run.minutes for run in letter.runs)
        for letter in done.letters
        for start in letter.starts_min
    ]


def test_the_governing_station_closes_the_pass_in_a_letter_of_its_own() -> None:
    # Common practice, no source: one sensor speaks for every station; its own closes the pass.
    done = timetable(RUNS, 2, choice(), LIMITS)

    assert [letter.letter for letter in done.letters] == ["A", "C"]
    assert [run.station for run in done.letters[1].runs] == [2]
    for first, last in zip(done.letters[0].starts_min, done.letters[1].starts_min, strict=True):
        assert last >= first + 32
    assert not done.needs_wire_move


def test_a_free_order_puts_it_last_in_one_letter() -> None:
    done = timetable(RUNS, 2, choice(), TimerLimits(2, True, 3, 30, 5, 360))

    assert [run.station for run in done.letters[0].runs] == [1, 3, 2]


def test_with_one_letter_and_numeric_order_the_wire_has_to_move() -> None:
    done = timetable(RUNS, 2, choice(), TimerLimits(2, False, 1, 30, 5, 360))

    assert done.needs_wire_move
    assert done.cut_short == (3,)


@given(
    minutes=st.lists(st.integers(1, 60), min_size=1, max_size=6),
    starts=st.integers(1, 4),
    opens=st.integers(0, 1400),
    length=st.integers(30, 900),
    governing=st.integers(0, 6),
)
def test_every_issued_run_lies_inside_its_hours_or_says_that_it_does_not(
    minutes: list[int], starts: int, opens: int, length: int, governing: int
) -> None:
    runs = [StationRun(number, value, value) for number, value in enumerate(minutes, start=1)]
    hours = choice(opens=opens, closes=opens + length)
    done = timetable(runs, starts, hours, TimerLimits(governing, False, 3, 30, 5, 360))

    if done.overrun_min == 0:
        assert min(start for letter in done.letters for start in letter.starts_min) >= opens
        assert max(_ends(done)) <= opens + length
        assert max(start for letter in done.letters for start in letter.starts_min) < 1440
    for letter in done.letters:
        gaps = np.diff(letter.starts_min)
        assert np.all(gaps >= sum(run.minutes for run in letter.runs))


@settings(max_examples=30, deadline=None)
@given(
    plants=st.lists(
        st.sampled_from(("cool_turf", "warm_turf", "shrubs", "desert", "trees")), min_size=2, max_size=5
    ),
    texture=st.sampled_from(soil.TEXTURES),
    governed=st.booleans(),
    governing=st.integers(0, 4),
    letters=st.integers(1, 3),
    free_order=st.booleans(),
    midway=st.booleans(),
    step=st.sampled_from((1.0, 5.0)),
)
def test_nothing_runs_behind_the_governing_station_unless_it_is_said(
    plants: list[str],
    texture: str,
    governed: bool,
    governing: int,
    letters: int,
    free_order: bool,
    midway: bool,
    step: float,
) -> None:
    # Common practice, no source: the sensor's station closes the pass.
    given_ = garden(
        plants=tuple(plants),
        heads=("rotor",) * len(plants),
        texture=texture,
        governed=governed,
        governing=governing % len(plants),
        program_count=letters,
        has_free_order=free_order,
        stops_midway=midway,
        minute_step=step,
    )

    chosen = best_programs(given_)
    done = on_the_clock(given_, chosen, FREE)

    assert chosen.overrun_min[0] == 0
    assert done.overrun_min == 0
    assert np.all(chosen.minutes % step == 0)
    assert np.all(chosen.minutes <= given_.zones.runoff_limit_min + 1e-6)
    assert len({letter.letter for letter in done.letters}) == len(done.letters) <= letters
    station = 0 if not governed else int(given_.zones.station[given_.governing[0]])
    for letter in done.letters:
        order = [run.station for run in letter.runs]
        if station in order and midway:
            assert order[-1] == station or set(order[order.index(station) + 1 :]) == set(done.cut_short)
        if not free_order:
            assert order == sorted(order)
    every = sorted(run.station for letter in done.letters for run in letter.runs)
    assert every == given_.zones.station.tolist()


def test_zones_of_low_demand_move_to_a_letter_of_fewer_passes_before_the_main_one() -> None:
    # Common practice, no source: zones of low demand get less time and fewer passes.
    plants = ("cool_turf", "cool_turf", "desert", "desert")
    given_ = garden(plants=plants, heads=("rotor", "rotor", "dripline", "dripline"), eto_mm=8.0)

    chosen = best_programs(given_)
    done = trial(given_, chosen_slots(given_, chosen))

    assert chosen.in_low.tolist() == [False, False, True, True]
    assert np.all(done.passes[2:] < done.passes[:2].min())
    low = FREE.choices[int(chosen.low_pattern[0])].runs
    assert not np.any(low & ~FREE.choices[int(chosen.pattern[0])].runs)
    letters = {letter.letter: letter for letter in on_the_clock(given_, chosen, FREE).letters}
    assert (
        letters["B"].starts_min[0] + sum(run.minutes for run in letters["B"].runs)
        <= letters["A"].starts_min[0]
    )


def test_several_passes_a_day_give_the_sensor_its_say_where_one_may_not_hold_the_need() -> None:
    # Common practice, no source: clay takes little at a time, so the day's water comes in several passes.
    given_ = garden(heads=("fixed_spray", "fixed_spray"), texture="clay", slope_pct=8.0, eto_mm=7.0)

    chosen = best_programs(given_)

    assert chosen.starts[0] >= 2
    assert np.all(chosen.minutes <= given_.zones.runoff_limit_min)


def test_a_part_of_a_problem_gives_the_same_program() -> None:
    part = part_of(garden(), np.array([0]))

    assert best_programs(part).minutes.tolist() == best_programs(garden()).minutes.tolist()


@pytest.mark.parametrize("texture", ["sand", "loam", "clay"])
def test_a_governing_zone_that_uses_more_than_believed_is_offered_starts_enough(texture: str) -> None:
    given_ = garden(texture=texture, heads=("rotor", "rotor"), margin=1.2, eto_mm=7.0)
    truth = given_.truth
    thirsty = ZoneState(
        truth.depletion_mm,
        truth.available_mm,
        truth.allowed_mm,
        (truth.demand_mm * 1.2).astype(np.float32),
        truth.rain_mm,
    )

    slots = chosen_slots(given_, best_programs(given_))
    believed, hot = trial(given_, slots), trial(replace(given_, truth=thirsty), slots)

    assert hot.adequacy[given_.governing[0]] >= SETTINGS.promised_adequacy
    # The sensor blocks what the zone does not use: being ready for more costs nothing else.
    assert believed.allowed[0] < believed.offered[0]

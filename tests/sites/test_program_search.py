"""The laws and the trade's facts that every recommended program keeps."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sites.calc import landscape, soil
from sites.calc.program_chosen import Chosen
from sites.calc.program_controllers import ControllerTable, RuleCase
from sites.calc.program_days import DayPattern
from sites.calc.program_patterns import Block, DayChoice
from sites.calc.program_problem import Problem, problem
from sites.calc.program_search import best_programs
from sites.calc.program_settings import ProgramSettings
from sites.calc.program_slots import chosen_slots
from sites.calc.program_times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.program_trial import trial
from sites.calc.program_weather import Seasons
from sites.calc.zone_table import BookZones, zone_table

DAYS = 28
SETTINGS = ProgramSettings()


def _choice(*, every: int = 1, opens: int = 0, closes: int = 600) -> DayChoice:
    runs = np.arange(DAYS) % every == 0
    pattern = (
        DayPattern("daily")
        if every == 1
        else DayPattern("interval", interval_days=every, anchor=date(2026, 6, 15))
    )
    return DayChoice(pattern, runs, (Block(opens, closes),))


def _problem(
    *,
    plants: tuple[str, ...] = ("cool_turf", "shrubs"),
    heads: tuple[str, ...] = ("rotor", "dripline"),
    governed: bool = True,
    texture: str = "loam",
    slope_pct: float = 2.0,
    eto_mm: float = 6.0,
    rain_mm: float = 0.0,
    choices: tuple[DayChoice, ...] | None = None,
    threshold_mm: float = 8.0,
) -> Problem:
    """One controller; its first zone governs."""
    count = len(plants)
    ones = np.ones(count)
    book = BookZones(
        zone_id=np.arange(1, count + 1),
        controller_id=np.ones(count, dtype=np.int64),
        site_id=np.ones(count, dtype=np.int64),
        station=np.arange(1, count + 1),
        location_id=np.ones(count, dtype=np.int64),
        rain_location_id=np.zeros(count, dtype=np.int64),
        plant=np.array([landscape.PLANTS.index(plant) for plant in plants]),
        head=np.array([landscape.HEADS.index(head) for head in heads]),
        sun=np.zeros(count, dtype=np.int64),
        soil=np.full(count, soil.TEXTURES.index(texture)),
        area_m2=80 * ones,
        precipitation_rate_mm_h=np.nan * ones,
        flow_l_min=np.nan * ones,
        distribution_uniformity=np.nan * ones,
        slope_pct=slope_pct * ones,
        root_depth_mm=np.nan * ones,
        landscape_coefficient=np.nan * ones,
        is_governing=np.arange(count) == 0,
        is_dry_climate=np.ones(count, dtype=np.bool_),
    )
    zones = zone_table(book)
    weather = Seasons(
        np.full((DAYS, 1, 5), eto_mm),
        np.full((DAYS, 1, 5), rain_mm),
        np.array([5]),
        np.array([False]),
        np.array([True]),
    )
    controllers = ControllerTable(
        controller_id=np.array([1]),
        is_governed=np.array([governed]),
        stops_midway=np.array([True]),
        has_free_order=np.array([False]),
        program_count=np.array([3]),
        starts_per_program=np.array([4]),
        max_run_min=np.array([240.0]),
        minute_step=np.array([1.0]),
        threshold_mm=np.array([threshold_mm if governed else np.nan]),
        case=np.array([0]),
    )
    return problem(
        zones,
        controllers,
        (RuleCase(choices if choices is not None else (_choice(), _choice(every=2), _choice(every=3))),),
        weather,
        weather_column=np.zeros(count, dtype=np.int64),
        rain_column=np.zeros(count, dtype=np.int64),
        depletion_mm=zones.allowed_depletion_mm / 2,
        margin=np.full(count, 1.15),
        settings=SETTINGS,
    )


@pytest.mark.parametrize("governed", [True, False], ids=["governed", "clock only"])
def test_a_garden_with_room_gets_what_is_promised(governed: bool) -> None:
    given_ = _problem(governed=governed)

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
    given_ = _problem(
        heads=(head, "dripline"), texture=texture, slope_pct=slope, eto_mm=eto, governed=governed
    )

    chosen = best_programs(given_)

    assert np.all(chosen.minutes <= given_.zones.runoff_limit_min + 1e-6)
    np.testing.assert_array_equal(chosen.minutes, np.round(chosen.minutes))


def test_a_zone_of_low_demand_gets_less_time_under_the_same_heads() -> None:
    # Common practice, no source.
    chosen = best_programs(_problem(plants=("cool_turf", "desert"), heads=("rotor", "rotor")))

    assert chosen.minutes[1] < chosen.minutes[0]


def test_more_rain_never_asks_for_longer_runs_by_the_clock() -> None:
    dry = best_programs(_problem(governed=False, choices=(_choice(),), rain_mm=0.0))
    wet = best_programs(_problem(governed=False, choices=(_choice(),), rain_mm=3.0))

    assert np.all(wet.minutes * wet.starts[0] <= dry.minutes * dry.starts[0] + 1e-9)


def test_the_same_input_gives_the_same_program() -> None:
    def numbers(chosen: Chosen) -> tuple[list[float], list[int], list[int]]:
        return chosen.minutes.tolist(), chosen.starts.tolist(), chosen.pattern.tolist()

    assert numbers(best_programs(_problem())) == numbers(best_programs(_problem()))


def test_where_nothing_is_allowed_no_program_is_chosen() -> None:
    assert best_programs(_problem(choices=())).pattern[0] == -1


def test_hours_too_short_are_told_and_longer_ones_fit() -> None:
    tight = best_programs(_problem(governed=False, choices=(_choice(every=3, opens=0, closes=20),)))
    wide = best_programs(_problem(governed=False, choices=(_choice(every=3, opens=0, closes=900),)))

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
    done = timetable(RUNS, 2, _choice(), LIMITS)

    assert [letter.letter for letter in done.letters] == ["A", "C"]
    assert [run.station for run in done.letters[1].runs] == [2]
    for first, last in zip(done.letters[0].starts_min, done.letters[1].starts_min, strict=True):
        assert last >= first + 32
    assert not done.needs_wire_move


def test_a_free_order_puts_it_last_in_one_letter() -> None:
    done = timetable(RUNS, 2, _choice(), TimerLimits(2, True, 3, 30, 5, 360))

    assert [run.station for run in done.letters[0].runs] == [1, 3, 2]


def test_with_one_letter_and_numeric_order_the_wire_has_to_move() -> None:
    done = timetable(RUNS, 2, _choice(), TimerLimits(2, False, 1, 30, 5, 360))

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
    choice = _choice(opens=opens, closes=opens + length)
    done = timetable(runs, starts, choice, TimerLimits(governing, False, 3, 30, 5, 360))

    if done.overrun_min == 0:
        assert min(start for letter in done.letters for start in letter.starts_min) >= opens
        assert max(_ends(done)) <= opens + length
        assert max(start for letter in done.letters for start in letter.starts_min) < 1440
    for letter in done.letters:
        gaps = np.diff(letter.starts_min)
        assert np.all(gaps >= sum(run.minutes for run in letter.runs))

"""Two stations at once: never more than the supply gives, only where one at a time does not fit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given as drawn
from hypothesis import settings
from hypothesis import strategies as st

from sites.calc.program.check import HandCheck, hand_check, program_lines_of
from sites.calc.program.keyed import chosen_timetable, keyed_lines
from sites.calc.program.lanes import LAST, LaneLimits, planned_flow_l_min, station_lanes
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.sheet import KeyedLine
from sites.calc.program.slots import set_slots
from sites.calc.program.times import Timetable
from sites.calc.program.together import keeps_apart, side_words, too_thirsty
from sites.calc.search.controllers import RuleCase
from sites.calc.search.garden import Garden, best_answer
from sites.calc.search.problem import Problem
from sites.calc.search.ways import ways_out
from tests.sites.search.cases import FIRST_DAY, choice, garden
from tests.sites.search.test_ways import a_garden

MODES = ("weekdays", "interval", "odd", "even")
LAWNS = ("cool_turf",) * 4 + ("shrubs",) * 2
HEADS = ("rotor",) * 4 + ("dripline",) * 2


def hours(closes: int) -> RuleCase:
    return RuleCase((choice(closes=closes), choice(every=2, closes=closes)))


def measured(made: Problem, flow_l_min: list[float]) -> Problem:
    zones = replace(
        made.zones, flow_l_min=np.array(flow_l_min), flow_assumed=np.zeros(len(flow_l_min), dtype=np.bool_)
    )
    return replace(made, zones=zones)


def minute_by_minute(table: Timetable) -> list[set[int]]:
    """Stations that run in each minute of a watering day, letter by letter as a timer would."""
    running: list[set[int]] = [set() for _ in range(3 * 1440)]
    for letter in table.letters:
        for start in letter.starts_min:
            at = start
            for run in letter.runs:
                for minute in range(at, at + int(run.minutes)):
                    running[minute].add(run.station)
                at += int(run.minutes)
    return running


@settings(max_examples=40, deadline=None)
@drawn(
    flow=st.lists(st.floats(5.0, 60.0), min_size=6, max_size=6),
    limit=st.floats(10.0, 90.0),
    closes=st.integers(40, 240),
    governed=st.booleans(),
    governing=st.integers(0, 5),
    stops_midway=st.booleans(),
    has_free_order=st.booleans(),
    program_count=st.integers(1, 4),
    texture=st.sampled_from(["sand", "loam", "clay"]),
)
def test_an_issued_program_never_takes_more_than_the_supply_gives(
    flow: list[float],
    limit: float,
    closes: int,
    governed: bool,
    governing: int,
    stops_midway: bool,
    has_free_order: bool,
    program_count: int,
    texture: str,
) -> None:
    case = hours(closes)
    made = garden(
        plants=LAWNS,
        heads=HEADS,
        case=case,
        governed=governed,
        governing=governing if governed else -1,
        texture=texture,
        stations_at_once=2,
        flow_limit_l_min=limit,
        stops_midway=stops_midway,
        has_free_order=has_free_order,
        program_count=program_count,
    )
    made = measured(made, flow)
    chosen, _ = best_programs_and_letters(made)
    table = chosen_timetable(made, chosen, 0, case.choices)
    if table is None:
        return

    of = dict(zip(made.zones.station.tolist(), flow, strict=True))
    running = minute_by_minute(table)
    assert len(table.letters) <= max(program_count, 1)
    assert all(len(some) <= 2 for some in running)
    assert all(sum(of[one] for one in some) <= limit + 1e-6 for some in running if len(some) == 2)
    assert max(at for at, some in enumerate(running) if some) < closes
    assert min(letter.starts_min[0] for letter in table.letters) >= 0
    if governed and stops_midway and not table.cut_short:
        own = governing + 1
        minutes = [at for at, some in enumerate(running) if own in some]
        assert all(running[at] == {own} for at in minutes)
        # Behind each of its runs nothing runs before the next pass, which the sensor is asked for anew.
        for at in minutes:
            if own not in running[at + 1] and running[at + 1]:
                assert any(at + 1 in letter.starts_min for letter in table.letters)


@pytest.mark.parametrize("governed", [True, False])
def test_two_at_once_fit_where_one_at_a_time_does_not(governed: bool) -> None:
    case = hours(120)
    kinds = {"plants": LAWNS, "heads": HEADS, "case": case, "governed": governed}
    alone, one = best_programs_and_letters(garden(**kinds))  # type: ignore[arg-type]
    made = garden(**kinds, stations_at_once=2, flow_limit_l_min=60.0)  # type: ignore[arg-type]
    both, two = best_programs_and_letters(made)

    assert alone.overrun_min[0] > 0
    assert one.adequacy.min() < 0.95
    assert both.overrun_min[0] == 0
    assert two.adequacy.min() >= 0.95
    table = chosen_timetable(made, both, 0, case.choices)
    assert table is not None
    first, second = table.letters[:2]
    assert first.starts_min == second.starts_min
    if governed:
        assert [run.station for run in table.letters[-1].runs] == [1]
        length = max(sum(run.minutes for run in letter.runs) for letter in (first, second))
        assert table.letters[-1].starts_min == (first.starts_min[0] + length,)


@pytest.mark.parametrize(
    "limits",
    [
        {"stations_at_once": 2},  # nobody told the flow
        {"flow_limit_l_min": 200.0},  # the timer runs one at a time
        {"stations_at_once": 2, "flow_limit_l_min": 30.0},  # any two take more
        {"stations_at_once": 2, "flow_limit_l_min": 200.0, "program_count": 1},
    ],
)
def test_without_flow_or_timer_for_it_one_station_runs_at_a_time(limits: dict[str, float]) -> None:
    case = hours(120)
    kinds = {"plants": LAWNS, "heads": HEADS, "case": case, "governed": False}
    plain, _ = best_programs_and_letters(garden(**{**kinds, "program_count": limits.get("program_count", 3)}))  # type: ignore[arg-type]
    found, _ = best_programs_and_letters(garden(**kinds, **limits))  # type: ignore[arg-type]

    assert not found.lane.any()
    assert found.minutes.tolist() == plain.minutes.tolist()
    assert found.starts.tolist() == plain.starts.tolist()


def test_where_one_at_a_time_fits_nothing_runs_together() -> None:
    made = garden(plants=LAWNS, heads=HEADS, case=hours(600), stations_at_once=2, flow_limit_l_min=200.0)
    chosen, _ = best_programs_and_letters(made)

    assert not chosen.lane.any()


def test_a_thirsty_station_runs_alone_behind_the_pairs() -> None:
    lane = station_lanes(
        np.arange(1, 6),
        np.array([90.0, 20.0, 25.0, 22.0, 18.0]),
        np.full(5, 10.0),
        LaneLimits(50.0, 3, has_free_order=True, governing=-1, stops_midway=False),
    )

    assert lane is not None
    assert lane[0] == LAST
    assert sorted(np.bincount(lane[1:]).tolist()) == [2, 2]


def test_a_sensors_station_before_a_thirsty_one_keeps_the_pass_one_at_a_time() -> None:
    # By number, the thirsty station 5 would run behind the sensor's station 1 in the last letter.
    of = {
        "station": np.arange(1, 6),
        "flow_l_min": np.array([20.0, 20.0, 25.0, 22.0, 90.0]),
        "load": np.full(5, 10.0),
    }
    limits = LaneLimits(50.0, 3, has_free_order=False, governing=0, stops_midway=True)

    assert station_lanes(**of, limits=limits) is None
    free = station_lanes(**of, limits=replace(limits, has_free_order=True))
    assert free is not None
    assert free[0] == free[4] == LAST


def test_a_flow_that_nobody_measured_counts_a_quarter_higher() -> None:
    made = garden(plants=("cool_turf", "cool_turf"), heads=("rotor", "rotor"))

    guessed = planned_flow_l_min(made.zones)
    assert guessed == pytest.approx(1.25 * made.zones.precipitation_rate_mm_h * made.zones.area_m2 / 60)
    assert planned_flow_l_min(measured(made, [14.0, 15.0]).zones) == pytest.approx([14.0, 15.0])


def issued(**kinds: object) -> tuple[Problem, Timetable]:
    case = hours(120)
    made = garden(plants=LAWNS, heads=HEADS, case=case, stations_at_once=2, **kinds)  # type: ignore[arg-type]
    chosen, _ = best_programs_and_letters(made)
    table = chosen_timetable(made, chosen, 0, case.choices)
    assert table is not None
    return made, table


def test_the_sheet_names_what_runs_together_its_flow_and_what_to_measure() -> None:
    made, table = issued(flow_limit_l_min=60.0)
    (words,) = side_words(made, 0, table.letters)

    assert "programs A (stations 2, 4) and B (stations 3, 5, 6) start together" in words
    # Rotors: 12.7 mm/h on 80 m2; dripline: 15.2 mm/h; each a quarter more, since nobody measured it.
    assert "At most 47 L/min flow then, of 60 L/min that the supply is said to give." in words
    assert "Nobody measured the flow of stations 2, 3, 4, 5, 6" in words
    assert "local codes and licensed practice" in words
    assert side_words(made, 0, table.letters[:1]) == ()


def test_a_station_beyond_the_supply_is_named() -> None:
    made = garden(plants=("cool_turf", "cool_turf"), heads=("rotor", "rotor"), flow_limit_l_min=10.0)

    assert "stations 1, 2 alone would take up to 17 L/min, more than the 10 L/min" in too_thirsty(made, 0)
    assert too_thirsty(garden(), 0) == ""
    assert too_thirsty(garden(flow_limit_l_min=60.0), 0) == ""


def short_of_hours(**kinds: object) -> Garden:
    return a_garden(plants=LAWNS, heads=HEADS, case=hours(120), **kinds)  # type: ignore[arg-type]


def test_the_ways_out_of_short_hours_name_two_at_once_with_the_flow_it_takes() -> None:
    made = short_of_hours(governed=False)
    found = {way.key: way for way in ways_out(made, best_answer(made), ())}

    assert found["together"].verdict == "enough"
    assert "the supply has to give 51 L/min, measured at the meter" in found["together"].words
    told = short_of_hours(governed=False, stations_at_once=2, flow_limit_l_min=60.0)
    assert best_answer(told).figures.fits


def test_no_way_out_asks_for_more_flow_than_was_told() -> None:
    made = short_of_hours(governed=False, flow_limit_l_min=30.0)

    assert "together" not in {way.key for way in ways_out(made, best_answer(made), ())}


def by_hand(lines: list[KeyedLine], **kinds: object) -> HandCheck:
    made = a_garden(plants=("cool_turf",) * 3, heads=("rotor",) * 3, **kinds)  # type: ignore[arg-type]
    return hand_check(made, lines, day_modes=MODES, week=FIRST_DAY)


SIDE = [
    KeyedLine("A", "every:2@2026-06-15", "04:00", 1, 20),
    KeyedLine("A", "every:2@2026-06-15", "04:00", 3, 20),
    KeyedLine("B", "every:2@2026-06-15", "04:00", 2, 30),
]


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ({"stations_at_once": 2, "flow_limit_l_min": 45.0}, ""),
        ({"stations_at_once": 2, "flow_limit_l_min": 40.0}, "and take 42.3 L/min"),
        ({"stations_at_once": 2}, "starts at 04:00 while program B still runs"),
        ({"flow_limit_l_min": 45.0}, "starts at 04:00 while program B still runs"),
    ],
)
def test_a_program_by_hand_is_held_against_the_flow(limits: dict[str, float], words: str) -> None:
    found = by_hand(SIDE, governed=False, governing=-1, **limits)

    assert (not found.problems) if not words else any(words in one for one in found.problems)


def test_three_at_once_are_too_many_for_two() -> None:
    lines = [KeyedLine(letter, "daily", "04:00", at, 9) for at, letter in enumerate("ABC", start=1)]
    found = by_hand(lines, governed=False, governing=-1, stations_at_once=2, flow_limit_l_min=300.0)

    assert "Stations 1 and 2 and 3 run together at 04:00: the timer runs 2 at once." in found.problems


def test_one_letter_never_runs_into_itself() -> None:
    lines = [KeyedLine("A", "daily", "04:00;04:05", 1, 9)]
    found = by_hand(lines, governed=False, governing=-1, stations_at_once=2, flow_limit_l_min=300.0)

    assert any("Program A starts at 04:05 while program A still runs" in one for one in found.problems)


def test_what_runs_beside_the_sensors_own_station_may_be_cut_short() -> None:
    found = by_hand(SIDE, governing=1, stations_at_once=2, flow_limit_l_min=300.0)

    assert any("may cut station 1, 3 short: it runs beside the sensor" in one for one in found.cautions)


def test_what_the_search_chose_passes_the_check_by_hand() -> None:
    made = short_of_hours(stations_at_once=2, flow_limit_l_min=60.0)
    best = best_answer(made)
    lines = keyed_lines(best.given, best.chosen, 0, made.case.choices)
    found = hand_check(made, lines, day_modes=MODES, week=FIRST_DAY)

    assert best.chosen.lane.any()
    assert found.problems == ()
    assert not any("short" in one for one in found.cautions)


@pytest.mark.parametrize(("limit", "fits"), [(45.0, True), (40.0, False), (float("nan"), False)])
def test_an_adjust_keeps_letters_apart_or_within_the_flow(limit: float, fits: bool) -> None:
    made = garden(
        plants=("cool_turf",) * 3,
        heads=("rotor",) * 3,
        governed=False,
        governing=-1,
        stations_at_once=2,
        flow_limit_l_min=limit,
    )
    days = np.arange(np.datetime64(FIRST_DAY), np.datetime64(FIRST_DAY) + 28)
    slots = set_slots(made, program_lines_of(made, SIDE, FIRST_DAY), days)

    assert bool(keeps_apart(made, slots)[0]) is fits

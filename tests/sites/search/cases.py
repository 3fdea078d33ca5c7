"""Small gardens as problems of the round, for the tests of programs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from sites.calc import landscape, soil
from sites.calc.program.days import DayPattern
from sites.calc.program.patterns import Block, DayChoice
from sites.calc.program.times import StationRun, TimerLimits, Timetable, timetable
from sites.calc.search.chosen import Chosen
from sites.calc.search.controllers import ControllerTable, RuleCase
from sites.calc.search.problem import Problem, problem
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import Slots
from sites.calc.search.weather import Seasons
from sites.calc.zone_table import BookZones, zone_table

DAYS = 28
FIRST_DAY = date(2026, 6, 15)
SETTINGS = ProgramSettings()


def choice(*, every: int = 1, opens: int = 0, closes: int = 600) -> DayChoice:
    """Every so many days from the first on, in one block of hours."""
    runs = np.arange(DAYS) % every == 0
    pattern = (
        DayPattern("daily") if every == 1 else DayPattern("interval", interval_days=every, anchor=FIRST_DAY)
    )
    return DayChoice(pattern, runs, (Block(opens, closes),), valid_days=DAYS)


FREE = RuleCase((choice(), choice(every=2), choice(every=3), choice(every=4)))


def garden(
    *,
    plants: tuple[str, ...] = ("cool_turf", "shrubs"),
    heads: tuple[str, ...] = ("rotor", "dripline"),
    governed: bool = True,
    governing: int = 0,
    texture: str = "loam",
    slope_pct: float = 2.0,
    eto_mm: float = 6.0,
    rain_mm: float = 0.0,
    case: RuleCase = FREE,
    threshold_mm: float = 8.0,
    root_depth_mm: float = float("nan"),
    margin: float = 1.05,
    **limits: object,
) -> Problem:
    """One controller with a zone for each plant; `limits` override columns of its controller."""
    count = len(plants)
    ones = np.ones(count)
    zones = zone_table(
        BookZones(
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
            root_depth_mm=root_depth_mm * ones,
            landscape_coefficient=np.nan * ones,
            is_governing=np.arange(count) == governing,
            is_dry_climate=np.ones(count, dtype=np.bool_),
        )
    )
    weather = Seasons(
        np.full((DAYS, 1, 5), eto_mm),
        np.full((DAYS, 1, 5), rain_mm),
        np.array([5]),
        np.array([False]),
        np.array([True]),
    )
    table = ControllerTable(
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
        stations_at_once=np.array([1]),
        flow_limit_l_min=np.array([np.nan]),
    )
    nowhere = np.zeros(count, dtype=np.int64)
    return problem(
        zones,
        replace(table, **{name: np.array([value]) for name, value in limits.items()}),
        (case,),
        weather,
        weather_column=nowhere,
        rain_column=nowhere,
        depletion_mm=zones.allowed_depletion_mm / 2,
        margin=np.full(count, margin),
        settings=SETTINGS,
    )


def on_the_clock(given: Problem, chosen: Chosen, case: RuleCase) -> Timetable:
    """The chosen program of the one controller, as a timetable."""
    runs: dict[bool, list[StationRun]] = {False: [], True: []}
    for zone, minutes in enumerate(chosen.minutes):
        ratio = given.zones.precipitation_rate_mm_h[zone] / given.zones.intake_rate_mm_h[zone]
        station = int(given.zones.station[zone])
        run = StationRun(station, float(minutes), float(minutes) * max(float(ratio), 1.0))
        runs[bool(chosen.in_low[zone])].append(run)
    governing = int(given.governing[0])
    return timetable(
        runs[False],
        int(chosen.starts[0]),
        case.choices[int(chosen.pattern[0])],
        TimerLimits(
            governing_station=0 if governing < 0 else int(given.zones.station[governing]),
            has_free_order=bool(given.controllers.has_free_order[0]),
            program_count=int(given.controllers.program_count[0]),
            settle_min=SETTINGS.sensor_settle_min,
            start_step_min=SETTINGS.start_step_min,
            done_by_min=SETTINGS.done_by_min,
            stops_midway=bool(given.controllers.stops_midway[0]),
            starts_per_program=int(given.controllers.starts_per_program[0]),
        ),
        runs[True],
    )


def as_set(
    given: Problem, minutes: list[float], *, starts: int = 1, every: int = 1, behind: tuple[int, ...] = ()
) -> Slots:
    """One letter, so many starts a day, every so many days."""
    zones = len(given.owner)
    runs = np.repeat((np.arange(DAYS) % every == 0)[:, None, None], starts, axis=2)
    return Slots(
        runs=runs,
        letter=np.zeros((1, starts), dtype=np.int64),
        minutes=np.array(minutes, dtype=float)[:, None],
        is_behind=np.isin(np.arange(zones), behind)[:, None],
        is_known=np.array([True]),
        start_min=np.array([[120 + 90 * number for number in range(starts)]]),
    )

"""How fast and how large the weekly round's computing is; prints figures, asserts none."""

from __future__ import annotations

import resource
import time
from dataclasses import replace

import numpy as np
import pytest

from fleet.scoring.program_gardens import invented_gardens
from sites.calc.program.adjust import with_adjusts
from sites.calc.program.patterns import day_choices
from sites.calc.rules.hours import permitted_hours
from sites.calc.rules.stages import Stage, Watered, Window
from sites.calc.search.binding import binding_limits
from sites.calc.search.controllers import RuleCase
from sites.calc.search.margin import margins
from sites.calc.search.problem import problem
from sites.calc.search.round_plan import round_plan
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.trial import Slots
from sites.calc.search.weather import Seasons
from sites.services.weekly_round import CONTROLLERS_AT_ONCE

SETTINGS = ProgramSettings()
FIRST_DAY = np.datetime64("2026-06-15")
NIGHT = (Window(1200, 600),)
STAGES = {
    "free": Stage("night", windows=NIGHT),
    "odd dates": Stage("odd", dates="odd", windows=NIGHT),
    "two days": Stage("two", weekdays={"": (2, 5)}, windows=NIGHT),
}


def cases() -> tuple[RuleCase, ...]:
    days = np.arange(FIRST_DAY, FIRST_DAY + SETTINGS.horizon_days)
    return tuple(
        RuleCase(
            day_choices(
                permitted_hours([stage], Watered(None), FIRST_DAY.astype(object), SETTINGS.horizon_days),
                days,
                day_modes=("weekdays", "interval", "odd", "even"),
            )
        )
        for stage in STAGES.values()
    )


def weather(locations: int, rng: np.random.Generator) -> Seasons:
    shape = (SETTINGS.horizon_days, locations, SETTINGS.seasons)
    return Seasons(
        rng.normal(6.0, 1.2, shape).clip(1.0),
        np.where(rng.random(shape) < 0.12, rng.gamma(0.8, 9.0, shape), 0.0),
        np.full(locations, SETTINGS.seasons),
        np.zeros(locations, dtype=np.bool_),
        np.ones(locations, dtype=np.bool_),
    )


def run_chunks(controllers: int, *, is_governed: bool) -> tuple[int, int]:
    """Zones and controllers computed, in chunks of the size that the service takes."""
    rng = np.random.default_rng(5)
    sky, rules, zones_done, done = weather(200, rng), cases(), 0, 0
    while done < controllers:
        count = min(CONTROLLERS_AT_ONCE, controllers - done)
        gardens = invented_gardens(count, is_governed=is_governed, is_dry=True, rng=rng)
        zones = gardens.zones
        owner = zones.controller_id - 1
        governing = np.flatnonzero(zones.station == 1)[owner] if is_governed else np.full(len(zones), -1)
        place = rng.integers(0, 200, count)[owner]
        given = problem(
            zones,
            replace(gardens.controllers, case=rng.integers(0, len(rules), count)),
            rules,
            sky,
            weather_column=place,
            rain_column=place,
            depletion_mm=zones.allowed_depletion_mm * rng.random(len(zones)),
            margin=margins(zones, governing, np.ones(len(zones)), SETTINGS),
            settings=SETTINGS,
        )
        # What is set costs as much to try whatever it is: twelve minutes on every zone, three starts a day.
        present = Slots(
            runs=np.ones((SETTINGS.horizon_days, count, 3), dtype=np.bool_),
            letter=np.zeros((count, 3), dtype=np.int64),
            minutes=np.full((len(zones), 1), 12.0),
            is_behind=np.zeros((len(zones), 1), dtype=np.bool_),
            is_known=np.ones(count, dtype=np.bool_),
            start_min=np.tile([120, 240, 360], (count, 1)),
        )
        plan = round_plan(given, now=present, breaks_rule=np.zeros(count, dtype=np.bool_))
        binding_limits(given, plan.chosen, plan.new)
        with_adjusts(
            plan,
            given,
            present,
            may=np.ones(count, dtype=np.bool_),
            adjust_now=np.full(count, 100.0),
            cases=rules,
        )
        zones_done += len(zones)
        done += count
    return zones_done, done


@pytest.mark.benchmark
@pytest.mark.parametrize("sites", [100, 1_000, 10_000])
def test_speed_of_the_weekly_round(sites: int, capsys: pytest.CaptureFixture[str]) -> None:
    """From 100 to 10,000 sites the time of a controller should stay as it is."""
    controllers = sites * 12 // 10
    begin, begin_cpu = time.perf_counter(), time.process_time()
    governed_zones, governed = run_chunks(controllers * 3 // 4, is_governed=True)
    middle = time.perf_counter()
    clock_zones, clock = run_chunks(controllers - governed, is_governed=False)
    end = time.perf_counter()
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    with capsys.disabled():
        print(  # noqa: T201
            f"\nweekly round, {sites} sites: {governed} governed controllers ({governed_zones} zones)"
            f" {middle - begin:.1f} s, {clock} by the clock ({clock_zones} zones) {end - middle:.1f} s,"
            f" {time.process_time() - begin_cpu:.1f} s of processor,"
            f" {1000 * (end - begin) / controllers:.1f} ms a controller,"
            f" peak memory of the process {peak_mb:.0f} MB, one thread"
        )
    assert governed + clock == controllers

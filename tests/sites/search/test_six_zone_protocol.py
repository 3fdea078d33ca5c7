"""The six zones of the 2008 test of climatologically based controllers, a regression only.

Irrigation Association, SWAT, Climatologically Based Controllers, 8th Testing Protocol, September 2008: at
least 30 days with 0.40 in of rain and 2.50 in of reference ET (wording of draft 7's amendment). Zone table,
coefficients of zones 3 to 5, the rule of scores and the start from half of the storage are from memory;
thresholds of 80 % adequacy and 95 % scheduling efficiency are quoted by Davis and Dukes 2015, those of 10 %
in a zone and 5 % in the mean are from memory. Weather: Maricopa, July and August of years with monsoon rain.
The balance below is the protocol's, written for this test: working storage only, rain credited at 80 % as far
as there is room. No conformance is claimed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from sites.calc import landscape, soil
from sites.calc.balance.run_off import runoff_limit_min
from sites.calc.program.days import DayPattern
from sites.calc.program.letters import best_programs_and_letters
from sites.calc.program.patterns import Block, DayChoice
from sites.calc.search.controllers import ControllerTable, RuleCase
from sites.calc.search.problem import problem
from sites.calc.search.settings import ProgramSettings
from sites.calc.search.weather import DaySpan, seasons
from sites.calc.zone_table import BookZones, ZoneTable, zone_table
from tests.weather.station_data import maricopa
from weather.calc.arrays import FloatArray

INCH = 25.4
SETTINGS = ProgramSettings(run_loss_mm=0.0)
DAYS = 30
# Soil, AW in/in, root in, MAD, IR in/h, ASA in, PR in/h, efficiency, area ft2, Kc (all from memory).
ZONES = (
    ("loam", 0.17, 10.0, 0.50, 0.35, 0.25, 1.60, 0.55, 1000, 0.62),
    ("silty_clay", 0.17, 8.1, 0.40, 0.15, 0.16, 1.60, 0.60, 1200, 0.73),
    ("loamy_sand", 0.09, 20.0, 0.50, 0.50, 0.26, 1.40, 0.70, 800, 0.55),
    ("sandy_loam", 0.13, 28.0, 0.55, 0.40, 0.24, 1.40, 0.75, 500, 0.40),
    ("clay_loam", 0.18, 25.0, 0.50, 0.20, 0.26, 0.20, 0.80, 650, 0.61),
    ("clay", 0.17, 9.2, 0.35, 0.10, 0.10, 0.35, 0.65, 1600, 0.73),
)
HEADS = ("fixed_spray", "fixed_spray", "fixed_spray", "fixed_spray", "dripline", "rotor")


@dataclass(frozen=True)
class Score:
    """Scores of a zone [%]: adequacy, and losses of the net irrigation."""

    adequacy: float
    excess: float


def storage_mm() -> FloatArray:
    return np.array([INCH * zone[1] * zone[2] * zone[3] for zone in ZONES])


def protocol_zones() -> ZoneTable:
    """The zones as the search takes them, each on a controller of its own."""
    count = len(ZONES)
    number = np.arange(1, count + 1)
    ones = np.ones(count)
    plain = zone_table(
        BookZones(
            zone_id=number,
            controller_id=number,
            site_id=np.ones(count, dtype=np.int64),
            station=np.ones(count, dtype=np.int64),
            location_id=np.ones(count, dtype=np.int64),
            rain_location_id=np.zeros(count, dtype=np.int64),
            plant=np.zeros(count, dtype=np.int64),
            head=np.array([landscape.HEADS.index(head) for head in HEADS]),
            sun=np.zeros(count, dtype=np.int64),
            soil=np.array([soil.texture_index(zone[0]) for zone in ZONES]),
            area_m2=np.array([0.0929 * zone[8] for zone in ZONES]),
            precipitation_rate_mm_h=np.array([INCH * zone[6] for zone in ZONES]),
            flow_l_min=np.nan * ones,
            distribution_uniformity=0.7 * ones,
            slope_pct=0 * ones,
            root_depth_mm=np.array([INCH * zone[2] for zone in ZONES]),
            landscape_coefficient=np.array([zone[9] for zone in ZONES]),
            is_governing=np.ones(count, dtype=np.bool_),
            is_dry_climate=np.ones(count, dtype=np.bool_),
        )
    )
    rate = np.array([INCH * zone[6] for zone in ZONES])
    intake = np.array([INCH * zone[4] for zone in ZONES])
    accumulation = np.array([INCH * zone[5] for zone in ZONES])
    return replace(
        plain,
        application_efficiency=np.array([zone[7] for zone in ZONES]),
        total_available_water_mm=np.array([INCH * zone[1] * zone[2] for zone in ZONES]),
        allowed_depletion_mm=storage_mm(),
        intake_rate_mm_h=intake,
        surface_accumulation_mm=accumulation,
        runoff_limit_min=runoff_limit_min(rate, intake, accumulation),
    )


def controllers(*, governed: bool) -> ControllerTable:
    """Six timers, each with a sensor set at half of the working storage, or none."""
    count = len(ZONES)
    return ControllerTable(
        controller_id=np.arange(1, count + 1),
        is_governed=np.full(count, governed),
        stops_midway=np.ones(count, dtype=np.bool_),
        has_free_order=np.zeros(count, dtype=np.bool_),
        program_count=np.full(count, 3),
        starts_per_program=np.full(count, 4),
        max_run_min=np.full(count, 240.0),
        minute_step=np.ones(count),
        threshold_mm=storage_mm() / 2 if governed else np.full(count, np.nan),
        case=np.zeros(count, dtype=np.int64),
        stations_at_once=np.ones(count, dtype=np.int64),
        flow_limit_l_min=np.full(count, np.nan),
    )


def free_case() -> RuleCase:
    """Every day or every other day, all night."""
    days = np.arange(28)
    return RuleCase(
        tuple(
            DayChoice(DayPattern("daily"), days % every == 0, (Block(0, 1200),), valid_days=28)
            for every in (1, 2, 3, 4)
        )
    )


def month(year: int) -> tuple[FloatArray, FloatArray]:
    """Reference ET and rain of thirty days from 20 July [mm/d]."""
    frame = maricopa().set_index("date")
    span = frame.loc[f"{year}-07-20" :].iloc[:DAYS]
    return span["eto_refet_fao56_mm"].to_numpy(), span["rain_mm"].to_numpy()


def scores(year: int) -> list[Score]:
    """Issue one program to each zone at the start, and live the thirty days by the protocol's balance."""
    zones, table = protocol_zones(), controllers(governed=True)
    past = [DaySpan(*(one[:28, None] for one in month(before))) for before in range(year - 5, year)]
    found = seasons(past, DaySpan(np.empty((0, 1)), np.empty((0, 1))), np.ones((28, 1)), SETTINGS)
    nowhere = np.zeros(len(zones), dtype=np.int64)
    given = problem(
        zones,
        table,
        (free_case(),),
        found,
        weather_column=nowhere,
        rain_column=nowhere,
        depletion_mm=storage_mm() / 2,
        margin=np.ones(len(zones)),
        settings=SETTINGS,
    )
    chosen, _ = best_programs_and_letters(given)
    every = [1, 2, 3, 4]
    eto, rain = month(year)
    threshold = given.threshold_mm()
    return [
        protocol_score(
            eto * ZONES[at][9],
            rain,
            storage=float(storage_mm()[at]),
            threshold=float(threshold[at]),
            every=every[int(chosen.pattern[at])],
            starts=int(chosen.starts[at]),
            gross_mm=INCH * ZONES[at][6] * float(chosen.minutes[at]) / 60.0,
            efficiency=ZONES[at][7],
            is_past_limit=bool(chosen.minutes[at] > zones.runoff_limit_min[at] + 1e-6),
        )
        for at in range(len(ZONES))
    ]


def protocol_score(
    etc: FloatArray,
    rain: FloatArray,
    *,
    storage: float,
    threshold: float,
    every: int,
    starts: int,
    gross_mm: float,
    efficiency: float,
    is_past_limit: bool,
) -> Score:
    """Adequacy and excess of one zone; the soak between passes is held by the issued start times."""
    gone, deficit, irrigated, lost = storage / 2, 0.0, 0.0, 0.0
    for day in range(DAYS):
        gone = max(0.0, gone - 0.8 * rain[day])
        if day % every == 0:
            for _ in range(starts):
                if gone >= threshold:
                    net = gross_mm * efficiency
                    irrigated += net
                    lost += max(0.0, net - gone) + (net if is_past_limit else 0.0)
                    gone = max(0.0, gone - net)
        used = min(etc[day], storage - gone)
        deficit += etc[day] - used
        gone += used
    return Score(100 * (1 - deficit / etc.sum()), 100 * lost / max(irrigated, 1e-9))


def qualifies(year: int) -> bool:
    eto, rain = month(year)
    return bool(rain.sum() >= 0.40 * INCH and eto.sum() >= 2.50 * INCH)


YEARS = [year for year in range(2008, 2021) if qualifies(year)]


def test_storage_of_the_zone_table_is_that_of_the_protocol() -> None:
    # From memory; the table is consistent with itself.
    np.testing.assert_allclose(storage_mm() / INCH, [0.85, 0.55, 0.90, 2.00, 2.25, 0.55], atol=0.01)


def test_there_are_qualifying_months() -> None:
    assert len(YEARS) >= 4


@pytest.mark.parametrize("year", YEARS)
def test_issued_programs_keep_adequacy_and_excess_of_the_six_zones(year: int) -> None:
    found = scores(year)

    assert min(score.adequacy for score in found) >= 80.0, found
    assert max(score.excess for score in found) <= 10.0, found
    assert float(np.mean([score.excess for score in found])) <= 5.0, found


@pytest.mark.parametrize("year", YEARS[:3])
def test_a_fixed_program_that_knows_neither_soil_nor_plant_fails_the_same_scores(year: int) -> None:
    eto, rain = month(year)
    found = [
        protocol_score(
            eto * zone[9],
            rain,
            storage=float(room),
            threshold=0.0,
            every=2,
            starts=1,
            gross_mm=25.0,
            efficiency=zone[7],
            is_past_limit=False,
        )
        for zone, room in zip(ZONES, storage_mm(), strict=True)
    ]

    assert max(score.excess for score in found) > 10.0
